"""The per-cell work of the contact solvers on a CUDA device: the same operations as on the host.

Each operation is one kernel over a fixed number of blocks; blocks leave partial sums that are added
in a fixed order, so results repeat bit for bit. Loops read every array once: they run at the speed of
the device's memory, as do the transforms between them.
"""

from __future__ import annotations

import functools
from typing import Any

import cupy
import numpy as np

from planish.physics.contact.operations import SUMS, Operations

_BLOCKS, _THREADS = 1024, 256

_SOURCE = r"""
template<int K> __device__ void leave(double (&v)[K], double* out) {
    __shared__ double part[8][K];
    int lane = threadIdx.x & 31, warp = threadIdx.x >> 5;
    for (int k = 0; k < K; ++k) {
        double x = v[k];
        for (int o = 16; o > 0; o >>= 1) x += __shfl_down_sync(0xffffffffu, x, o);
        if (lane == 0) part[warp][k] = x;
    }
    __syncthreads();
    if (threadIdx.x < K) {
        double x = 0.0;
        for (int w = 0; w < 8; ++w) x += part[w][threadIdx.x];
        out[blockIdx.x * K + threadIdx.x] = x;
    }
}
#define EACH(i, n) for (unsigned i = blockIdx.x * blockDim.x + threadIdx.x; i < (n); i += gridDim.x * blockDim.x)

template<typename T> __global__ void gap_sums(unsigned n, double* out, const T* p, const T* u, const T* z) {
    double v[2] = {0, 0};
    EACH(i, n) if (p[i] > 0) { v[0] += 1; v[1] += (double)(u[i] - z[i]); }
    leave<2>(v, out);
}
template<typename T> __global__ void residual(unsigned n, double* out, const T* p, const T* u, const T* z,
                                              double level, float* r) {
    double v[2] = {0, 0};
    EACH(i, n) {
        double g = (double)u[i] - (double)z[i] - level;
        bool on = p[i] > 0;
        r[i] = on ? (float)g : 0.0f;
        v[0] += (double)p[i] * fabs(g);
        if (!on && g < 0) v[1] += 1;
    }
    leave<2>(v, out);
}
template<typename T> __global__ void direction_sums(unsigned n, double* out, const T* p, const float* s,
                                                    const float* r, const float* old) {
    double v[4] = {0, 0, 0, 0};
    EACH(i, n) if (p[i] > 0) {
        double x = s[i];
        v[0] += x; v[1] += x * r[i]; v[2] += x * old[i]; v[3] += old[i];
    }
    leave<4>(v, out);
}
template<typename T> __global__ void direction(unsigned n, const T* p, const float* s, double mean, double beta,
                                               float* t) {
    EACH(i, n) t[i] = p[i] > 0 ? s[i] - (float)mean + (float)beta * t[i] : 0.0f;
}
template<typename T> __global__ void curvature_sums(unsigned n, double* out, const T* p, const float* q,
                                                    const float* t, const float* r) {
    double v[4] = {0, 0, 0, 0};
    EACH(i, n) {
        double x = t[i];
        if (p[i] > 0) v[0] += q[i];
        v[1] += q[i] * x; v[2] += x; v[3] += r[i] * x;
    }
    leave<4>(v, out);
}
template<typename T> __global__ void step(unsigned n, double* out, T* p, const T* u, const T* z, double level,
                                          const float* t, double alpha, double stiffness, float* d) {
    double v[3] = {0, 0, 0};
    EACH(i, n) {
        double now;
        if (p[i] > 0) {
            double plain = (double)p[i] - alpha * t[i];
            now = plain > 0 ? plain : 0;
            if (plain <= 0) v[1] += 1;
            d[i] = (float)(now - plain);
        } else {
            double g = (double)u[i] - (double)z[i] - level;
            now = g < 0 ? -stiffness * g : 0;
            if (g < 0) v[2] += 1;
            d[i] = (float)now;
        }
        p[i] = (T)now;
        v[0] += now;
    }
    leave<3>(v, out);
}
template<typename T> __global__ void finish(unsigned n, double* out, T* p, T* u, const T* z, const float* q,
                                            double alpha, const float* w, int use_w, double scale) {
    double v[2] = {0, 0};
    EACH(i, n) {
        T pressed = (T)(p[i] * scale);
        p[i] = pressed;
        double x = (double)u[i] - alpha * q[i];
        if (use_w) x += w[i];
        x *= scale;
        u[i] = (T)x;
        if (pressed > 0) { v[0] += 1; v[1] += x - (double)z[i]; }
    }
    leave<2>(v, out);
}
template<typename T> __global__ void add_product(unsigned n, T* y, const T* c, const T* x) {
    EACH(i, n) y[i] += c[i] * x[i];
}
template<typename T> __global__ void scale(unsigned n, unsigned, T* spectrum, const T* factor) {
    EACH(i, n) { T f = factor[i]; spectrum[2 * i] *= f; spectrum[2 * i + 1] *= f; }
}
template<typename T> __device__ T pressed(T b, T c) {
    T y = b;
    if (!(c > 0)) return exp(y);
    if (b > c && b > 0) y = min(y, log(b / c));
    T e = exp(y);
    for (int k = 0; k < 60; ++k) {
        T step = (y + c * e - b) / (1 + c * e);
        y -= step;
        e = exp(y);
        if (fabs(step) < (sizeof(T) == 4 ? T(1e-5) : T(1e-8))) break;
    }
    return e;
}
template<typename T> __global__ void law(unsigned n, double* out, const T* z, const T* u, const T* t, double alpha,
                                         double d, const T* c, T* p, T* u_new) {
    double v[6] = {0, 0, 0, 0, 0, 0};
    EACH(i, n) {
        T ti = t[i], x = u[i] + (T)alpha * ti, ci = c ? c[i] : T(0);
        u_new[i] = x;
        T e = pressed<T>(z[i] - x - (T)d, ci);
        p[i] = e;
        double k = e / (1 + ci * e);
        v[0] += e; v[1] += k; v[2] += (double)e * ti; v[3] += k * ti; v[4] += k * ti * ti; v[5] += k * k;
    }
    leave<6>(v, out);
}
template<typename T> __global__ void slope_sums(unsigned n, double* out, const T* p, const T* t, const T* c) {
    double v[3] = {0, 0, 0};
    EACH(i, n) {
        double e = p[i], x = t[i], k = c ? e / (1 + c[i] * e) : e;
        v[0] += e * x; v[1] += k * x; v[2] += k * x * x;
    }
    leave<3>(v, out);
}
template<typename T> __global__ void gradient(unsigned n, unsigned columns, double* out, const T* P, T* s,
                                              const T* t, double alpha, T* m, const T* w, double kappa, int even) {
    double v[3] = {0, 0, 0};
    EACH(i, n) {
        unsigned j = i % columns;
        double weight = (j == 0 || (even && j == columns - 1)) ? 1.0 : 2.0;
        T f = w[i], damp = 1 / (1 + f * (T)kappa);
        double wf = weight * f, g = 0, gx = 0, mm = 0;
        for (unsigned k = 2 * i; k < 2 * i + 2; ++k) {
            T x = s[k] + (T)alpha * t[k];
            s[k] = x;
            T e = P[k] - x, old = m[k], now = e * damp;
            m[k] = now;
            g += (double)e * now; gx += (double)e * old; mm += (double)now * now;
        }
        v[0] += wf * g; v[1] += wf * gx; v[2] += wf * f * mm;
    }
    leave<3>(v, out);
}
template<typename T> __global__ void search(unsigned n, unsigned columns, double* out, const T* s, T* t, const T* m,
                                            double beta, const T* w, T* shift, int even) {
    double v[2] = {0, 0};
    EACH(i, n) {
        unsigned j = i % columns;
        double weight = (j == 0 || (even && j == columns - 1)) ? 1.0 : 2.0;
        T f = w[i];
        double st = 0, tt = 0;
        for (unsigned k = 2 * i; k < 2 * i + 2; ++k) {
            T x = m[k] + (T)beta * t[k], y = x * f;
            t[k] = x;
            shift[k] = y;
            st += (double)s[k] * y; tt += (double)x * y;
        }
        v[0] += weight * st; v[1] += weight * tt;
    }
    leave<2>(v, out);
}
"""


