r"""Run lengths of a chart of single points with any run rules that count points: a Markov chain of what was seen last.

A rule that counts needs to know of each point only between which of the rules' bounds it lies. The state is what the rules
still remember of the last points; the states that can be reached, and where each point leads from them, are found by going
through them once. With Q the chances of going from state to state without an alarm the average run length is the first entry
of (I - Q)^-1 1; under a drift the shares of the states go forward sample by sample. Without rules that count it is the
closed form 1/(1 - Phi(L - mu) + Phi(-L - mu)).

Source: the idea is of Champ & Woodall 1987 (read as quoted in the help of the spc package); the states are derived here from
the rules' words.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from planish.errors import DataError, refuse
from planish.hold.rules import Rule
from planish.hold.run_length.forward import Survivors
from planish.hold.run_length.mean import Length, Mean

Array = NDArray[np.float64]
MOST_STATES = 20_000
ALARM = -1
LEAST = 1e-13  # chance below which an interval is never seen


def shewhart_length(rules: Sequence[Rule], mean: Mean, one_sided: bool = False) -> Length:
    """Return the average run length of a chart of single points.

    Parameters
    ----------
    rules
        That count points beyond bounds; among them that of one point beyond the limits.
    mean
        What the mean does.
    one_sided
        Whether only points above the centre alarm.

    Returns
    -------
    Length
        Its error that of the arithmetic.

    Raises
    ------
    DataError
        For a rule that looks at rises and falls, or rules that remember too much.
    """
    for rule in rules:
        if rule.kind in ("trend", "alternating"):
            raise DataError(
                refuse(
                    "rule",
                    rule.name,
                    "one that counts points beyond or within bounds",
                    "leave it out for run lengths",
                )
            )
    bounds, onward = _chain(tuple(rules), one_sided)
    silent = onward != ALARM
    count = onward.shape[0]
    if mean.drift == 0:
        stay = np.zeros((count, count))
        chances = _chances(bounds, mean.shift)
        for interval, chance in enumerate(chances):
            rows = np.flatnonzero(silent[:, interval])
            np.add.at(stay, (rows, onward[rows, interval]), chance)
        if not any(
            np.any(~silent[:, interval]) for interval in range(silent.shape[1]) if chances[interval] > LEAST
        ):
            raise DataError(refuse("rules", [rule.name for rule in rules], "such that the chart can alarm"))
        lengths = np.linalg.solve(np.eye(count) - stay, np.ones(count))
        return Length(float(lengths[0]), float(lengths[0]) ** 2 * 1e-16 * count**0.5)
    survivors = Survivors(mean)
    shares = np.zeros(count)
    shares[0] = 1.0
    sample = 0
    targets = [onward[silent[:, interval], interval] for interval in range(onward.shape[1])]
    while not survivors.over:
        sample += 1
        new = np.zeros(count)
        for interval, chance in enumerate(_chances(bounds, mean.at(sample))):
            new += chance * np.bincount(targets[interval], shares[silent[:, interval]], count)
        shares = new
        survivors.add(float(shares.sum()))
    return survivors.closed(0.0)


def _chances(bounds: Array, mean: float) -> Array:
    """Return the chance of each interval between the bounds."""
    edges = np.concatenate([[-np.inf], bounds, [np.inf]])
    # From the nearer tail, so that small chances keep their digits.
    low, high = edges[:-1] - mean, edges[1:] - mean
    chances: Array = np.where(low > 0, ndtr(-low) - ndtr(-high), ndtr(high) - ndtr(low))
    return chances


@lru_cache(maxsize=8)
def _chain(rules: tuple[Rule, ...], one_sided: bool) -> tuple[Array, NDArray[np.int64]]:
    """Return the bounds, and where each state goes with a point in each interval (``ALARM``: to an alarm)."""
    distances = {rule.sigma for rule in rules} | (
        {0.0} if any(r.kind == "both sides" for r in rules) else set()
    )
    bounds = np.array(sorted({side * each for each in distances for side in (-1.0, 1.0)}) or [0.0])
    bounds = np.unique(bounds + 0.0)
    middles = np.concatenate([[bounds[0] - 1], 0.5 * (bounds[1:] + bounds[:-1]), [bounds[-1] + 1]])
    watches = [watch for rule in rules for watch in _watches(rule, middles, one_sided)]
    start = tuple(0 for _ in watches)
    seen = {start: 0}
    rows: list[list[int]] = []
    queue = [start]
    for state in queue:  # grows while it is gone through
        row = []
        for interval in range(middles.size):
            after = tuple(w.after(memory, interval) for w, memory in zip(watches, state, strict=True))
            if ALARM in after:
                row.append(ALARM)
                continue
            if after not in seen:
                if len(seen) >= MOST_STATES:
                    raise DataError(
                        refuse(
                            "rules",
                            [rule.name for rule in rules],
                            "fewer or shorter ones",
                            "they remember too much",
                        )
                    )
                seen[after] = len(seen)
                queue.append(after)
            row.append(seen[after])
        rows.append(row)
    return bounds, np.array(rows)


class _Watch:
    """What one rule remembers of the last points: bits, the newest lowest; those that can no longer matter are dropped."""

    def __init__(self, flags: NDArray[np.bool_], need: int, of: int) -> None:
        self.flags, self.need, self.of = flags, need, of

    def after(self, memory: int, interval: int) -> int:
        new = bool(self.flags[interval])
        window = memory << 1 | new
        if new and window.bit_count() >= self.need:
            return ALARM
        window &= (1 << (self.of - 1)) - 1
        # A flagged point that leaves the view before enough others can have come is forgotten at once: fewer states.
        for oldest in range(self.of - 2, -1, -1):
            if not window >> oldest & 1:
                continue
            room = self.of - 1 - oldest
            if window.bit_count() + room < self.need:
                window &= ~(1 << oldest)
            else:
                break
        return window


class _BothSides(_Watch):
    """A run of points far from the centre that has been on both of its sides.

    It remembers how long the run is, how long its last stretch on one side, and which side that is.
    """

    def __init__(self, flags: NDArray[np.bool_], above: NDArray[np.bool_], need: int) -> None:
        super().__init__(flags, need, need)
        self.above = above

    def after(self, memory: int, interval: int) -> int:
        if not self.flags[interval]:
            return 0
        rest, side = divmod(memory, 2)
        length, stretch = divmod(rest, self.need + 1)
        above = int(self.above[interval])
        stretch = min(stretch + 1, self.need) if length and above == side else 1
        length = min(length + 1, self.need)
        if length == self.need and stretch < self.need:
            return ALARM
        return 2 * (length * (self.need + 1) + stretch) + above


def _watches(rule: Rule, middles: Array, one_sided: bool) -> list[_Watch]:
    if rule.kind == "beyond":
        sides = [middles > rule.sigma] if one_sided else [middles > rule.sigma, middles < -rule.sigma]
        return [_Watch(side, rule.need, rule.of) for side in sides]
    if rule.kind == "within":
        return [_Watch(np.abs(middles) < rule.sigma, rule.need, rule.of)]
    return [_BothSides(np.abs(middles) > rule.sigma, middles > 0, rule.need)]
