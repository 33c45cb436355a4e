"""What did the fab measure, and does the setup foresee it?"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from planish.errors import DataError, refuse
from planish.fit.against import WaferAgainst, wafer_against
from planish.measure.sites.pairing import Paired, pair
from planish.measure.sites.read import read_sites

if TYPE_CHECKING:
    from planish.setup.models import Setup


def read_removal(before: str | os.PathLike[str], after: str | os.PathLike[str] | None = None) -> Paired:
    """Return the measured removal of one wafer from its site files.

    Parameters
    ----------
    before, after
        Site files of the thickness before and after the polish; or one file that holds the removal.

    Returns
    -------
    Paired
        At the sites that both have.

    Raises
    ------
    DataError
        For a file that cannot be used, two that do not pair up, or one alone that holds no removal.
    """
    first = read_sites(Path(before))
    if after is not None:
        return pair(first, read_sites(Path(after)))
    if first.quantity != "removal":
        raise DataError(
            refuse(
                f"{first.source}: measured quantity",
                first.quantity,
                "removal, where no second file is given",
                "give the file from after the polish too",
            )
        )
    return Paired(first, (), (), "site name")


def measured_against(
    setup: Setup,
    before: str | os.PathLike[str],
    after: str | os.PathLike[str] | None = None,
    time: float | None = None,
) -> WaferAgainst:
    """Read a measured wafer and hold it against the setup it was polished with.

    Parameters
    ----------
    setup
        As loaded.
    before, after
        As for :func:`read_removal`.
    time
        Polish time [s]; see :func:`~planish.fit.against.wafer_against` for what goes without.

    Returns
    -------
    WaferAgainst
        Measured beside predicted.

    Raises
    ------
    PlanishError
        As :func:`read_removal` and :func:`~planish.fit.against.wafer_against`.
    """
    return wafer_against(setup, read_removal(before, after), time)
