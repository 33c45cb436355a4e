"""Run rules in plain words: what pattern of points beside the centre of a chart is an alarm.

A rule is written as it is said: ``1 beyond 3 sigma``, ``2 of 3 beyond 2 sigma`` (on one side), ``8 on one side``,
``6 rising or falling``, ``14 alternating``, ``15 within 1 sigma``, ``8 beyond 1 sigma on both sides``. Any counts and
distances may stand in them. Two sets have a name:

``handbook``
    The four of the Statistical Quality Control Handbook of 1956 (read as quoted in tests that check quality charts).
``eight``
    The eight of Nelson 1984, *Journal of Quality Technology* 16, 237-239 (read as quoted in documentation of run rules).

An alarm stands at the point that completes a pattern: it must itself lie where the rule asks.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.errors import DataError, refuse

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Kind = Literal["beyond", "trend", "alternating", "within", "both sides"]
MOST_POINTS = 30

HANDBOOK = ("1 beyond 3 sigma", "2 of 3 beyond 2 sigma", "4 of 5 beyond 1 sigma", "8 on one side")
EIGHT = (
    "1 beyond 3 sigma",
    "9 on one side",
    "6 rising or falling",
    "14 alternating",
    "2 of 3 beyond 2 sigma",
    "4 of 5 beyond 1 sigma",
    "15 within 1 sigma",
    "8 beyond 1 sigma on both sides",
)
SETS = {"handbook": HANDBOOK, "eight": EIGHT}
EXAMPLES = "such as '2 of 3 beyond 2 sigma', '8 on one side', '6 rising or falling', or handbook or eight"

_NUMBER = r"(\d+(?:\.\d+)?)"
_FORMS: tuple[tuple[str, Kind], ...] = (
    (rf"(\d+) beyond {_NUMBER} sigma on both sides", "both sides"),
    (rf"(\d+)(?: of (\d+))? beyond {_NUMBER} sigma", "beyond"),
    (r"(\d+)(?: of (\d+))? on one side", "beyond"),
    (r"(\d+) rising or falling", "trend"),
    (r"(\d+) alternating", "alternating"),
    (rf"(\d+) within {_NUMBER} sigma", "within"),
)


@dataclass(frozen=True, slots=True, repr=False)
class Rule(Record):
    """One rule.

    Attributes
    ----------
    name
        As it is said.
    kind
        "beyond": ``need`` of ``of`` points beyond ``sigma`` on one side; "trend", "alternating", "within", "both sides":
        ``need`` points in a row.
    need, of
        Points.
    sigma
        Standard deviations of a point from the centre.
    """

    name: str
    kind: Kind
    need: int
    of: int
    sigma: float = 0.0

    def found(self, z: Array) -> Flags:
        """Return at which points the rule is met.

        Parameters
        ----------
        z
            Points in standard deviations from the centre, in their order; shape (points,).

        Returns
        -------
        array of bool
            (points,).
        """
        if self.kind == "beyond":
            sides = [z > self.sigma, z < -self.sigma]
            met = [side & (_of_last(side, self.of) >= self.need) for side in sides]
            return np.asarray(met[0] | met[1])
        if self.kind == "within":
            return _in_row(np.abs(z) < self.sigma, self.need)
        if self.kind == "both sides":
            far = _in_row(np.abs(z) > self.sigma, self.need)
            both = (_of_last(z > 0, self.need) > 0) & (_of_last(z < 0, self.need) > 0)
            return np.asarray(far & both)
        rises = np.sign(np.diff(z, prepend=np.nan))
        if self.kind == "trend":
            return np.asarray(_in_row(rises > 0, self.need - 1) | _in_row(rises < 0, self.need - 1))
        turns = np.zeros(z.size, dtype=bool)
        turns[1:] = rises[1:] * rises[:-1] < 0
        return _in_row(turns, self.need - 2)


def read_rules(words: Sequence[str]) -> tuple[Rule, ...]:
    """Return rules as they are said.

    Parameters
    ----------
    words
        Rules or names of sets, or both.

    Returns
    -------
    tuple of Rule
        Each once.

    Raises
    ------
    DataError
        For words that say no rule.
    """
    said = [name for word in words for name in SETS.get(word.strip().lower(), (word,))]
    return tuple(dict.fromkeys(_read(name) for name in said))


def beyond(sigma: float) -> Rule:
    """Return the rule of one point beyond the limits.

    Parameters
    ----------
    sigma
        Where the limits stand.

    Returns
    -------
    Rule
        Named by it.
    """
    return Rule(f"1 beyond {sigma:g} sigma", "beyond", 1, 1, sigma)


def _read(words: str) -> Rule:
    text = " ".join(words.lower().replace("σ", " sigma").split())
    for form, kind in _FORMS:
        match = re.fullmatch(form, text)
        if match is None:
            continue
        numbers = [group for group in match.groups() if group is not None]
        need = int(numbers[0])
        of = int(match.group(2)) if kind == "beyond" and match.group(2) else need
        sigma = float(numbers[-1]) if "sigma" in text else 0.0
        least = {"trend": 3, "alternating": 4, "both sides": 2}.get(kind, 1)
        if not least <= need <= of <= MOST_POINTS:
            raise DataError(
                refuse("rule", words, f"{least} to {MOST_POINTS} points, not more than it looks at")
            )
        return Rule(text, kind, need, of, sigma)
    raise DataError(refuse("rule", words, f"a rule in words, {EXAMPLES}"))


def _of_last(flags: Flags, count: int) -> NDArray[np.int64]:
    """Return how many of the last ``count`` points are flagged; at the start, of as many as there are."""
    total = np.concatenate([np.zeros(count, dtype=np.int64), np.cumsum(flags)])
    return np.asarray(total[count:] - total[: flags.size])


def _in_row(flags: Flags, count: int) -> Flags:
    return np.asarray(_of_last(flags, count) == count)
