"""The figures of a wafer as people ask for them: their names, with the unit at the end, and the column that holds each."""

from __future__ import annotations

from collections.abc import Iterable

from planish.errors import DataError, refuse
from planish.results.units import unit_of

#: Name to column of the table of wafers.
FIGURES = {
    "rate_nm_per_min": "rate",
    "mean_removed_nm": "removed",
    "wiwnu_sigma_percent": "wiwnu_sigma",
    "wiwnu_range_percent": "wiwnu_range",
    "sigma_nm": "sigma",
    "minimum_nm": "minimum",
    "maximum_nm": "maximum",
    "time_s": "time",
    "pad_wafers": "pad_wafers",
    "pad_h": "pad_time",
    "disk_h": "disk_time",
    "ring_h": "ring_time",
    "cut_rate_um_per_h": "cut",
    "sites": "sites",
}
IN_PERCENT = ("wiwnu_sigma", "wiwnu_range")


def factor_of(name: str) -> float:
    """Return what a value of a column is multiplied by to be told under a name.

    Parameters
    ----------
    name
        Of :data:`FIGURES`.
    """
    unit = unit_of(name)
    return 1.0 if unit is None or FIGURES[name] in IN_PERCENT else 1.0 / unit.factor


def figure_named(word: str, kept: Iterable[str], place: str = "--value") -> str:
    """Return the figure that a word means.

    Parameters
    ----------
    word
        A name of :data:`FIGURES`, with or without its unit, or of a figure that is kept beside.
    kept
        Names of those.
    place
        For the refusal.

    Raises
    ------
    DataError
        For a word that means none of them.
    """
    if word in FIGURES or word in (names := list(kept)):
        return word
    plain = word.strip().casefold().replace(" ", "_")
    for name in (*FIGURES, *names):
        unit = unit_of(name)
        stem = name if unit is None else name[: -len(unit.ending) - 1]
        if plain in (name.casefold(), stem.casefold()):
            return name
    raise DataError(refuse(place, word, f"one of {', '.join((*FIGURES, *sorted(names)[:12]))}"))