@functools.cache
def _module() -> Any:
    names = [f"{name}<{kind}>" for name in SUMS for kind in ("float", "double")]
    return cupy.RawModule(code=_SOURCE, options=("-std=c++17",), name_expressions=names)


@functools.cache
def _kernel(name: str, kind: str) -> Any:
    return _module().get_function(f"{name}<{kind}>")


def _launch(name: str, sizes: tuple[int, ...], arguments: tuple[Any, ...]) -> list[float]:
    """Run one kernel over as many elements as `sizes` says first; returns its sums on the host."""
    kernel = _kernel(name, "float" if arguments[0].dtype.char in "fF" else "double")
    count = SUMS[name]
    partial = [cupy.empty((_BLOCKS, count))] if count else []
    cast = (
        cupy.intp(0) if a is None
        else cupy.int32(a) if isinstance(a, bool)
        else cupy.float64(a) if isinstance(a, float | np.floating)
        else a
        for a in arguments
    )  # fmt: skip
    kernel((_BLOCKS,), (_THREADS,), (*map(cupy.uint32, sizes), *partial, *cast))
    return [float(v) for made in partial for v in made.sum(axis=0).get()]


class DeviceOperations(Operations):
    """The operations on CuPy arrays."""

    def _cells(self, name: str, *arguments: Any) -> list[float]:
        return _launch(name, (arguments[0].size,), arguments)

    def _rows(self, name: str, *arguments: Any) -> list[float]:
        leading = arguments[0]
        return _launch(name, (leading.size, leading.shape[1]), arguments)
