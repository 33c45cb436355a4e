"""Scratch risk as a relative index: how many grains press hard enough to mark the film.

The picture. The slurry's large-particle tail falls as a power of size,
N(> D) = N_L (D/D_L)^-n. A grain of size D held at pressure P is pressed with
P pi D^2/4 and marks the film if that exceeds a critical load f*, that is, if
D > D* = sqrt(4 f*/(pi P)). The number that mark is therefore

    N ~ N_L D_L^n (P/f*)^(n/2)

and the number of marks goes with the sliding distance. A grain is held partly
by the mean pressure where summits touch, partly by the pad's resistance to
being dented around it: P is their weighted geometric mean. Loose grit from the
conditioning disk adds to N_L.

The index is 1 at the reference and says nothing absolute: neither counts on a
wafer nor their depth. Use it to compare settings. ``USUAL`` is one reference for
all setups, so that two of them can be held against each other.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse
from planish.physics.checks import above_zero

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Number of grains above the size that marks the film, power-law tail of sizes (derivation of our own)",
    "Critical load of a crack, toughness^4/hardness^3: Lawn & Evans 1977, J. Mater. Sci. 12, 2195 (from memory)",
    "Large particles, loose grit and hard pads scratch: common practice, no source",
    "Index 1 at 1e5 large particles per ml of 0.5 um, 40 MPa on summits, a pad of 67 MPa (Shore D 55), 150 m of sliding and no loose "
    "grit: round values of our own",
)


@dataclass(frozen=True, slots=True)
class ScratchReference:
    """The condition at which the index is 1.

    Attributes
    ----------
    real_pressure
        Mean on summits in contact [Pa].
    large_count, large_size
        Of the slurry's large particles [1/m^3], [m].
    pad_modulus
        Of the polishing layer [Pa] (or its hardness, in the same unit throughout).
    shedding
        Grit that the disk loses, in that of a reference disk of shedding 1, 0 or more.
    sliding_distance
        Per wafer [m].
    critical_load
        Of the film [N, or relative].
    """

    real_pressure: float
    large_count: float
    large_size: float
    pad_modulus: float
    shedding: float = 0.0
    sliding_distance: float = 1.0
    critical_load: float = 1.0


USUAL = ScratchReference(
    real_pressure=40e6, large_count=1e11, large_size=0.5e-6, pad_modulus=67e6, sliding_distance=150.0
)
"""The same for every setup: round values near those of a hard pad, a silica slurry and two minutes of polishing."""


class ScratchIndex(NamedTuple):
    """The relative index.

    Attributes
    ----------
    value
        [1].
    factors
        Whose product it is, by name [1].
    """

    value: Array
    factors: dict[str, Array]


def scratch_index(
    reference: ScratchReference,
    *,
    real_pressure: ArrayLike | None = None,
    large_count: ArrayLike | None = None,
    large_size: ArrayLike | None = None,
    pad_modulus: ArrayLike | None = None,
    shedding: ArrayLike | None = None,
    sliding_distance: ArrayLike | None = None,
    critical_load: ArrayLike | None = None,
    tail_exponent: float = 3.0,
    pad_share: float = 0.5,
    shed_count: float | None = None,
) -> ScratchIndex:
    """Return the relative scratch index of a condition.

    Parameters
    ----------
    reference
        Where the index is 1.
    real_pressure, large_count, large_size, pad_modulus, shedding, sliding_distance, critical_load
        The condition, in the units of ``ScratchReference``, broadcastable; what is
        left out is as in the reference. Give ``shedding`` 0 where no disk is at work.
    tail_exponent
        n of the large-particle tail (3 is an assumption; a particle counter gives it).
    pad_share
        How much of the holding is the pad's resistance to denting, 0 to 1 (an assumption).
    shed_count
        Large hard grains [1/m^3] that a disk of shedding 1 adds; as many as the
        reference slurry has if not given (an assumption).

    Returns
    -------
    ScratchIndex
        Factors "contact pressure", "pad hardness", "large particles", "particle size", "film", "sliding".

    Raises
    ------
    ModelError
        A value that must be above 0 is not, or shedding is below 0.
    """

    def relative(name: str, value: ArrayLike | None, unit: float) -> Array:
        ratio = np.asarray(unit if value is None else value, dtype=np.float64) / unit if unit > 0 else None
        if ratio is None or np.any(ratio < 0) or not np.all(np.isfinite(ratio)):
            raise ModelError(refuse(f"scratch index: {name}", value, "0 or more, its reference above 0"))
        return np.asarray(ratio)

    loose = np.asarray(reference.shedding if shedding is None else shedding, dtype=np.float64)
    if np.any(~(loose >= 0)) or not reference.shedding >= 0:
        raise ModelError(refuse("scratch index: shedding", shedding, "0 or more"))
    if not 0 <= pad_share <= 1:
        raise ModelError(refuse("scratch index: pad share", pad_share, "0 to 1"))
    above_zero("scratch index: tail exponent", tail_exponent)
    n = tail_exponent
    added = (reference.large_count if shed_count is None else shed_count) / reference.large_count
    film = relative("critical load", critical_load, reference.critical_load)
    if np.any(film == 0):
        raise ModelError(refuse("scratch index: critical load", critical_load, "above 0"))
    count = relative("large-particle count", large_count, reference.large_count) + added * loose
    factors = {
        "contact pressure": relative("real pressure", real_pressure, reference.real_pressure)
        ** ((1 - pad_share) * n / 2),
        "pad hardness": relative("pad modulus", pad_modulus, reference.pad_modulus) ** (pad_share * n / 2),
        "large particles": count / (1 + added * reference.shedding),
        "particle size": relative("large-particle size", large_size, reference.large_size) ** n,
        "film": film ** (-n / 2),
        "sliding": relative("sliding distance", sliding_distance, reference.sliding_distance),
    }
    index = np.asarray(1.0)
    for factor in factors.values():
        index = index * factor
    return ScratchIndex(np.asarray(index), {name: np.asarray(f) for name, f in factors.items()})


def critical_load(toughness: ArrayLike, hardness: ArrayLike) -> Array:
    """Return the load scale above which a sharp grain cracks a brittle film.

    Parameters
    ----------
    toughness
        Of the film [Pa m^0.5].
    hardness
        Of the film [Pa].

    Returns
    -------
    Array
        toughness^4/hardness^3 [N]. Only ratios of it mean something here.

    Raises
    ------
    ModelError
        Where one of them is not above 0.
    """
    K, H = np.asarray(toughness, dtype=np.float64), np.asarray(hardness, dtype=np.float64)
    if np.any(K <= 0) or np.any(H <= 0):
        raise ModelError(refuse("film toughness and hardness", "0 or below", "above 0"))
    return np.asarray(K**4 / H**3)
