"""The chance of meeting all limits, counted on draws polished on the full model, with its interval."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.tuning.chance.meet import Meet, met

Array = NDArray[np.float64]
LEVEL = 0.95
QUANTILES = (0.05, 0.5, 0.95)
SOURCES: tuple[str, ...] = (
    "Interval of a counted share: Wilson, J. Amer. Stat. Assoc. 22 (1927) 209 (read as quoted in the cicalc documentation), "
    "computed by SciPy",
    "A number of draws that meet, out of independent ones, is binomial; spreads are drawn as in a study, each from a normal "
    "distribution cut off at three standard deviations (derived here)",
)


class Share(NamedTuple):
    """A share of draws [1], with the ends of its 95 % interval."""

    share: float
    low: float
    high: float


def share_of(count: int, of: int) -> Share:
    """Return a counted share with its interval.

    Parameters
    ----------
    count, of
        How many draws met the limits, of how many independent ones (1 or more).

    Returns
    -------
    Share
        With the ends ``(p + z^2/2n -+ z sqrt(p(1-p)/n + z^2/4n^2)) / (1 + z^2/n)``, z = 1.96.
    """
    from scipy.stats import binomtest

    ends = binomtest(count, of).proportion_ci(LEVEL, method="wilson")
    return Share(count / of, float(ends.low), float(ends.high))


@dataclass(frozen=True, slots=True, repr=False)
class Count(Record):
    """What became of the draws with one setting.

    Attributes
    ----------
    limits
        To be met.
    values
        The limited figures of each draw [nm or %], (d, limits).
    """

    limits: tuple[Meet, ...]
    values: Array

    @property
    def met(self) -> NDArray[np.bool_]:
        """Which draws meet all limits, (d,)."""
        return np.asarray(met(self.limits, self.values).all(axis=1))

    @property
    def chance(self) -> Share:
        """Of meeting all limits."""
        return share_of(int(self.met.sum()), self.values.shape[0])

    @property
    def failed(self) -> NDArray[np.int_]:
        """How many draws each limit is not met by, (limits,)."""
        return np.asarray((~met(self.limits, self.values)).sum(axis=0))

    def quantiles(self) -> Array:
        """Return the 5th, 50th and 95th percentile of each limited figure, (3, limits)."""
        return np.asarray(np.quantile(self.values, QUANTILES, axis=0))

    def _told(self) -> str:
        found = self.chance
        return f"{int(self.met.sum())} of {self.values.shape[0]} draws meet all limits ({100 * found.low:.3g} to {100 * found.high:.3g} %)"


@dataclass(frozen=True, slots=True, repr=False)
class Chance(Record):
    """The chance of meeting all limits, with the settings of the plain tuning and with those chosen.

    Attributes
    ----------
    plain, chosen
        Counted on the same draws, which were not searched with; the same record where the plain settings are kept.
    other
        What the search proposed where it was no better than the plain settings; None where there is no such.
    places
        That count: distances from the wafer's centre [m], (m,).
    left_plain, left_chosen
        Left of each draw there [nm], (d, m).
    drawn, idle
        The spreads that were drawn, and those that do nothing to what is left.
    wafers, ages
        How many wafers come in, and how many a pad polishes (0: a new pad).
    refused
        How many draws have no answer, and why the first has none.
    seed
        Of the draws.
    foreseen, rounds
        The chance foreseen with the best settings of the search, and how often draws were foreseen anew.
    """

    plain: Count
    chosen: Count
    other: Count | None
    places: Array
    left_plain: Array
    left_chosen: Array
    drawn: tuple[str, ...]
    idle: tuple[str, ...]
    wafers: int
    ages: int
    refused: tuple[int, str]
    seed: int
    foreseen: float
    rounds: int

    @property
    def better(self) -> bool:
        """Whether the chosen settings meet more draws than the plain ones."""
        return self.chosen is not self.plain

    @property
    def fails_most(self) -> str | None:
        """The limit that most draws do not meet with the chosen settings; None where all draws meet all."""
        failed = self.chosen.failed
        return self.chosen.limits[int(np.argmax(failed))].told if failed.any() else None

    def _told(self) -> str:
        one, other = self.chosen.chance, self.plain.chance
        return (
            f"{100 * one.share:.3g} % of draws meet all limits ({100 * one.low:.3g} to {100 * one.high:.3g} %), "
            f"{100 * other.share:.3g} % with the plain settings"
        )

    def content(self) -> dict[str, Any]:
        """Return its figures, with the unit at the end of each key, and a row a limit."""
        made: dict[str, Any] = {}
        for name, count in (("chance", self.chosen), ("chance_plain", self.plain)):
            found = count.chance
            made[f"{name}_percent"] = 100 * found.share
            made[f"{name}_low_percent"] = 100 * found.low
            made[f"{name}_high_percent"] = 100 * found.high
        only = int((self.chosen.met & ~self.plain.met).sum()), int((self.plain.met & ~self.chosen.met).sum())
        return made | {
            "chance_foreseen_percent": 100 * self.foreseen,
            "chance_settings": "chosen by chance" if self.better else "plain",
            "draws": int(self.plain.values.shape[0]),
            "draws_met_only_so": only[0],
            "draws_met_only_plain": only[1],
            "draws_without_answer": self.refused[0],
            "seed": self.seed,
            "fails_most": self.fails_most,
            "meet": self._rows(),
            "drawn": list(self.drawn),
            "spreads_without_effect": list(self.idle),
        }

    def _rows(self) -> list[dict[str, Any]]:
        count = self.plain.values.shape[0]
        plain, chosen = self.plain.quantiles(), self.chosen.quantiles()
        return [
            {
                "limit": limit.told,
                "unit": limit.figure.unit,
                "failed_percent": 100 * float(self.chosen.failed[at]) / count,
                "failed_plain_percent": 100 * float(self.plain.failed[at]) / count,
                "p5": float(chosen[0, at]),
                "p50": float(chosen[1, at]),
                "p95": float(chosen[2, at]),
                "plain_p5": float(plain[0, at]),
                "plain_p50": float(plain[1, at]),
                "plain_p95": float(plain[2, at]),
            }
            for at, limit in enumerate(self.plain.limits)
        ]

    def variables(self) -> dict[str, Any]:
        """Return what became of the draws as variables of a dataset; profiles in SI, limited figures in nm or %."""
        limits = self.plain.limits
        made: dict[str, Any] = {
            "draw_place": (
                "place",
                self.places,
                {"units": "m", "long_name": "distance from the wafer's centre"},
            ),
            "limit_of": (
                "limit",
                [f"{one.figure.words} [{one.figure.unit}]" for one in limits],
                {"long_name": "figure of each limit"},
            ),
        }
        for end in ("low", "high"):
            values = [getattr(one, end) for one in limits]
            made[f"limit_{end}"] = ("limit", values, {"long_name": f"{end} end, infinite where not said"})
        for name, count, left in (
            ("plain", self.plain, self.left_plain),
            ("chosen", self.chosen, self.left_chosen),
        ):
            words = f"with the settings {'of the plain tuning' if name == 'plain' else 'chosen'}"
            made[f"draw_left_{name}"] = (
                ("draw", "place"),
                1e-9 * left,
                {"units": "m", "long_name": f"left of each draw {words}"},
            )
            made[f"draw_value_{name}"] = (
                ("draw", "limit"),
                count.values,
                {"long_name": f"limited figures of each draw {words}"},
            )
        return made

    def notes(self) -> list[str]:
        """Return what was drawn and what was not, and whether the search found better settings."""
        drawn = []
        if self.drawn:
            drawn.append(f"{len(self.drawn)} stated spreads ({', '.join(self.drawn)})")
        if self.wafers > 1:
            drawn.append(f"one of the {self.wafers} incoming wafers, each as likely")
        if self.ages:
            drawn.append(
                f"the age of pad and disk, 1 to {self.ages} wafers, by a lot with the plain settings"
            )
        made = [
            f"chance: counted on {self.plain.values.shape[0]} draws on the full model, others than those searched with; "
            f"drawn: {'; '.join(drawn)}"
        ]
        if self.drawn:
            made.append(
                "chance: stated spreads are doubts about this setup, alike for all wafers of a machine: the chance is that of a "
                "wafer from a machine that they describe (--no-spreads takes the setup at its word)"
            )
        if self.wafers == 1:
            made.append(
                "chance: one incoming wafer: what differs between wafers as they come in is not counted"
            )
        if not self.ages:
            made.append("chance: pad and disk are new: their ageing is not counted (--over-wafers counts it)")
        if self.idle:
            made.append(f"chance: {len(self.idle)} more stated spreads do nothing to what is left")
        if self.refused[0]:
            made.append(
                f"chance: {self.refused[0]} draws have no answer and are left out ({self.refused[1]})"
            )
        if not self.better:
            tried = (
                "the search found no others that promise more"
                if self.other is None
                else f"those that the search proposed meet {int(self.other.met.sum())} draws, these {int(self.plain.met.sum())}"
            )
            made.append(f"chance: the plain settings are kept: {tried}")
        return made
