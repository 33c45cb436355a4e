"""The per-cell work of the contact solvers on a CUDA device: the same operations as on the host.

Each operation is one kernel over a fixed number of blocks; blocks leave partial sums that are added
in a fixed order, so results repeat bit for bit. Loops read every array once: they run at the speed of
the device's memory, as do the transforms between them.
"""

from __future__ import annotations

import functools
from typing import Any

import cupy

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
template<typename T> __global__ void scale(unsigned n, T* spectrum, const T* factor) {
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

_SUMS = {
    "gap_sums": 2, "residual": 2, "direction_sums": 4, "direction": 0, "curvature_sums": 4, "step": 3,
    "finish": 2, "add_product": 0, "scale": 0, "law": 6, "slope_sums": 3, "gradient": 3, "search": 2,
}  # fmt: skip


@functools.cache
def _module() -> Any:
    names = [f"{name}<{kind}>" for name in _SUMS for kind in ("float", "double")]
    return cupy.RawModule(code=_SOURCE, options=("-std=c++17",), name_expressions=names)


@functools.cache
def _kernel(name: str, kind: str) -> Any:
    return _module().get_function(f"{name}<{kind}>")


def _launch(
    name: str, size: int, leading: Any, arguments: tuple[Any, ...], columns: int | None = None
) -> Any:
    """Run one kernel over `size` elements; returns its sums on the host, if it makes any."""
    kernel = _kernel(name, "float" if leading.dtype.char in "fF" else "double")
    head: tuple[Any, ...] = (cupy.uint32(size),)
    if columns is not None:
        head += (cupy.uint32(columns),)
    count = _SUMS[name]
    partial = cupy.empty((_BLOCKS, count)) if count else None
    if partial is not None:
        head += (partial,)
    cast = tuple(
        cupy.intp(0) if a is None
        else cupy.int32(a) if isinstance(a, bool)
        else cupy.float64(a) if isinstance(a, float)
        else a
        for a in arguments
    )  # fmt: skip
    kernel((_BLOCKS,), (_THREADS,), head + cast)
    return None if partial is None else partial.sum(axis=0).get().tolist()


class DeviceOperations:
    """Fused per-cell operations on CuPy arrays; see the host's class for what each does."""

    def gap_sums(self, p: Any, u: Any, z: Any) -> Any:
        """Count the cells in contact, and sum u - z over them.

        Parameters
        ----------
        p, u, z
            Pressure, displacement and height per cell.

        Returns
        -------
        Any
            The two sums.
        """
        return _launch("gap_sums", p.size, p, (p, u, z))

    def residual(self, p: Any, u: Any, z: Any, mean_gap: float, r: Any) -> Any:
        """Set r to the gap less its mean over the contact.

        Parameters
        ----------
        p, u, z
            Pressure, displacement and height per cell.
        mean_gap
            Over the contact.
        r
            Filled in place.

        Returns
        -------
        Any
            Sum p |gap|, and cells about to come in.
        """
        return _launch("residual", p.size, p, (p, u, z, float(mean_gap), r))

    def direction_sums(self, p: Any, s: Any, r: Any, r_old: Any) -> Any:
        """Sum s, s r, s r_old and r_old over the contact.

        Parameters
        ----------
        p, s, r, r_old
            Pressure, preconditioned residual, residual and the one before, per cell.

        Returns
        -------
        Any
            The four sums.
        """
        return _launch("direction_sums", p.size, p, (p, s, r, r_old))

    def direction(self, p: Any, s: Any, mean: float, beta: float, t: Any) -> None:
        """Set t to s - mean + beta t over the contact, zero elsewhere.

        Parameters
        ----------
        p, s
            Pressure and preconditioned residual per cell.
        mean
            Of s over the contact.
        beta
            Share of the last direction.
        t
            Changed in place.
        """
        _launch("direction", p.size, p, (p, s, float(mean), float(beta), t))

    def curvature_sums(self, p: Any, q: Any, t: Any, r: Any) -> Any:
        """Sum q, q t, t and r t over the contact.

        Parameters
        ----------
        p, q, t, r
            Pressure, A t, direction and residual per cell.

        Returns
        -------
        Any
            The four sums.
        """
        return _launch("curvature_sums", p.size, p, (p, q, t, r))

    def step(
        self, p: Any, u: Any, z: Any, mean_gap: float, t: Any, alpha: float, stiffness: float, d: Any
    ) -> Any:
        """Take a projected step of the pressure.

        Parameters
        ----------
        p
            Pressure per cell, changed in place.
        u, z
            Displacement and height per cell.
        mean_gap
            Over the contact.
        t
            Direction per cell.
        alpha
            Length of the step.
        stiffness
            At which a penetrating cell enters the contact.
        d
            Filled with what clipping and entering add.

        Returns
        -------
        Any
            Its sum, cells clipped, cells entered.
        """
        return _launch("step", p.size, p, (p, u, z, float(mean_gap), t, float(alpha), float(stiffness), d))

    def finish(self, p: Any, u: Any, z: Any, q: Any, alpha: float, w: Any, use_w: bool, scale: float) -> Any:
        """Update the displacement and scale to the load.

        Parameters
        ----------
        p, u
            Pressure and displacement per cell, changed in place.
        z
            Height per cell.
        q
            A t per cell.
        alpha
            Length of the step.
        w
            Displacement by what clipping and entering add.
        use_w
            Whether to add it.
        scale
            To the load.

        Returns
        -------
        Any
            As of :meth:`gap_sums`.
        """
        return _launch("finish", p.size, p, (p, u, z, q, float(alpha), w, bool(use_w), float(scale)))

    def add_product(self, y: Any, c: Any, x: Any) -> None:
        """Add c x to y.

        Parameters
        ----------
        y
            Changed in place.
        c, x
            Per cell.
        """
        _launch("add_product", y.size, y, (y, c, x))

    def scale(self, spectrum: Any, factor: Any) -> None:
        """Multiply a spectrum by real factors.

        Parameters
        ----------
        spectrum
            Changed in place.
        factor
            Of its shape.
        """
        _launch("scale", spectrum.size, factor, (spectrum, factor))

    def law(self, z: Any, u: Any, t: Any, alpha: float, d: float, c: Any, p: Any, u_new: Any) -> Any:
        """Find the pressures of the layer at u + alpha t.

        Parameters
        ----------
        z, u, t
            Height, displacement and its direction per cell, in units of the layer.
        alpha
            Length of the step.
        d
            Approach.
        c
            Compliance in series per cell, or None.
        p, u_new
            Filled in place.

        Returns
        -------
        Any
            Sums of p, k, p t, k t, k t^2, k^2 (k = dp/db).
        """
        return _launch("law", p.size, p, (z, u, t, float(alpha), float(d), c, p, u_new))

    def slope_sums(self, p: Any, t: Any, c: Any) -> Any:
        """Sum p t, k t and k t^2.

        Parameters
        ----------
        p, t
            Pressure and direction of the displacement per cell.
        c
            Compliance in series per cell, or None.

        Returns
        -------
        Any
            The three sums.
        """
        return _launch("slope_sums", p.size, p, (p, t, c))

    def gradient(self, P: Any, s: Any, t: Any, alpha: float, m: Any, w: Any, kappa: float, even: bool) -> Any:
        """Find the preconditioned gradient in the half-spectrum.

        Parameters
        ----------
        P
            Spectrum of the pressure.
        s, t
            Spectra of the pressure-like field and its direction; ``s`` is changed in place.
        alpha
            Length of the last step.
        m
            Filled in place.
        w
            Multiplier of the pad.
        kappa
            Mean stiffness of the layer.
        even
            Whether the grid has an even number of columns.

        Returns
        -------
        Any
            Sums <e,wm>, <e,w m_old>, <wm,wm>.
        """
        arguments = (P, s, t, float(alpha), m, w, float(kappa), bool(even))
        return _launch("gradient", s.size, w, arguments, s.shape[1])

    def search(self, s: Any, t: Any, m: Any, beta: float, w: Any, T: Any, even: bool) -> Any:
        """Find the new search direction and its displacement spectrum.

        Parameters
        ----------
        s, t, m
            Spectra of the field, its direction (changed in place) and the preconditioned gradient.
        beta
            Share of the last direction.
        w
            Multiplier of the pad.
        T
            Filled with the displacement spectrum.
        even
            Whether the grid has an even number of columns.

        Returns
        -------
        Any
            Sums <s,wt>, <t,wt>.
        """
        return _launch("search", s.size, w, (s, t, m, float(beta), w, T, bool(even)), s.shape[1])
