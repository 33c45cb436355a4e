"""Limits that every choice must keep: a range of a figure, as ``wiwnu_sigma_percent=..3``."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from planish.errors import SetupError, refuse
from planish.results.units import unit_of
from planish.setup.ranges import range_ends
from planish.tuning.tradeoffs.aims import ANSWERS, Answer, answer_of, figure_of

_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*)")
ALLOWED = "a range, as '..3', '200..' or '200..400', in the unit of the figure"


@dataclass(frozen=True, slots=True)
class Limit:
    """One figure, of which answer, and between which values it must lie (in its trade unit; infinite for no end)."""

    figure: str
    answer: Answer
    low: float
    high: float

    def beyond(self, value: float) -> float:
        """Return by how much a value is beyond, as a share of the limit's own size; 0 within."""
        over = max(self.low - value, value - self.high, 0.0)
        ends = [abs(end) for end in (self.low, self.high) if math.isfinite(end)]
        return over / (max(ends) or 1.0)

    def told(self) -> str:
        """Return it in words."""
        unit = unit_of(self.figure)
        shown = "" if unit is None else f" {unit.shown}"
        low = f"{self.low:g}" if math.isfinite(self.low) else ""
        high = f"{self.high:g}" if math.isfinite(self.high) else ""
        return f"{self.figure} {low}..{high}{shown}"


def read_limits(given: Mapping[str, str], found: Mapping[Answer, Mapping[str, object]]) -> list[Limit]:
    """Return the limits that were asked for.

    Parameters
    ----------
    given
        Name of an aim, or key of a summary, to its range.
    found
        The summaries of the setup as it stands, by answer.

    Raises
    ------
    SetupError
        For a figure that there is not, or a range that cannot be read.
    """
    limits = []
    for name, text in given.items():
        figure, answer = figure_of(name)
        where = answer_of(figure, found, "limit") if answer is None else answer
        limits.append(Limit(figure, where, *_ends(name, figure, text)))
    return limits


def named_answers(given: Mapping[str, str]) -> set[Answer]:
    """Return the answers that limits surely need, by their names alone."""
    return {answer for name in given if (answer := figure_of(name)[1]) is not None}


def unnamed(given: Mapping[str, str]) -> list[str]:
    """Return the figures of limits that an answer must be looked through for."""
    return [name for name in given if figure_of(name)[1] is None]


def _ends(name: str, figure: str, text: object) -> tuple[float, float]:
    ends = range_ends(text) if isinstance(text, str) else None
    if ends is None:
        raise SetupError(refuse(f"limit {name}", text, ALLOWED))
    low, high = (_number(name, figure, end) if end else None for end in ends)
    low, high = -math.inf if low is None else low, math.inf if high is None else high
    if not low < high:
        raise SetupError(refuse(f"limit {name}", text, "a lower end below the higher one"))
    return low, high


def _number(name: str, figure: str, text: str) -> float:
    unit = unit_of(figure)
    shown = "no unit" if unit is None else unit.shown
    read = _NUMBER.fullmatch(text.strip())
    written = () if unit is None else (unit.shown, unit.ending, unit.shown.replace("µ", "u"))
    if read is None or (read[2] and read[2].strip() not in written):
        raise SetupError(refuse(f"limit {name}", text, f"a number in the unit of {figure}: {shown}"))
    return float(read[1])


def in_order(answers: set[Answer]) -> tuple[Answer, ...]:
    """Return answers in the order in which they are made."""
    return tuple(answer for answer in ANSWERS if answer in answers)
