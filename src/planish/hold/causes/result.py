"""Causes in the order of their likelihood: each with its size and onset, what moved, and what to check first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.hold.causes.told import Moved
from planish.results.result import Result

if TYPE_CHECKING:
    import xarray as xr

Array = NDArray[np.float64]
CARE = (
    "care: a ranking is a reason to look, not an order; before a machine is opened or set otherwise, follow the tool maker's "
    "limits, safety data sheets and local codes, with qualified staff"
)


@dataclass(frozen=True, slots=True, repr=False)
class Ranked(Record):
    """One cause.

    Attributes
    ----------
    cause
        "pad", "disk", "head zone", "slurry", "incoming" or "metrology".
    share
        Of the posterior, 0 to 1.
    change
        Its likeliest change with its size in words.
    size, error
        In ``unit``, and one standard deviation.
    unit
        Of the size.
    onset_row
        Likeliest row at which it began, counted from 1.
    onset_share
        Share of the cause's posterior within one row of it.
    misfit
        Chi-squared that is left with it, over what is expected.
    check
        What to check first.
    """

    cause: str
    share: float
    change: str
    size: float
    error: float
    unit: str
    onset_row: int
    onset_share: float
    misfit: float
    check: str


@dataclass(frozen=True, slots=True, repr=False)
class RankedCauses(Result):
    """What changed, ranked.

    Attributes
    ----------
    causes
        Likeliest first; shares sum to 1.
    evidence
        Natural logarithm of the likelihood of a change of any kind over that of none.
    explained
        Whether the likeliest cause fits.
    said
        What there is to say, a sentence each.
    moved
        Figures since the likeliest onset against the rows before the window, farthest first.
    rows
        Of the table, (wafers,), counted from 1.
    baseline
        How many of them were taken to be good.
    course, foretold
        (told figures, wafers): measured less what the lot foretells, and what the likeliest cause adds.
    figures
        Their names with units.
    ring_radius
        Of the site rings [m].
    rings, rings_foretold
        (2, rings) [m]: mean change before and after the polish since the onset, and by the likeliest cause.
    notes
        What was assumed and left out.
    rests_on
        Sources.
    """

    kind: ClassVar[str] = "ranked causes"

    causes: tuple[Ranked, ...]
    evidence: float
    explained: bool
    said: tuple[str, ...]
    moved: tuple[Moved, ...]
    rows: NDArray[np.int64]
    baseline: int
    course: Array
    foretold: Array
    figures: tuple[str, ...]
    ring_radius: Array
    rings: Array
    rings_foretold: Array
    notes: tuple[str, ...]
    rests_on: tuple[str, ...]

    def _told(self) -> str:
        first = self.causes[0]
        odd = "" if self.explained else ", which does not explain it"
        return f"{first.cause} ({100 * first.share:.0f} %): {first.change} since row {first.onset_row}{odd}"

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(self.rests_on)

    def _content(self) -> dict[str, Any]:
        first = self.causes[0]
        return {
            "likeliest": first.cause,
            "share_percent": 100 * first.share,
            "change": first.change,
            "onset_row": first.onset_row,
            "explained": self.explained,
            "misfit_over_expected": first.misfit,
            "evidence_ln": self.evidence,
            "wafers": int(self.rows.size),
            "baseline": self.baseline,
            "check_first": first.check,
            "said": list(self.said),
            "causes": [
                {
                    "cause": one.cause,
                    "share_percent": 100 * one.share,
                    "change": one.change,
                    "size": one.size,
                    "size_error": one.error,
                    "size_unit": one.unit,
                    "onset_row": one.onset_row,
                    "onset_within_one_row_percent": 100 * one.onset_share,
                    "misfit_over_expected": one.misfit,
                    "check_first": one.check,
                }
                for one in self.causes
            ],
            "moved": [
                {
                    "figure": one.figure,
                    "unit": one.unit,
                    "change": one.change,
                    "sigmas": one.sigmas,
                    "explained": one.explained,
                }
                for one in self.moved
            ],
            "figures": list(self.figures),
        }

    def dataset(self) -> xr.Dataset:
        """Return the course of the figures, and the change of the rings."""
        import xarray as xr

        told = {"units": "as the figure's", "long_name": "measured less what the lot foretells"}
        by_it = {"units": "as the figure's", "long_name": "what the likeliest cause adds"}
        length = {"units": "m", "long_name": "mean change since the onset"}
        return xr.Dataset(
            {
                "row": ("wafer", self.rows, {"units": "1", "long_name": "row of the table"}),
                "course": (("figure", "wafer"), self.course, told),
                "foretold": (("figure", "wafer"), self.foretold, by_it),
                "ring_radius": ("ring", self.ring_radius, {"units": "m", "long_name": "radius of a ring of sites"}),
                "rings": (("when", "ring"), self.rings, length),
                "rings_foretold": (
                    ("when", "ring"), self.rings_foretold, {"units": "m", "long_name": "by the likeliest cause"},
                ),
            }
        )  # fmt: skip
