"""Planarization length from the stiffness of the pad stack and the selectivity of its surface.

Over a die the up areas of a step h recede at K P/(p rho): P the local pressure,
rho the layout density. Where the density is lower by a wave of wave number q
the up areas recede faster, the pad has to follow, and the pressure there falls.
For small waves, with the pad's surface in series with its bulk,

    P/p - 1 = dz/(l + p C(q)),

l the selectivity length of the summits [m], C(q) the bulk compliance [m/Pa] of
the stack and of the wafer bent by the pad. Over the time T = rho h/K that the
step lasts, the wave of the removed thickness comes out smaller than with
uniform pressure by

    G(q) = (1 - exp(-x))/x,     x = h/(l + p C(q)),

which is what a kernel does to the density: G is its Fourier transform. Long
waves pass (G = 1: each area polishes by its own density), short ones are
averaged, down to the share G_inf = G(C = 0) that even a rigid pad leaves to
each place because its surface is compliant. Effective density then is

    G_inf (density under one contact spot) + (1 - G_inf) (density under the kernel),

and the planarization length is that of the kernel whose transform comes
nearest, in ln q, to (G - G_inf)/(1 - G_inf).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from planish.engine.fixed import sealed
from planish.errors import ModelError, refuse
from planish.physics.pattern.kernels import Kernel, transform

Array = NDArray[np.float64]
SOURCES: tuple[str, ...] = (
    "planarization length from stack stiffness, summit selectivity and wafer bending: derivation of our own",
    "Ki-Hong Chang et al., MRS Proceedings (abstract): it follows the bulk modulus of the pad",
)

_DECADES = (-1.5, 4.7)  # of wave number [rad/m] searched: wavelengths from 200 m to 0.1 mm
_SCAN = 800


class NoLengthError(ModelError):
    """A pad stack whose response to a die has no planarization length."""


@dataclass(frozen=True, slots=True)
class PlanarizationLength:
    """The kernel nearest to what a pad stack does.

    Attributes
    ----------
    length
        Of the nearest kernel [m].
    local_share
        G_inf that each place keeps of its own density.
    misfit
        Root mean square of the transforms' difference over the roll-off.
    """

    length: float
    local_share: float
    misfit: float


def averaging_response(
    wave_number: Array,
    compliance: Array,
    *,
    relief: float,
    pressure: float,
    selectivity_length: float,
    wafer_rigidity: float,
) -> Array:
    """Return G(q), the share of a density wave that reaches the removed thickness.

    Parameters
    ----------
    wave_number
        q [rad/m], above 0.
    compliance
        C of the pad stack there [m/Pa].
    relief
        h [m], the step that is to be removed.
    pressure
        p [Pa].
    selectivity_length
        l [m].
    wafer_rigidity
        Bending stiffness of the wafer [N m], which follows long waves by 1/(D q^4); infinite for a rigid
        wafer.

    Returns
    -------
    Array
        Shape as ``wave_number``.

    Raises
    ------
    ModelError
        Where a value is out of its range.
    """
    for what, value in (
        ("relief [m]", relief),
        ("pressure [Pa]", pressure),
        ("wafer rigidity", wafer_rigidity),
    ):
        if not value > 0:  # a rigid wafer is infinitely stiff
            raise ModelError(refuse(what, value, "above 0"))
    if not selectivity_length >= 0:
        raise ModelError(refuse("selectivity length [m]", selectivity_length, "0 or more"))
    q = np.asarray(wave_number, dtype=np.float64)
    give = selectivity_length + pressure * (np.asarray(compliance) + 1 / (wafer_rigidity * q**4))
    x = relief / give
    return np.asarray(-np.expm1(-x) / x)


def local_share(relief: float, selectivity_length: float) -> float:
    """Return the share that each place keeps of its own density.

    Parameters
    ----------
    relief
        [m].
    selectivity_length
        [m].

    Returns
    -------
    float
        G_inf = (1 - e^-x)/x, x = relief/selectivity length; 0 for a perfectly selective surface.
    """
    if selectivity_length == 0:
        return 0.0
    x = relief / selectivity_length
    return float(-np.expm1(-x) / x)


def planarization_length(
    compliance: Callable[[Array], Array],
    *,
    relief: float,
    pressure: float,
    selectivity_length: float,
    wafer_rigidity: float,
    kernel: Kernel = "elliptic",
) -> PlanarizationLength:
    """Return the planarization length of a pad stack (see the module's head).

    Parameters
    ----------
    compliance
        Maps wave numbers [rad/m] to the stack's surface compliance [m/Pa].
    relief, pressure, selectivity_length, wafer_rigidity
        As for :func:`averaging_response`.
    kernel
        Which is fitted.

    Returns
    -------
    PlanarizationLength
        Length, local share and misfit.

    Raises
    ------
    NoLengthError
        Where the response does not roll off between wavelengths of 0.1 mm and 200 m.
    """
    q = np.logspace(*_DECADES, _SCAN)
    response = averaging_response(
        q,
        compliance(q),
        relief=relief,
        pressure=pressure,
        selectivity_length=selectivity_length,
        wafer_rigidity=wafer_rigidity,
    )
    floor = local_share(relief, selectivity_length)
    shape = (response - floor) / (1 - floor)
    if not (shape[0] > 0.75 and shape[-1] < 0.25):
        raise NoLengthError(
            "planarization length: none is found, for the response does not roll off between wavelengths of 0.1 mm "
            "and 200 m"
        )
    half = float(np.exp(np.interp(-0.5, -shape, np.log(q))))
    lengths = _half_point(kernel) / half * np.exp(np.linspace(-0.7, 0.7, 141))
    window = (q > half / 30) & (q < half * 30)
    misfits = np.array([_misfit(shape[window], q[window], length, kernel) for length in lengths])
    best = int(np.clip(np.argmin(misfits), 1, lengths.size - 2))
    a, b, c = misfits[best - 1 : best + 2]
    shift = 0.5 * (a - c) / (a - 2 * b + c)
    length = float(lengths[best] * np.exp(shift * np.log(lengths[1] / lengths[0])))
    return PlanarizationLength(
        length, floor, float(np.sqrt(_misfit(shape[window], q[window], length, kernel)))
    )


def _misfit(shape: Array, q: Array, length: float, kernel: Kernel) -> float:
    argument, value = _table(kernel)
    return float(np.mean((shape - np.interp(np.log(q * length), argument, value)) ** 2))


@lru_cache(maxsize=3)
def _table(kernel: Kernel) -> tuple[Array, Array]:
    """ln(q L) and the kernel's transform there."""
    argument = np.linspace(np.log(1e-3), np.log(600.0), 1500)
    return sealed(argument), sealed(transform(kernel, 1.0, np.exp(argument)))


def _half_point(kernel: Kernel) -> float:
    """Return q L at which the kernel's transform first falls to one half."""
    argument, value = _table(kernel)
    first = int(np.argmax(value < 0.5))
    return float(np.exp(argument[first]))
