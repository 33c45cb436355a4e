"""What was measured, in whatever files, that any number of the model can be fitted to?"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from planish.errors import DataError
from planish.fit.calibrate.observed import Array, Observed
from planish.jobs.measured import read_removal
from planish.predict.wafer.polish import polish
from planish.predict.wafer.polish_time import with_total_time
from planish.setup.given import as_rig

if TYPE_CHECKING:
    from planish.measure.sites.column_map import ColumnMap
    from planish.setup.models import Setup


def observed_of(
    setup: Setup,
    files: Sequence[str | os.PathLike[str]],
    columns: ColumnMap | None = None,
    *,
    time: float | None = None,
    wafer: str | None = None,
) -> list[Observed]:
    """Return the removal at the sites of one measured wafer, with the way in which the model foretells it.

    Parameters
    ----------
    setup
        It was polished with.
    files
        Site files of the thickness before and after the polish.
    columns, wafer
        What the files do not say of themselves, and which wafer of them.
    time
        Polish time [s], before one stated with the sites.

    Raises
    ------
    DataError
        For files that cannot be used.
    """
    paths = [Path(file) for file in files]
    if len(paths) not in (1, 2):
        raise DataError(f"fit: {len(paths)} data files given: must be site files before and after the polish")
    removal = read_removal(paths[0], paths[1] if len(paths) == 2 else None, columns, wafer).removal
    reach = as_rig(setup).wafer.radius - as_rig(setup).wafer.edge_exclusion
    inside = removal.r <= reach + 1e-6
    radius = np.asarray(removal.r[inside])
    seconds = removal.polish_time if time is None else time
    order = np.argsort(radius, kind="stable")
    groups = np.empty(radius.size, dtype=np.int64)
    groups[order] = np.concatenate([[0], np.cumsum(np.diff(radius[order]) > 1e-4)])
    digests = tuple((path.name, hashlib.sha256(path.read_bytes()).hexdigest()) for path in paths)
    return [
        Observed(
            removal.source,
            "sites",
            np.asarray(removal.value[inside]),
            np.zeros(radius.size),
            "m",
            groups,
            _Sites(radius, seconds),
            digests,
            tuple(removal.understood),
            {},
        )
    ]


@dataclass(frozen=True, slots=True)
class _Sites:
    """The removal [m] at distances [m] from the centre of a wafer polished for a time [s]."""

    radius: Array
    seconds: float | None

    def __call__(self, setup: Setup) -> Array:
        rig = setup.rig if self.seconds is None else with_total_time(setup.rig, self.seconds)[0]
        wafer = polish(rig)
        longer = 1.0 if self.seconds is None else self.seconds / wafer.time
        return np.asarray(np.interp(self.radius, wafer.radius, wafer.removed) * longer)
