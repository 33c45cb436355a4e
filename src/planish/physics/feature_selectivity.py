"""How far the pad reaches into a low area of given width.

Over areas wider than a summit's contact spot the pressure falls by e over the
selectivity length s of the summits: d ln p/dh = 1/s. Inside a contact spot the
summit is an elastic body pressed at the real pressure p_r; a wave of height h
and wave number q changes that pressure by E* q h/2 (Westergaard), so there
d ln p/dh = E* q/(2 p_r). The two sensitivities add; the bulk of the pad, which
bends into the area under the nominal pressure p, comes in series:

    l(q) = 1/(1/s + E* q/(2 p_r)) + p C(q),     q = pi/width.

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
) -> Array:
    """Return the selectivity length l [m] of low areas of ``width`` [m] (0 or NaN: unknown or none).

    Parameters
    ----------
    summit_length: s [m] over wide areas.
    relative_pressure: p_r/E*, mean real pressure over plane modulus of the summits.
    pressure: nominal p [Pa].
    compliance: maps wave number [rad/m] to the stack's surface compliance [m/Pa].
    widest: width [m] at which wider or unknown ones count; from about the planarization
        length on, the effective density takes over.
    """
    for what, value in (
        ("summit selectivity length [m]", summit_length),
        ("real pressure", relative_pressure),
    ):
        if not (np.isfinite(value) and value > 0):
            raise ModelError(refuse(what, value, "finite and above 0"))
    given = np.asarray(width, dtype=np.float64)
    # Costly per width and smooth in it: one table, linear in logarithms to 1e-5, serves all cells.
    knot = np.linspace(np.log(NARROWEST), np.log(widest), 1500)
    q = np.pi / np.exp(knot)
    reach = 1 / (1 / summit_length + q / (2 * relative_pressure)) + pressure * np.asarray(compliance(q))
    log_reach = np.log(reach)
    out = np.empty(given.shape)
    flat, widths = out.reshape(-1), given.reshape(-1)
    for begin in range(0, flat.size, _BLOCK):
        part = slice(begin, begin + _BLOCK)
        safe = np.clip(np.where(widths[part] > 0, widths[part], widest), NARROWEST, widest)
        flat[part] = np.exp(np.interp(np.log(safe), knot, log_reach))
    return out
