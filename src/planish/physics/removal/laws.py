"""Removal laws: from pressure, speed and state to the rate at which a film goes.

A law gives the rate at the conditions at which its coefficients were
calibrated. Temperature, fresh slurry, abrasive and the pad's surface enter as
factors that are exactly 1 at those conditions, so the calibrated number keeps
its meaning: it belongs to a slurry-film-pad triple.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from planish.errors import ModelError, refuse

Array = NDArray[np.float64]

GAS_CONSTANT = 8.31446261815324
"""Molar gas constant [J/(mol K)], exact since the 2019 SI (k_B times N_A)."""

SOURCES: tuple[str, ...] = (
    "Rate proportional to pressure and speed: Preston 1927, J. Soc. Glass Technol. 11, 214 (from memory)",
    "Powers of pressure and speed: Tseng & Wang 1997, J. Electrochem. Soc. 144, L15 (from memory)",
    "R = K p v + B v + R_c: 'Modified Preston equation - revisited', MRS Proceedings (abstract read); "
    "Luo, Ramarajan & Babu 1998, Thin Solid Films (from memory)",
    "Abrasives of spread size: Luo & Dornfeld 2001, IEEE Trans. Semicond. Manuf. 14, 112 (from memory)",
    "Chemical and mechanical steps in series: Sorooshian, Borucki, Philipossian et al. 2004-05 (from memory)",
    "Rate against mean real pressure: derivation of our own; threshold pressure: common practice, no source",
)

_COEFFICIENTS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "preston": {"k_p": "1/Pa"},
        "power": {"k": "m/s / (Pa^alpha (m/s)^beta)", "alpha": "1", "beta": "1"},
        "offset": {"k_p": "1/Pa", "b": "1", "c": "m/s"},
        "threshold": {"k_p": "1/Pa", "p_threshold": "Pa"},
        "abrasive": {"c1": "1/Pa^0.5", "c2": "1/Pa^(1/3)", "c0": "m/s"},
        "two-step": {
            "a": "mol/(m^2 s)",
            "e_a": "J/mol",
            "k_m": "mol/J",
            "friction": "1",
            "molar_volume": "m^3/mol",
        },
    }
)


def law_coefficients(law: str) -> Mapping[str, str]:
    """Names and SI units of the coefficients of a law ("1" for a pure number).

    Laws: "preston" k_p p v; "power" k p^alpha v^beta; "offset" (k_p p + b) v + c;
    "threshold" k_p max(p - p_threshold, 0) v; "abrasive"
    c1 {1 - Phi(3 - c2 p^(1/3))} sqrt(p) v + c0; "two-step"
    molar_volume k1 k2/(k1 + k2), k1 = a exp(-e_a/RT), k2 = k_m friction p v.

    Raises
    ------
    ModelError
        If there is no such law.
    """
    if law not in _COEFFICIENTS:
        raise ModelError(refuse("removal law", law, f"one of {', '.join(_COEFFICIENTS)}"))
    return _COEFFICIENTS[law]


def removal_rate(
    law: str,
    coefficients: Mapping[str, float],
    p: ArrayLike,
    v: ArrayLike,
    *,
    temperature: ArrayLike | None = None,
    friction: ArrayLike | None = None,
) -> Array:
    """Rate at which the film is removed.

    Where v is a mean over a turn, laws linear in v take it as it is; for
    "power" pass ``motion.speed_moment(A, B, beta) ** (1 / beta)``.

    Parameters
    ----------
    law:
        One of ``law_coefficients``.
    coefficients:
        By the names of ``law_coefficients(law)``, SI units.
    p, v:
        Contact pressure [Pa] and relative speed [m/s], broadcastable, not negative.
    temperature:
        Of the pad's surface [K]; used, and required, by "two-step" only.
    friction:
        Coefficient of friction [1] for "two-step", in place of the coefficient of that name.

    Returns
    -------
    Rate [m/s], broadcast shape.

    Raises
    ------
    ModelError
        Unknown law, missing or unknown coefficient, negative pressure or speed,
        or no temperature where the law needs one.
    """
    if law == "two-step" and temperature is None:
        raise ModelError(refuse("temperature", None, "given, in K, for the two-step law"))
    return rate_with_chemistry(
        law, coefficients, mechanical_part(law, coefficients, p, v, friction), temperature
    )


def mechanical_part(
    law: str,
    coefficients: Mapping[str, float],
    p: ArrayLike,
    v: ArrayLike,
    friction: ArrayLike | None = None,
) -> Array:
    """Return what of ``removal_rate`` does not change with temperature; same parameters, raises the same.

    The rate itself [m/s], but for "two-step" its mechanical step k2 [mol/(m^2 s)], for
    :func:`rate_with_chemistry` to go on from.
    """
    c = _checked(law, coefficients)
    p, v = np.asarray(p, dtype=np.float64), np.asarray(v, dtype=np.float64)
    if np.any(p < 0) or np.any(v < 0):
        raise ModelError(refuse("pressure and speed", "a negative value", "0 or more"))
    if law == "preston":
        rate = c["k_p"] * p * v
    elif law == "power":
        rate = c["k"] * p ** c["alpha"] * v ** c["beta"]
    elif law == "offset":
        rate = (c["k_p"] * p + c["b"]) * v + c["c"]
    elif law == "threshold":
        rate = c["k_p"] * np.maximum(p - c["p_threshold"], 0.0) * v
    elif law == "abrasive":
        # 1 - Phi(x) = Phi(-x), which keeps its digits in the tail.
        rate = c["c1"] * ndtr(c["c2"] * np.cbrt(p) - 3.0) * np.sqrt(p) * v + c["c0"]
    else:
        rate = c["k_m"] * np.asarray(c["friction"] if friction is None else friction) * p * v
    return np.asarray(rate, dtype=np.float64)


def rate_with_chemistry(
    law: str, coefficients: Mapping[str, float], mechanical: Array, temperature: ArrayLike | None
) -> Array:
    """Return the rate [m/s] that :func:`mechanical_part` becomes at ``temperature`` [K]; only "two-step" uses it."""
    if law != "two-step":
        return mechanical
    c = coefficients
    k1 = c["a"] * np.exp(-c["e_a"] / (GAS_CONSTANT * np.asarray(temperature, dtype=np.float64)))
    return np.asarray(c["molar_volume"] * two_step(k1, mechanical))


def two_step(k1: ArrayLike, k2: ArrayLike) -> Array:
    """Rate k1 k2/(k1 + k2) of two steps in series, in the units of k1 and k2; 0 if both are 0.

    The slower one rules: k2 -> infinity leaves k1 (chemistry), k2 -> 0 leaves k2 (mechanics).
    """
    k1, k2 = np.broadcast_arrays(np.asarray(k1, dtype=np.float64), np.asarray(k2, dtype=np.float64))
    slow, fast = np.minimum(k1, k2), np.maximum(k1, k2)
    share = np.divide(slow, fast, out=np.zeros(slow.shape), where=fast > 0)
    return np.asarray(slow / (1.0 + share))


def thermal_factor(temperature: ArrayLike, reference: float, activation_energy: float) -> Array:
    """Arrhenius factor [1] of a rate calibrated at ``reference``; exactly 1 there.

    exp(E_a/R (1/T_ref - 1/T)).

    Parameters
    ----------
    temperature, reference:
        [K], above 0.
    activation_energy:
        [J/mol]; 0 switches the factor off.
    """
    T = np.asarray(temperature, dtype=np.float64)
    if np.any(T <= 0) or reference <= 0:
        raise ModelError(
            refuse("temperature", "0 K or below", "above 0 K", "give kelvin, not degrees Celsius")
        )
    return np.asarray(np.exp(activation_energy / GAS_CONSTANT * (1.0 / reference - 1.0 / T)))


def saturating_factor(x: ArrayLike, reference: float, half: float) -> Array:
    """Factor x/(x + half) divided by its value at ``reference``; exactly 1 there.

    The occupancy of sites that fill in proportion to supply and empty at a
    fixed rate (Langmuir 1918's isotherm, from memory). ``half`` is the x at
    which half the sites are filled, in the unit of x; large ``half`` is the linear limit.
    """
    x = np.asarray(x, dtype=np.float64)
    if np.any(x < 0) or reference <= 0 or half <= 0:
        raise ModelError(refuse("saturating factor", "a negative value", "x >= 0, reference > 0, half > 0"))
    return np.asarray((x * (reference + half)) / (reference * (x + half)))


def fresh_factor(fresh: ArrayLike, reference: float, half: float = 0.25) -> Array:
    """Factor [1] of the rate for the share of fresh slurry under the wafer; exactly 1 at ``reference``.

    ``half``: share at which the rate would be half of its limit (an assumption, to be fitted).
    """
    return saturating_factor(fresh, reference, half)


def abrasive_factor(content: ArrayLike, reference: float, half: float = 0.05) -> Array:
    """Factor [1] of the rate for the abrasive content by weight; exactly 1 at ``reference``.

    Summits in contact carry abrasives in proportion to the content until they
    are covered. ``half``: content at half cover (an assumption, to be fitted).
    """
    return saturating_factor(content, reference, half)


def factor_real_pressure(p_real: ArrayLike, reference: float, power: float = 0.5) -> Array:
    """Factor [1] of the rate for the mean real pressure on summits in contact; exactly 1 at ``reference``.

    The number of loaded abrasives goes with the real contact area, p/p_real;
    each is pressed with a force that goes with p_real and removes as force^n,
    so the rate goes as p p_real^(n-1). ``power`` is n - 1: 0.5 for a ploughing
    sphere (n = 3/2), to be fitted. Where nothing touches, p_real is 0 and so is the factor.
    """
    p_real = np.asarray(p_real, dtype=np.float64)
    if np.any(p_real < 0) or reference <= 0:
        raise ModelError(refuse("mean real pressure", "a negative value", "0 Pa or more, reference above 0"))
    return np.asarray((p_real / reference) ** power)


def _checked(law: str, coefficients: Mapping[str, float]) -> Mapping[str, float]:
    names = law_coefficients(law)
    for name in names:
        if name not in coefficients:
            raise ModelError(refuse(f"removal law {law!r}: {name}", None, f"given [{names[name]}]"))
    for name, value in coefficients.items():
        if name not in names:
            raise ModelError(refuse(f"removal law {law!r}", name, f"a coefficient of {', '.join(names)}"))
        if not np.isfinite(value):
            raise ModelError(refuse(f"removal law {law!r}: {name}", value, "a finite number"))
        if name in ("alpha", "beta") and value < 0:
            raise ModelError(refuse(f"removal law {law!r}: {name}", value, "0 or more", "typical 0.5-1"))
    return coefficients
