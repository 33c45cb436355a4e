"""How far the pad reaches into a low area of given width.

Over areas wider than a summit's contact spot the pressure falls by e over the
selectivity length s of the summits: d ln p/dh = 1/s. Inside a contact spot the
summit is an elastic body pressed at the real pressure p_r; a wave of height h
and wave number q changes that pressure by E* q h/2 (Westergaard), so there
d ln p/dh = E* q/(2 p_r). The two sensitivities add; the bulk of the pad, which
bends into the area under the nominal pressure p, comes in series:

    l = 1/(1/s + E* q/(2 p_r)) + p C(q_b),     q = pi/width,

with q_b = pi/(the smaller of the low area's width and that of the high area beside it): around a narrow
island in a wide plain the bulk has to bend as sharply as into a narrow trench.

Narrow areas are bridged (l -> 0), wide ones saturate at s, slowly growing with
the bending of the bulk.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse

Array = NDArray[np.float64]
SOURCES: tuple[str, ...] = (
    "Johnson 1985, Contact Mechanics, section 13.2: pressure of a wavy surface in full contact (from memory)",
    "reach of summits and bulk into a low area: derivation of our own",
)

NARROWEST = 1e-9  # [m]
_BLOCK = 16384  # cells at once: temporaries stay in the cache


def feature_selectivity(
    width: ArrayLike,
    *,
    summit_length: float,
    relative_pressure: float,
    pressure: float,
    compliance: Callable[[Array], Array],
    widest: float = 1e-3,
    high_width: ArrayLike | None = None,
) -> Array:
    """Return the selectivity length l of low areas.

    Parameters
    ----------
    width
        Of them [m] (0 or NaN: unknown or none).
    summit_length
        s [m] over wide areas.
    relative_pressure
        p_r/E*, mean real pressure over plane modulus of the summits.
    pressure
        Nominal p [Pa].
    compliance
        Maps wave number [rad/m] to the stack's surface compliance [m/Pa].
    widest
        Width [m] at which wider or unknown ones count; from about the planarization length on, the
        effective density takes over.
    high_width
        Width [m] of the high areas between them (0 or NaN: unknown), for the bulk's part.

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
        ("real pressure", relative_pressure),
    ):
        if not (np.isfinite(value) and value > 0):
            raise ModelError(refuse(what, value, "finite and above 0"))
    given = np.asarray(width, dtype=np.float64)
    beside = given if high_width is None else np.asarray(high_width, dtype=np.float64)
    # Costly per width and smooth in it: tables, linear in logarithms to 1e-5, serve all cells.
    knot = np.linspace(np.log(NARROWEST), np.log(widest), 1500)
    q = np.pi / np.exp(knot)
    log_summits = -np.log(1 / summit_length + q / (2 * relative_pressure))
    log_bulk = np.log(pressure * np.asarray(compliance(q)))
    out = np.empty(given.shape)
    flat, widths, islands = out.reshape(-1), given.reshape(-1), beside.reshape(-1)
    for begin in range(0, flat.size, _BLOCK):
        part = slice(begin, begin + _BLOCK)
        low = _known(widths[part], widest)
        flat[part] = np.exp(np.interp(low, knot, log_summits))
        small = low if high_width is None else np.minimum(low, _known(islands[part], widest))
        flat[part] += np.exp(np.interp(small, knot, log_bulk))
    return out


def _known(width: Array, widest: float) -> Array:
    """Logarithm of the width, unknown or wider ones at ``widest``."""
    return np.asarray(np.log(np.clip(np.where(width > 0, width, widest), NARROWEST, widest)))
