"""The compiled march through a stack of thin films, layer by layer for a row of thicknesses.

The tangential fields (B, C) at the top of a layer follow from those at its foot by the characteristic matrix, here
multiplied by e^{i beta}: with beta = k0 d q, q = sqrt(n^2 - n0^2 sin^2 theta), e = e^{2 i beta}, u = (1 - e)/(2 q),

    s:  B' = (1 + e)/2 B + u C,           C' = q^2 u B + (1 + e)/2 C
    p:  B' = (1 + e)/2 B + (q^2/n^2) u C, C' = n^2 u B + (1 + e)/2 C

so that no exponential grows: the size of e is at most 1 however thick or dark the layer is. u has a limit where q goes
to 0, at the critical angle. The factors e^{i beta} that were taken out are put back into the transmitted share alone.
Sine and cosine are Taylor's, within an eighth of a turn of a whole number of quarters, because the compiler can then do
several thicknesses at a time.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
SMALL = 1e-2  # of 2 beta: below it u is a series, since 1 - e loses its digits
FAST = {"contract", "nsz", "arcp", "reassoc"}
_HALF_PI = 0.5 * math.pi


@njit(cache=True, nogil=True, error_model="numpy")  # type: ignore[untyped-decorator]
def _root(square: complex) -> complex:
    """Return the root with both parts 0 or above, of a number whose imaginary part is 0 or above."""
    a, b = square.real, max(square.imag, 0.0)
    size = math.sqrt(a * a + b * b)
    if size == 0.0:
        return 0.0 + 0.0j
    if a >= 0.0:
        real = math.sqrt(0.5 * (size + a))
        return complex(real, 0.5 * b / real)
    imag = math.sqrt(0.5 * (size - a))
    return complex(0.5 * b / imag, imag)


@njit(cache=True, nogil=True, error_model="numpy")  # type: ignore[untyped-decorator]
def in_small(twice: complex, length: float) -> complex:
    """Return u = (1 - e)/(2 q) by its series.

    Parameters
    ----------
    twice
        2 beta, small.
    length
        k0 d.
    """
    x = complex(-twice.imag, twice.real)
    series = 1.0 + x * 0.5 * (1.0 + x / 3.0 * (1.0 + x * 0.25 * (1.0 + x * 0.2 * (1.0 + x / 6.0))))
    return complex(length * series.imag, -length * series.real)


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract", "nsz"}, inline="always")  # type: ignore[untyped-decorator]
def turned(quarters: float) -> tuple[float, float]:
    """Return cosine and sine of an angle in quarters of a turn."""
    whole = np.floor(quarters + 0.5)
    r = (quarters - whole) * _HALF_PI
    z = r * r
    s = 1.0 + z * (-1 / 6 + z * (1 / 120 + z * (-1 / 5040 + z * (1 / 362880 + z * (-1 / 39916800 + z * (
        1 / 6227020800 - z / 1307674368000))))))  # fmt: skip
    c = 1.0 + z * (-1 / 2 + z * (1 / 24 + z * (-1 / 720 + z * (1 / 40320 + z * (-1 / 3628800 + z * (
        1 / 479001600 + z * (-1 / 87178291200 + z / 20922789888000)))))))  # fmt: skip
    s *= r
    at = whole - 4.0 * np.floor(0.25 * whole)
    odd = (at == 1.0) or (at == 3.0)
    cosine = s if odd else c
    sine = c if odd else s
    if at == 1.0 or at == 2.0:
        cosine = -cosine
    if at >= 2.0:
        sine = -sine
    return cosine, sine


@njit(cache=True, nogil=True, error_model="numpy", fastmath=FAST)  # type: ignore[untyped-decorator]
def _layer(
    thickness: Array, wavelength: float, q: complex, up: complex, down: complex, fields: Array, loss: Array
) -> None:
    """Take the fields of a row of thicknesses from the foot of a layer to its top."""
    k0 = 2.0 * math.pi / wavelength
    turn, fading = 4.0 * q.real / (0.5 * wavelength), 2.0 * k0 * q.imag
    dark = fading > 0.0
    under = 0.5 / q if q != 0.0 else 0.0 + 0.0j
    rise, fall = under * up, under * down
    steep = 2.0 * k0 * (abs(q.real) + abs(q.imag))
    for i in range(thickness.size):
        d = thickness[i]
        re, im = turned(turn * d)
        if dark:
            fade = math.exp(-fading * d)
            re, im = re * fade, im * fade
            loss[i] += fading * d
        er, ei = 0.5 + 0.5 * re, 0.5 * im
        vr, vi = 1.0 - re, -im
        rr, ri = vr * rise.real - vi * rise.imag, vr * rise.imag + vi * rise.real
        fr, fi = vr * fall.real - vi * fall.imag, vr * fall.imag + vi * fall.real
        br, bi, cr, ci = fields[0, i], fields[1, i], fields[2, i], fields[3, i]
        if steep * d < SMALL:
            u = in_small(2.0 * k0 * d * q, k0 * d)
            rr, ri = (u * up).real, (u * up).imag
            fr, fi = (u * down).real, (u * down).imag
        fields[0, i] = er * br - ei * bi + rr * cr - ri * ci
        fields[1, i] = er * bi + ei * br + rr * ci + ri * cr
        fields[2, i] = fr * br - fi * bi + er * cr - ei * ci
        fields[3, i] = fr * bi + fi * br + er * ci + ei * cr


@njit(cache=True, nogil=True, error_model="numpy", fastmath=FAST)  # type: ignore[untyped-decorator]
def _shares(
    fields: Array, loss: Array, first: float, foot: float, reflected: Array, transmitted: Array
) -> None:
    """Fill in the shares of a row from the fields under the ambient of admittance ``first``."""
    for i in range(loss.size):
        tr, ti = first * fields[0, i] + fields[2, i], first * fields[1, i] + fields[3, i]
        ar, ai = first * fields[0, i] - fields[2, i], first * fields[1, i] - fields[3, i]
        whole = 1.0 / (tr * tr + ti * ti)
        reflected[i] = (ar * ar + ai * ai) * whole
        through = 4.0 * first * foot * whole
        transmitted[i] = through * math.exp(-loss[i]) if loss[i] > 0.0 else through


@njit(cache=True, nogil=True, error_model="numpy")  # type: ignore[untyped-decorator]
def march(
    indices: Complex,
    wavelength: Array,
    sine: Array,
    thickness: Array,
    along_p: bool,
    reflected: Array,
    transmitted: Array,
) -> None:
    """Fill in the reflected and transmitted shares of the power.

    Parameters
    ----------
    indices
        (outer, media) from the ambient to the substrate, n + i k with k at least 0; the ambient's k is 0.
    wavelength, sine
        (outer,) in vacuum [m], and of the angle in the ambient.
    thickness
        (layers, outer or 1, inner) [m]; one row where it is the same for all.
    along_p
        Whether the light is p-polarized.
    reflected, transmitted
        (outer, inner), filled in.
    """
    outer, media = indices.shape
    rows, inner = thickness.shape[1:]
    fields, loss = np.empty((4, inner)), np.empty(inner)
    for o in range(outer):
        across = (indices[o, 0].real * sine[o]) ** 2
        loss[:] = 0.0
        for j in range(media - 1, -1, -1):
            square = indices[o, j] * indices[o, j]
            inside = square - across
            q = _root(inside)
            if j == media - 1:
                foot = q
                if along_p:
                    foot = square / q if q != 0.0 else complex(math.inf, 0.0)
                # At the critical angle the p-admittance of the last medium has no bound: C = 1, B = 0, nothing passes.
                endless = math.isinf(foot.real)
                fields[0, :], fields[1, :] = 0.0 if endless else 1.0, 0.0
                fields[2, :], fields[3, :] = (1.0, 0.0) if endless else (foot.real, foot.imag)
                passing = 0.0 if endless else foot.real
            elif j > 0:
                up, down = (inside / square, square) if along_p else (1.0 + 0.0j, inside)
                _layer(thickness[j - 1, o % rows], wavelength[o], q, up, down, fields, loss)
            else:
                first = square.real / q.real if along_p else q.real
                _shares(fields, loss, first, passing, reflected[o], transmitted[o])
