"""The compiled march through a stack of thin films where each point has light and indices of its own.

The recursion is that of :mod:`planish.physics.optics.stack_kernel`. Here points go through it in blocks: each quantity of a
block is a row of one work array, real and imaginary parts apart, and no loop over a block branches, so that the compiler
does several points at a time. What would need a branch (an exponential that fades, a series for a thin layer) is looked for
first and done, in the blocks that have it, by a loop of its own.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from planish.physics.optics.stack_kernel import FAST, SMALL, in_small, turned

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
# Rows of the work array lie BLOCK numbers apart: a distance that the compiler knows tells it that they do not overlap.
BLOCK = 256
_ACROSS, _WAVE, _DEPTH = 0 * BLOCK, 1 * BLOCK, 2 * BLOCK
_N, _K = 3 * BLOCK, 4 * BLOCK
_BR, _BI, _CR, _CI = 5 * BLOCK, 6 * BLOCK, 7 * BLOCK, 8 * BLOCK
_LEFT, _FADE = 9 * BLOCK, 10 * BLOCK
_FIRST, _FOOT = 11 * BLOCK, 12 * BLOCK
_ER, _EI, _UR, _UI, _QR, _QI = (at * BLOCK for at in range(13, 19))
_ROWS = 19
_TINY = 1e-300  # under a division whose numerator is 0 where this is reached


@njit(cache=True, nogil=True, error_model="numpy", fastmath=FAST, inline="always")  # type: ignore[untyped-decorator]
def _rooted(square: float, imag: float) -> tuple[float, float]:
    """Return the parts, 0 or above, of the root of a number whose imaginary part is 0 or above; without a branch."""
    size = math.sqrt(square * square + imag * imag)
    large = math.sqrt(0.5 * (size + abs(square)))
    small = 0.5 * imag / max(large, _TINY)
    return (large if square >= 0.0 else small), (small if square >= 0.0 else large)


@njit(cache=True, nogil=True, error_model="numpy")  # type: ignore[untyped-decorator]
def _fill(w: Array, row: int, values: Array, start: int, count: int) -> None:
    """Fill a row of the work array with values of the block, or with the one value that all have."""
    if values.size == 1:
        w[row : row + count] = values[0]
    else:
        w[row : row + count] = values[start : start + count]


@njit(cache=True, nogil=True, error_model="numpy")  # type: ignore[untyped-decorator]
def _index(w: Array, values: Complex, start: int, count: int) -> None:
    """Fill in n and k of a medium, of the block or of all."""
    if values.size == 1:
        w[_N : _N + count] = values[0].real
        w[_K : _K + count] = values[0].imag
    else:
        for i in range(count):
            w[_N + i], w[_K + i] = values[start + i].real, values[start + i].imag


@njit(cache=True, nogil=True, error_model="numpy", fastmath=FAST)  # type: ignore[untyped-decorator]
def _foot(w: Array, count: int, along_p: bool) -> None:
    """Start the fields at the last medium."""
    for i in range(count):
        n, k = w[_N + i], w[_K + i]
        sr, si = n * n - k * k, 2.0 * n * k
        qr, qi = _rooted(sr - w[_ACROSS + i], si)
        if along_p:
            size = qr * qr + qi * qi
            # At the critical angle the p-admittance has no bound: C = 1, B = 0, nothing passes.
            endless = size == 0.0
            under = 1.0 / max(size, _TINY)
            br = 0.0 if endless else 1.0
            cr = 1.0 if endless else (sr * qr + si * qi) * under
            ci = 0.0 if endless else (si * qr - sr * qi) * under
            w[_BR + i], w[_BI + i], w[_CR + i], w[_CI + i] = br, 0.0, cr, ci
            w[_FOOT + i] = 0.0 if endless else cr
        else:
            w[_BR + i], w[_BI + i], w[_CR + i], w[_CI + i] = 1.0, 0.0, qr, qi
            w[_FOOT + i] = qr
        w[_LEFT + i] = 1.0


@njit(cache=True, nogil=True, error_model="numpy", fastmath=FAST)  # type: ignore[untyped-decorator]
def _phase(w: Array, count: int) -> tuple[int, int]:
    """Work out q and e of a layer, without its fading; return in how many points it fades, and is thin."""
    dark, thin = 0, 0
    for i in range(count):
        n, k, d = w[_N + i], w[_K + i], w[_DEPTH + i]
        qr, qi = _rooted(n * n - k * k - w[_ACROSS + i], 2.0 * n * k)
        over = d / w[_WAVE + i]
        re, im = turned(8.0 * qr * over)
        twice = 4.0 * math.pi * over
        fading = twice * qi
        w[_ER + i], w[_EI + i], w[_QR + i], w[_QI + i] = re, im, qr, qi
        w[_FADE + i] = fading
        dark += 1 if fading > 0.0 else 0
        thin += 1 if twice * qr + fading < SMALL else 0
    return dark, thin


@njit(cache=True, nogil=True, error_model="numpy", fastmath=FAST)  # type: ignore[untyped-decorator]
def _faded(w: Array, count: int) -> None:
    """Let e fade by what the layer absorbs."""
    for i in range(count):
        fade = math.exp(-w[_FADE + i])
        w[_ER + i] *= fade
        w[_EI + i] *= fade
        w[_LEFT + i] *= fade


@njit(cache=True, nogil=True, error_model="numpy", fastmath=FAST)  # type: ignore[untyped-decorator]
def _quotient(w: Array, count: int) -> None:
    """Work out u = (1 - e)/(2 q)."""
    for i in range(count):
        qr, qi = w[_QR + i], w[_QI + i]
        size = 0.5 / max(qr * qr + qi * qi, _TINY)
        vr, vi = 1.0 - w[_ER + i], w[_EI + i]
        w[_UR + i] = (vr * qr - vi * qi) * size
        w[_UI + i] = -(vi * qr + vr * qi) * size


@njit(cache=True, nogil=True, error_model="numpy")  # type: ignore[untyped-decorator]
def _thin(w: Array, count: int) -> None:
    """Work out u by its series where 1 - e would lose its digits."""
    for i in range(count):
        q = complex(w[_QR + i], w[_QI + i])
        length = 2.0 * math.pi * w[_DEPTH + i] / w[_WAVE + i]
        if 2.0 * length * (q.real + q.imag) < SMALL:
            u = in_small(2.0 * length * q, length)
            w[_UR + i], w[_UI + i] = u.real, u.imag


@njit(cache=True, nogil=True, error_model="numpy", fastmath=FAST)  # type: ignore[untyped-decorator]
def _through(w: Array, count: int, along_p: bool) -> None:
    """Take the fields from the foot of a layer to its top."""
    for i in range(count):
        n, k = w[_N + i], w[_K + i]
        sr, si = n * n - k * k, 2.0 * n * k
        ar, ai = sr - w[_ACROSS + i], si
        ur, ui = w[_UR + i], w[_UI + i]
        if along_p:
            size = 1.0 / (sr * sr + si * si)
            pr, pi = (ar * sr + ai * si) * size, (ai * sr - ar * si) * size
            rr, ri = pr * ur - pi * ui, pr * ui + pi * ur
            fr, fi = sr * ur - si * ui, sr * ui + si * ur
        else:
            rr, ri = ur, ui
            fr, fi = ar * ur - ai * ui, ar * ui + ai * ur
        er, ei = 0.5 + 0.5 * w[_ER + i], 0.5 * w[_EI + i]
        br, bi, cr, ci = w[_BR + i], w[_BI + i], w[_CR + i], w[_CI + i]
        w[_BR + i] = er * br - ei * bi + rr * cr - ri * ci
        w[_BI + i] = er * bi + ei * br + rr * ci + ri * cr
        w[_CR + i] = fr * br - fi * bi + er * cr - ei * ci
        w[_CI + i] = fr * bi + fi * br + er * ci + ei * cr


@njit(cache=True, nogil=True, error_model="numpy", fastmath=FAST)  # type: ignore[untyped-decorator]
def _told(w: Array, count: int, reflected: Array, transmitted: Array) -> None:
    """Fill in the shares of the block."""
    for i in range(count):
        first = w[_FIRST + i]
        tr, ti = first * w[_BR + i] + w[_CR + i], first * w[_BI + i] + w[_CI + i]
        ar, ai = first * w[_BR + i] - w[_CR + i], first * w[_BI + i] - w[_CI + i]
        whole = 1.0 / (tr * tr + ti * ti)
        w[_ER + i] = (ar * ar + ai * ai) * whole
        w[_EI + i] = 4.0 * first * w[_FOOT + i] * whole * w[_LEFT + i]
    reflected[:count] = w[_ER : _ER + count]
    transmitted[:count] = w[_EI : _EI + count]


@njit(cache=True, nogil=True, error_model="numpy", fastmath=FAST)  # type: ignore[untyped-decorator]
def _start(w: Array, count: int, along_p: bool) -> None:
    """Work out the ambient's admittance, and n0^2 sin^2, from its index and the sine of the angle."""
    for i in range(count):
        n, sine = w[_N + i], w[_ACROSS + i]
        across = (n * sine) ** 2
        upright = math.sqrt(n * n - across)
        w[_FIRST + i] = n * n / upright if along_p else upright
        w[_ACROSS + i] = across


