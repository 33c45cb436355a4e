"""The per-cell work of the contact solvers on the host: fused loops, same numbers on any thread count.

Every loop runs over fixed pieces of the arrays. Pieces may run on several threads; their partial
sums are added in the order of the pieces, so the number of threads never changes a result. Plain
threads over compiled pieces that release the interpreter lock are used rather than the compiler's
own thread pool, which must not be entered from two Python threads at once.

The bounds of a piece are made unsigned before the loop. A signed index may count from the end, so the
compiler guards the vectorised loop against the memory behind each array as well, and falls back to a
loop that sums in another order wherever the next array happens to lie there.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numba
import numpy as np
from llvmlite import ir  # type: ignore[import-untyped]
from numba import types
from numba.extending import intrinsic

from planish.physics.contact.operations import SUMS, Operations

PIECE = 1 << 16
"""Cells in one piece of a loop: fixed, so that sums do not depend on the thread count."""

_FAST = {"reassoc", "contract", "nsz", "arcp"}
_jit = functools.partial(numba.njit, cache=True, nogil=True, fastmath=_FAST, error_model="numpy")


@intrinsic
def _float_from_bits(typingctx, bits):  # type: ignore[no-untyped-def]
    """Reinterpret an int64 as a float64 (keeps the exponential below free of calls)."""
    signature = types.float64(types.int64)

    def build(context, builder, sig, args):  # type: ignore[no-untyped-def]
        return builder.bitcast(args[0], ir.DoubleType())

    return signature, build


@_jit(inline="always")
def _exp(x):  # type: ignore[no-untyped-def]
    """Exponential to 1e-15 relative on [-700, 700] (clipped outside), in a form that vectorises."""
    x = min(max(x, -700.0), 700.0)
    k = np.floor(x * 1.4426950408889634 + 0.5)
    r = x - k * 0.6931471803691238
    r = r - k * 1.9082149292705877e-10
    s = 1.6059043836821613e-10
    s = s * r + 2.08767569878681e-09
    s = s * r + 2.505210838544172e-08
    s = s * r + 2.755731922398589e-07
    s = s * r + 2.7557319223985893e-06
    s = s * r + 2.48015873015873e-05
    s = s * r + 0.0001984126984126984
    s = s * r + 0.001388888888888889
    s = s * r + 0.008333333333333333
    s = s * r + 0.041666666666666664
    s = s * r + 0.16666666666666666
    s = s * r + 0.5
    s = s * r + 1.0
    s = s * r + 1.0
    return s * _float_from_bits((np.int64(k) + 1023) << 52)


# ---- bare contact -------------------------------------------------------------------------------


@_jit()
def _gap_sums(a, b, out, p, u, z):  # type: ignore[no-untyped-def]
    n = 0.0
    g = 0.0
    for i in range(np.uintp(a), np.uintp(b)):
        touching = 1.0 if p[i] > 0 else 0.0
        n += touching
        g += touching * (u[i] - z[i])
    out[0] = n
    out[1] = g


@_jit()
def _residual(a, b, out, p, u, z, mean_gap, r):  # type: ignore[no-untyped-def]
    error = 0.0
    entering = 0.0
    for i in range(np.uintp(a), np.uintp(b)):
        g = u[i] - z[i] - mean_gap
        touching = p[i] > 0
        r[i] = g if touching else 0.0
        error += p[i] * abs(g)
        entering += 1.0 if (not touching) and g < 0 else 0.0
    out[0] = error
    out[1] = entering


@_jit()
def _direction_sums(a, b, out, p, s, r, r_old):  # type: ignore[no-untyped-def]
    total = 0.0
    sr = 0.0
    so = 0.0
    o = 0.0
    for i in range(np.uintp(a), np.uintp(b)):
        touching = 1.0 if p[i] > 0 else 0.0
        x = touching * s[i]
        total += x
        sr += x * r[i]
        so += x * r_old[i]
        o += touching * r_old[i]
    out[0] = total
    out[1] = sr
    out[2] = so
    out[3] = o


@_jit()
def _direction(a, b, out, p, s, mean, beta, t):  # type: ignore[no-untyped-def]
    for i in range(np.uintp(a), np.uintp(b)):
        t[i] = s[i] - mean + beta * t[i] if p[i] > 0 else 0.0


@_jit()
def _curvature_sums(a, b, out, p, q, t, r):  # type: ignore[no-untyped-def]
    total = 0.0
    qt = 0.0
    st = 0.0
    rt = 0.0
    for i in range(np.uintp(a), np.uintp(b)):
        touching = 1.0 if p[i] > 0 else 0.0
        total += touching * q[i]
        qt += q[i] * t[i]
        st += t[i]
        rt += r[i] * t[i]
    out[0] = total
    out[1] = qt
    out[2] = st
    out[3] = rt


@_jit()
def _step(a, b, out, p, u, z, mean_gap, t, alpha, stiffness, d):  # type: ignore[no-untyped-def]
    """Step, clip, let penetrating cells in; d = what the clipping added to the plain step."""
    total = 0.0
    clipped = 0.0
    entered = 0.0
    for i in range(np.uintp(a), np.uintp(b)):
        if p[i] > 0:
            plain = p[i] - alpha * t[i]
            new = plain if plain > 0 else 0.0
            clipped += 1.0 if plain <= 0 else 0.0
            d[i] = new - plain
        else:
            g = u[i] - z[i] - mean_gap
            new = -stiffness * g if g < 0 else 0.0
            entered += 1.0 if g < 0 else 0.0
            d[i] = new
        p[i] = new
        total += new
    out[0] = total
    out[1] = clipped
    out[2] = entered


@_jit()
def _finish(a, b, out, p, u, z, q, alpha, w, use_w, scale):  # type: ignore[no-untyped-def]
    """Bring the displacement after the step and scale to the load; sums of the new gap."""
    n = 0.0
    g = 0.0
    for i in range(np.uintp(a), np.uintp(b)):
        p[i] *= scale
        x = u[i] - alpha * q[i]
        if use_w:
            x += w[i]
        x *= scale
        u[i] = x
        touching = 1.0 if p[i] > 0 else 0.0
        n += touching
        g += touching * (x - z[i])
    out[0] = n
    out[1] = g


@_jit()
def _add_product(a, b, out, y, c, x):  # type: ignore[no-untyped-def]
    for i in range(np.uintp(a), np.uintp(b)):
        y[i] += c[i] * x[i]


@_jit()
def _scale_rows(a, b, out, spectrum, factor):  # type: ignore[no-untyped-def]
    for i in range(np.uintp(a), np.uintp(b)):
        for j in range(spectrum.shape[1]):
            spectrum[i, j] *= factor[i, j]


# ---- contact through an asperity layer ----------------------------------------------------------


@_jit(inline="always")
def _layer_pressure(b, c):  # type: ignore[no-untyped-def]
    """Solve ln(p) + c p = b for p (Newton on ln p, from above, where it converges monotonically)."""
    y = b
    if c > 0.0:
        e = _exp(y)
        for _ in range(60):
            if c * e > 4.0 * max(abs(y), 1.0) and b > 0.0:
                y = min(y, np.log(b / c) if b > c else y)
                e = _exp(y)
            step = (y + c * e - b) / (1.0 + c * e)
            y -= step
            e = _exp(y)
            if abs(step) < 1e-8:
                break
        return e
    return _exp(y)


@_jit()
def _law(a, b, out, z, u, t, alpha, d, c, p, u_new):  # type: ignore[no-untyped-def]
    """Pressures of the layer at displacement u + alpha t and approach d, all in units of the layer."""
    s0 = 0.0
    s1 = 0.0
    s2 = 0.0
    s3 = 0.0
    s4 = 0.0
    s5 = 0.0
    if c is None:  # a compiled loop of its own
        for i in range(np.uintp(a), np.uintp(b)):
            x = u[i] + alpha * t[i]
            u_new[i] = x
            e = _exp(z[i] - x - d)
            p[i] = e
            s0 += e
            s2 += e * t[i]
            s4 += e * t[i] * t[i]
            s5 += e * e
        s1 = s0
        s3 = s2
    else:
        for i in range(np.uintp(a), np.uintp(b)):
            x = u[i] + alpha * t[i]
            u_new[i] = x
            e = _layer_pressure(z[i] - x - d, c[i])
            p[i] = e
            k = e / (1.0 + c[i] * e)
            s0 += e
            s1 += k
            s2 += e * t[i]
            s3 += k * t[i]
            s4 += k * t[i] * t[i]
            s5 += k * k
    out[0] = s0
    out[1] = s1
    out[2] = s2
    out[3] = s3
    out[4] = s4
    out[5] = s5


@_jit()
def _slope_sums(a, b, out, p, t, c):  # type: ignore[no-untyped-def]
    s2 = 0.0
    s3 = 0.0
    s4 = 0.0
    for i in range(np.uintp(a), np.uintp(b)):
        e = p[i]
        k = np.float64(e) if c is None else e / (1.0 + c[i] * e)
        s2 += e * t[i]
        s3 += k * t[i]
        s4 += k * t[i] * t[i]
    out[0] = s2
    out[1] = s3
    out[2] = s4


@_jit()
def _gradient_rows(a, b, out, P, s, t, alpha, m, w, kappa, even):  # type: ignore[no-untyped-def]
    """Move s by alpha t; e = P - s; m = e/(1 + w kappa); sums <e, w m>, <e, w m_old>, <w m, w m>."""
    n = s.shape[1]
    g = 0.0
    gx = 0.0
    err = 0.0
    for i in range(np.uintp(a), np.uintp(b)):
        for j in range(n):
            weight = 1.0 if j == 0 or (even and j == n - 1) else 2.0
            x = s[i, j] + alpha * t[i, j]
            s[i, j] = x
            e = P[i, j] - x
            old = m[i, j]
            f = w[i, j]
            new = e * (1 / (1 + f * kappa))
            m[i, j] = new
            g += weight * f * (e.real * new.real + e.imag * new.imag)
            gx += weight * f * (e.real * old.real + e.imag * old.imag)
            err += weight * f * f * (new.real * new.real + new.imag * new.imag)
    out[0] = g
    out[1] = gx
    out[2] = err


@_jit()
def _direction_rows(a, b, out, s, t, m, beta, w, T, even):  # type: ignore[no-untyped-def]
    """Set t = m + beta t and T = w t; sums <s, w t>, <t, w t>."""
    n = s.shape[1]
    st = 0.0
    tt = 0.0
    for i in range(np.uintp(a), np.uintp(b)):
        for j in range(n):
            weight = 1.0 if j == 0 or (even and j == n - 1) else 2.0
            x = m[i, j] + beta * t[i, j]
            t[i, j] = x
            y = x * w[i, j]
            T[i, j] = y
            st += weight * (s[i, j].real * y.real + s[i, j].imag * y.imag)
            tt += weight * (x.real * y.real + x.imag * y.imag)
    out[0] = st
    out[1] = tt


@functools.cache
def _pool(workers: int) -> ThreadPoolExecutor:
    return ThreadPoolExecutor(workers, thread_name_prefix="planish-contact")


_LOOPS: dict[str, Callable[..., None]] = {
    "gap_sums": _gap_sums,
    "residual": _residual,
    "direction_sums": _direction_sums,
    "direction": _direction,
    "curvature_sums": _curvature_sums,
    "step": _step,
    "finish": _finish,
    "add_product": _add_product,
    "scale": _scale_rows,
    "law": _law,
    "slope_sums": _slope_sums,
    "gradient": _gradient_rows,
    "search": _direction_rows,
}


class HostOperations(Operations):
    """The operations on NumPy arrays."""

    def __init__(self, workers: int) -> None:
        self.workers = workers

    def _run(self, name: str, size: int, piece: int, arguments: Sequence[Any]) -> list[float]:
        loop = _LOOPS[name]
        pieces = [(a, min(a + piece, size)) for a in range(0, size, piece)]
        sums = np.zeros((len(pieces), SUMS[name]))
        if self.workers == 1 or len(pieces) == 1:
            for k, (a, b) in enumerate(pieces):
                loop(a, b, sums[k], *arguments)
        else:
            # piece k belongs to thread k mod workers: one task a thread keeps the overhead small
            def share(first: int) -> None:
                for k in range(first, len(pieces), self.workers):
                    loop(*pieces[k], sums[k], *arguments)

            list(_pool(self.workers).map(share, range(self.workers)))
        return [float(v) for v in sums.sum(axis=0)]

    def _cells(self, name: str, *arguments: Any) -> list[float]:
        flat = [a.reshape(-1) if isinstance(a, np.ndarray) else a for a in arguments]
        return self._run(name, flat[0].size, PIECE, flat)

    def _rows(self, name: str, *arguments: Any) -> list[float]:
        rows, columns = arguments[0].shape
        return self._run(name, rows, max(1, PIECE // columns), arguments)
