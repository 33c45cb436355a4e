"""How far the pad reaches into a low area of given width.

Over areas much wider than a summit's contact spot the pressure falls by e over the reach s of the summits, at rest
s = sqrt(pi) a p_r/E*, with a = sqrt(R lambda) the mean radius of the spots (tips of radius R, heights of decay length
lambda) and p_r the real pressure on them; elastic summits have s = lambda. A summit that spans a low area rests on its
sides; so of the reach there is only the share g, and the bulk of the pad, which bends into the area under the nominal
pressure p, comes in series:

    1/g = 1 + 2.2 [a/w_low + a/(w_high + 0.3 a)],      l = chi s g + p C(q_b),      q_b = pi/min(w_low, w_high)

Narrow equal widths give g = w/(4.4 a), wide ones 1, so dishing grows with width up to some 4.4 a, tens of micrometres.
chi is what of the reach at rest counts while the pad slides: calibrated, one for both terms. Around a narrow island in a
wide plain the bulk has to bend as sharply as into a narrow trench. A trench deeper than half chi s is reached into more
easily: with k = depth/(chi s), w_low + 0.39 k a stands for w_low and (0.13 + 0.89 k) a for 0.3 a.

Shapes count by w = 2 area/perimeter. Valid from w = 0.1 a on; within 9 % (rms) of single summits solved on a half-space.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse

Array = NDArray[np.float64]
SOURCES: tuple[str, ...] = (
    "Spots and real pressure of summits of exponential height: derived here from Greenwood & Williamson 1966, Proc. R."
    " Soc. A 295, 300 (read as quoted in Yastrebov's Greenwood-Tripp notes)",
    "share of the summits' reach that a width leaves: fitted by us to single summits on an elastic half-space, averaged"
    " over heights and places; derivation of our own",
)

NARROWEST = 1e-9  # [m]
_BLOCK = 16384  # cells at once: temporaries stay in the cache
_FELT = 2.0  # times l: below that a low area carries next to nothing, whatever its depth


def reach_at_rest(spot_radius: float, relative_pressure: float) -> float:
    """Return s = sqrt(pi) a p_r/E*, the summits' reach into a wide low area of a pad at rest [m].

    Parameters
    ----------
    spot_radius
        a = sqrt(tip radius times decay length of the heights) [m].
    relative_pressure
        p_r/E*: real pressure over plane modulus; that of the flow pressure where summits yield [1].

    Returns
    -------
    float
        [m].
    """
    return float(np.sqrt(np.pi)) * spot_radius * relative_pressure


def share_of_reach(
    low_width: ArrayLike, high_width: ArrayLike, spot_radius: float, depth_ratio: ArrayLike = 0.0
) -> Array:
    """Return g, the share of the summits' reach that widths leave.

    Parameters
    ----------
    low_width, high_width
        [m], above 0; an infinite high width stands for an isolated trench.
    spot_radius
        a [m].
    depth_ratio
        Depth of the low area over chi s [1]; 0 for one no deeper than half of that.

    Returns
    -------
    Array
        Between 0 and 1, broadcast shape.
    """
    low, high = np.asarray(low_width, dtype=np.float64), np.asarray(high_width, dtype=np.float64)
    k = np.asarray(depth_ratio, dtype=np.float64)
    beside = np.maximum(0.3, 0.13 + 0.89 * k) * spot_radius
    into = low + 0.39 * k * spot_radius
    return np.asarray(1 / (1 + 2.2 * spot_radius * (1 / into + 1 / (high + beside))))


def feature_selectivity(
    width: ArrayLike,
    *,
    summit_length: float,
    spot_radius: float,
    pressure: float,
    compliance: Callable[[Array], Array],
    widest: float = 1e-3,
    high_width: ArrayLike | None = None,
    depth: float = 0.0,
) -> Array:
    """Return the selectivity length l of low areas.

    Parameters
    ----------
    width
        Of them [m] (0 or NaN: unknown or none).
    summit_length
        chi s [m] over wide areas.
    spot_radius
        a [m] of the mean contact spot.
    pressure
        Nominal p [Pa].
    compliance
        Maps wave number [rad/m] to the stack's surface compliance [m/Pa].
    widest
        Width [m] at which wider or unknown ones count; from about the planarization length on, the
        effective density takes over.
    high_width
        Width [m] of the high areas between them (0 or NaN: unknown); as the low ones unless given.
    depth
        Of the low areas at the start [m]; 0 for those that only form while polished. What counts of it is no more than
        two selectivity lengths: deeper down nothing is felt.

    Returns
    -------
    Array
        [m], shape as ``width``.

    Raises
    ------
    ModelError
        Where a number is not finite and above 0.
    """
    for what, value in (
        ("summit selectivity length [m]", summit_length),
        ("radius of a contact spot [m]", spot_radius),
    ):
        if not (np.isfinite(value) and value > 0):
            raise ModelError(refuse(what, value, "finite and above 0"))
    given = np.asarray(width, dtype=np.float64)
    beside = given if high_width is None else np.asarray(high_width, dtype=np.float64)
    # The bulk is costly per width and smooth in it: a table, linear in logarithms to 1e-5, serves all cells.
    knot = np.linspace(np.log(NARROWEST), np.log(widest), 1500)
    log_bulk = np.log(pressure * np.asarray(compliance(np.pi / np.exp(knot))))
    out = np.empty(given.shape)
    flat, widths, islands = out.reshape(-1), given.reshape(-1), beside.reshape(-1)
    for begin in range(0, flat.size, _BLOCK):
        part = slice(begin, begin + _BLOCK)
        low, high = _known(widths[part], widest), _known(islands[part], widest)
        bulk = np.exp(np.interp(np.log(np.minimum(low, high)), knot, log_bulk))
        length = summit_length * share_of_reach(low, high, spot_radius) + bulk
        for _ in range(3 if depth > 0 else 0):
            felt = np.minimum(depth, _FELT * length) / summit_length
            length = summit_length * share_of_reach(low, high, spot_radius, felt) + bulk
        flat[part] = length
    return out


def _known(width: Array, widest: float) -> Array:
    """Return the width, unknown or wider ones at ``widest``."""
    return np.clip(np.where(width > 0, width, widest), NARROWEST, widest)
