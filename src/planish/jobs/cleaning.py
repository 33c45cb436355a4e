"""The cleaning of a wafer as it is asked for in text: sizes and constant with their units, each refused by its option."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from planish.errors import DataError, PlanishError, refuse
from planish.predict.cleaning import LARGEST, SIZES, clean_wafer
from planish.units import to_si

if TYPE_CHECKING:
    from planish.predict.cleaning import Cleaned
    from planish.setup.models import Setup


def cleaned(setup: Setup, steps: Sequence[str], sizes: str | None, hamaker: str | None) -> Cleaned:
    """Return which share of the slurry's particles is left.

    Parameters
    ----------
    setup
        Its slurry, its wafer, and its cleaning where no steps are given.
    steps
        As for :func:`planish.clean_wafer`; none for those of the setup.
    sizes
        Diameters with their units, joined by commas; None for those of the slurry.
    hamaker
        With its unit; None for the setup's.

    Raises
    ------
    DataError
        For a size or a constant that cannot be, by the name of the option and as it was written.
    SetupError
        As :func:`planish.clean_wafer`.
    """
    asked: dict[str, Any] = {"steps": list(steps)} if steps else {}
    each: dict[str, float] = {}
    try:
        if sizes is not None:
            each |= {size.strip(): to_si(size.strip(), "thickness") for size in sizes.split(",")}
            asked["sizes"] = list(each.values())
    except PlanishError as error:
        raise DataError(f"--sizes = {error}") from None
    for text, size in each.items():
        if not 0 < size <= LARGEST:
            raise DataError(refuse("--sizes", text, SIZES))
    try:
        if hamaker is not None:
            asked["hamaker"] = to_si(hamaker, "energy")
    except PlanishError as error:
        raise DataError(f"--hamaker = {error}") from None
    return clean_wafer(setup, **asked)
