"""Which sites of a measured wafer a fit may use, and which of them err together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import counted
from planish.errors import FitError
from planish.measure.sites.outliers import Flag, flag

if TYPE_CHECKING:
    from planish.measure.sites.read import SiteMap

Array = NDArray[np.float64]
#: Sites this much [m] beyond the edge exclusion count as on it (rounded positions in site files).
PLACE = 1e-6
#: Sites whose radii differ by less than this [m] belong to one ring.
RING = 1e-4


@dataclass(frozen=True, slots=True)
class Usable:
    """Which sites of a wafer a fit may use.

    Attributes
    ----------
    inside
        Whether each lies inside the edge exclusion.
    good
        Those of them that are not flagged.
    flags
        Why the others are.
    notes
        What was left out, in words; the flags last.
    """

    inside: NDArray[np.bool_]
    good: NDArray[np.bool_]
    flags: tuple[Flag, ...]
    notes: tuple[str, ...]


def usable(removal: SiteMap, reach: float) -> Usable:
    """Return which sites of a wafer a fit may use.

    Parameters
    ----------
    removal
        As measured.
    reach
        Distance from the centre up to which the wafer counts [m].

    Returns
    -------
    Usable
        Three sites or more.

    Raises
    ------
    FitError
        For fewer, and where the mean removal is not above zero.
    """
    notes = list(removal.understood)
    inside = removal.r <= reach + PLACE
    if not inside.all():
        notes.append(
            f"{counted(int((~inside).sum()), 'site')} beyond {1e3 * reach:.4g} mm not used (edge exclusion, or off the profile)"
        )
    flags = flag(removal)
    good = inside.copy()
    good[[f.row for f in flags]] = False
    if flags:
        notes.append(
            f"{counted(len(flags), 'site')} flagged ({', '.join(f.site for f in flags[:8])}): left out of the fit"
        )
    if good.sum() < 3:
        raise FitError(
            f"{removal.source}: {int(good.sum())} usable sites: must be three or more to fit a constant"
        )
    mean = float(np.mean(removal.value[good]))
    if mean <= 0:
        raise FitError(
            f"{removal.source}: mean removal = {mean * 1e9:.6g} nm: must be above zero (are the files before and "
            "after the polish the wrong way round?)"
        )
    return Usable(inside, good, flags, tuple(notes))


def ring_of(r: Array) -> NDArray[np.int64]:
    """Return which ring each site lies on, counted from the centre.

    Parameters
    ----------
    r
        Distance from the centre [m].
    """
    order = np.argsort(r)
    ring = np.empty(r.size, dtype=np.int64)
    ring[order] = np.concatenate([[0], np.cumsum(np.diff(r[order]) > RING)])
    return ring
