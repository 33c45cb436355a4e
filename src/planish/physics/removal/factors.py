"""Factors on a calibrated rate: temperature, fresh slurry, abrasive, the pad's surface.

Each is exactly 1 at the conditions at which the law's coefficients were calibrated, so the calibrated
number keeps its meaning: it belongs to a slurry-film-pad triple.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse

Array = NDArray[np.float64]

GAS_CONSTANT = 8.31446261815324
"""Molar gas constant [J/(mol K)], exact since the 2019 SI (k_B times N_A)."""

SOURCES: tuple[str, ...] = (
    "Rate against mean real pressure: derivation of our own",
    "Oxidiser and inhibitor as sites that fill, on the chemical step: derivation of our own; copper against both: "
    "US 2005/0090104 A1 (read)",
)


def thermal_factor(temperature: ArrayLike, reference: float, activation_energy: float) -> Array:
    """Arrhenius factor [1] of a rate calibrated at ``reference``; exactly 1 there.

    exp(E_a/R (1/T_ref - 1/T)).

    Parameters
    ----------
    temperature, reference
        [K], above 0.
    activation_energy
        [J/mol]; 0 switches the factor off.
    """
    T = np.asarray(temperature, dtype=np.float64)
    if np.any(T <= 0) or reference <= 0:
        raise ModelError(
            refuse("temperature", "0 K or below", "above 0 K", "give kelvin, not degrees Celsius")
        )
    return np.asarray(np.exp(thermal_exponent(T, reference, activation_energy)))


def thermal_exponent(temperature: Array, reference: float, activation_energy: float) -> Array:
    """Return the logarithm of :func:`thermal_factor`, unchecked: it is asked thousands of times.

    Parameters
    ----------
    temperature, reference, activation_energy
        As there.
    """
    return np.asarray(activation_energy / GAS_CONSTANT * (1.0 / reference - 1.0 / temperature))


def saturating_factor(x: ArrayLike, reference: float, half: float) -> Array:
    """Factor x/(x + half) divided by its value at ``reference``; exactly 1 there.

    The occupancy of sites that fill in proportion to supply and empty at a
    fixed rate (the form of Langmuir's isotherm, derived here). ``half`` is the x at
    which half the sites are filled, in the unit of x; large ``half`` is the linear limit.
    """
    x = np.asarray(x, dtype=np.float64)
    if x.min() < 0 or reference <= 0 or half <= 0:
        raise ModelError(refuse("saturating factor", "a negative value", "x >= 0, reference > 0, half > 0"))
    return np.asarray((x * (reference + half)) / (reference * (x + half)))


def fresh_factor(fresh: float, reference: float, half: float = 0.25) -> float:
    """Factor [1] of the chemical terms for the share of fresh slurry under the wafer; exactly 1 at ``reference``.

    :func:`saturating_factor` on plain numbers, unchecked: it is asked thousands of times.

    Parameters
    ----------
    fresh, reference
        Shares [1], above 0 the second.
    half
        Share at which the rate would be half of its limit, ``slurry.fresh_half`` (assumed until fitted) [1].
    """
    return fresh * (reference + half) / (reference * (fresh + half))


def fresh_limit(reference: float, half: float = 0.25) -> float:
    """Return what :func:`fresh_factor` would be where slurry were no limit, all sites filled [1].

    Parameters
    ----------
    reference, half
        As there.
    """
    return (reference + half) / reference


def abrasive_factor(content: ArrayLike, reference: float, half: float = 0.05) -> Array:
    """Factor [1] of the rate for the abrasive content by weight; exactly 1 at ``reference``.

    Summits in contact carry abrasives in proportion to the content until they
    are covered. ``half``: content at half cover, ``slurry.half_content`` (assumed until
    fitted).
    """
    return saturating_factor(content, reference, half)


def dissolved_factor(
    oxidiser: tuple[float, float, float] = (0.0, 0.0, 1.0),
    inhibitor: tuple[float, float, float] = (0.0, 0.0, 1.0),
) -> float:
    """Factor [1] of the chemical terms for what is dissolved in the slurry; exactly 1 at the reference contents.

    An oxidiser makes the film that is wiped off: sites that fill, :func:`saturating_factor`. An inhibitor covers it:
    c_half/(c_half + c), the sites that it leaves free.

    Parameters
    ----------
    oxidiser, inhibitor
        Content by weight, that at the reference, and that of half effect [1]. A rate measured without an oxidiser says
        nothing of what one does: with a reference of 0 it must be 0 too.

    Raises
    ------
    ModelError
        For contents below 0, half contents that are not above 0, or an oxidiser at a reference without one.
    """
    (content, reference, half), (covering, covered, free) = oxidiser, inhibitor
    if min(content, reference, covering, covered) < 0 or min(half, free) <= 0:
        raise ModelError(
            refuse(
                "oxidiser and inhibitor",
                (oxidiser, inhibitor),
                "contents of 0 or more, half contents above 0",
            )
        )
    if content > 0 and reference == 0:
        raise ModelError(
            refuse(
                "reference content of the oxidiser", reference, "above 0 where the slurry holds an oxidiser"
            )
        )
    made = float(saturating_factor(content, reference, half)) if content != reference else 1.0
    return made * (free + covered) / (free + covering)


def size_factor(size: float, reference: float, power: float) -> float:
    """Factor [1] of the mechanical terms for the size of the grains; exactly 1 at ``reference``.

    (d/d_ref)^power. The sign belongs to the slurry: smaller ceria took more oxide (power -0.55, Kim et al.),
    larger ceria took more in another slurry (+0.85, Oh et al.): fitted, not foreseen.

    Parameters
    ----------
    size, reference
        Mean diameter of the grains [m], above 0.
    power
        [1]; 0 switches the factor off.
    """
    if size <= 0 or reference <= 0:
        raise ModelError(refuse("grain size [m]", min(size, reference), "above 0"))
    return float((size / reference) ** power)


def factor_real_pressure(p_real: ArrayLike, reference: float, power: float = 0.5) -> Array:
    """Factor [1] of the rate for the mean real pressure on summits in contact; exactly 1 at ``reference``.

    The number of loaded abrasives goes with the real contact area, p/p_real;
    each is pressed with a force that goes with p_real and removes as force^n,
    so the rate goes as p p_real^(n-1). ``power`` is n - 1: 0.5 for a ploughing
    sphere (n = 3/2), ``slurry.summit_power`` once fitted. Where nothing touches, p_real is 0 and so is the factor.
    """
    p_real = np.asarray(p_real, dtype=np.float64)
    if p_real.min() < 0 or reference <= 0:
        raise ModelError(refuse("mean real pressure", "a negative value", "0 Pa or more, reference above 0"))
    return np.asarray((p_real / reference) ** power)