@njit(cache=True, nogil=True, error_model="numpy")  # type: ignore[untyped-decorator]
def march_points(
    indices: Complex,
    own_indices: Complex,
    thickness: Array,
    own_thickness: Array,
    wavelength: Array,
    sine: Array,
    along_p: bool,
    reflected: Array,
    transmitted: Array,
) -> None:
    """Fill in the reflected and transmitted shares of the power, point by point.

    Parameters
    ----------
    indices
        (media,) from the ambient to the last medium, n + i k with k at least 0, the ambient's 0. NaN for each that changes
        from point to point.
    own_indices
        (those that change, points), in the same order.
    thickness
        (layers,) from the top [m], NaN for each that changes.
    own_thickness
        (those that change, points).
    wavelength, sine
        In vacuum [m], and of the angle in the ambient; each (1,) or (points,).
    along_p
        Whether the light is p-polarized.
    reflected, transmitted
        (points,), filled in.
    """
    w = np.empty(_ROWS * BLOCK)
    layers = thickness.size
    for start in range(0, reflected.size, BLOCK):
        count = min(BLOCK, reflected.size - start)
        _fill(w, _WAVE, wavelength, start, count)
        _fill(w, _ACROSS, sine, start, count)
        _index(w, own_indices[0] if np.isnan(indices[0].real) else indices[:1], start, count)
        _start(w, count, along_p)
        own, deep = own_indices.shape[0], own_thickness.shape[0]
        for j in range(layers + 1, 0, -1):
            if np.isnan(indices[j].real):
                own -= 1
                _index(w, own_indices[own], start, count)
            else:
                _index(w, indices[j : j + 1], start, count)
            if j == layers + 1:
                _foot(w, count, along_p)
                continue
            if np.isnan(thickness[j - 1]):
                deep -= 1
                _fill(w, _DEPTH, own_thickness[deep], start, count)
            else:
                _fill(w, _DEPTH, thickness[j - 1 : j], start, count)
            dark, thin = _phase(w, count)
            if dark:
                _faded(w, count)
            _quotient(w, count)
            if thin:
                _thin(w, count)
            _through(w, count, along_p)
        _told(w, count, reflected[start : start + count], transmitted[start : start + count])
