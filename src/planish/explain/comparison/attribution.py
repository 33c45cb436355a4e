"""Why two setups differ: the difference shared out fairly among the choices that made it.

Shapley values (Shapley 1953, "A value for n-person games") over groups of
choices: each group's share is its effect averaged over every order in which the groups could be
changed from setup A to setup B. The shares add up to the whole difference, equal contributors get
equal shares, and a group that changes nothing gets exactly nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import factorial
from typing import TYPE_CHECKING, Any, ClassVar

from planish.errors import SetupError, refuse
from planish.explain.comparison.mixing import GROUPS, differing, mixed
from planish.explain.comparison.ties import reading_notes, tied_groups
from planish.explain.comparison.trials import NoFigureError, Trials, is_number, number
from planish.results.result import Result

if TYPE_CHECKING:
    from planish.setup.changes import Changes
    from planish.setup.given import SetupLike
    from planish.setup.models import Setup
    from planish.setup.si import Rig

__all__ = ["GROUPS", "SOURCES", "Comparison", "compare", "differing", "mixed", "shapley"]

SOURCES = (
    "Shares of a difference: Shapley 1953, A value for n-person games (read as quoted in a note on the Shapley value)",
)
OUTCOMES = ("mean_removal_rate_nm_per_min", "wiwnu_sigma_percent")
ROUNDING = 1e-9  # of a figure: differences below are those of the arithmetic
SHOWN = 1e-3  # of the largest share: smaller ones are left out of the sentence


@dataclass(frozen=True, slots=True, repr=False)
class Comparison(Result):
    """A against B.

    Attributes
    ----------
    a, b
        Figures of the summaries; None where one has no such figure (no edge where nothing is removed).
    outcomes
        What was asked about, in that order.
    shares
        Outcome to group to share of ``b - a``; they add up to it. An outcome that cannot be shared out is missing.
    unshared
        Outcome to the reason why it cannot be shared out.
    members
        Name of each group in ``shares`` to the choices that it joins.
    swaps
        What is swapped together and what is read over from one setup to the other, a note each.
    notes, runs
        All that was assumed, ``swaps`` first, and how often the model ran.
    changes
        The changes that make B of A (for ``Setup.replace``); None where one was given as SI records, which do
        not say what its file says.
    differing
        The groups of choices in which the two differ.
    """

    kind: ClassVar[str] = "comparison"

    a: dict[str, float | None]
    b: dict[str, float | None]
    outcomes: tuple[str, ...]
    shares: dict[str, dict[str, float]]
    unshared: dict[str, str]
    members: dict[str, tuple[str, ...]]
    swaps: tuple[str, ...]
    notes: tuple[str, ...]
    runs: int
    changes: Changes | None = None
    differing: tuple[str, ...] = ()

    def _told(self) -> str:
        return "; ".join(self.sentence(outcome) for outcome in self.shares)

    def difference(self, outcome: str) -> float | None:
        """Return ``b - a``; None where one of the two has no such figure."""
        a, b = self.a[outcome], self.b[outcome]
        return None if a is None or b is None else b - a

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(SOURCES)

    def _content(self) -> dict[str, Any]:
        """Return the comparison as plain numbers, with one sentence an outcome."""
        return {
            "a": self.a,
            "b": self.b,
            "outcomes": list(self.outcomes),
            "difference": {key: self.difference(key) for key in self.outcomes},
            "shares": self.shares,
            "unshared": self.unshared,
            "groups": {name: list(members) for name, members in self.members.items()},
            "told_in": {key: self._told_in(key)[1].strip() for key in self.outcomes},
            "swaps": list(self.swaps),
            "sentences": [self.sentence(key) for key in self.outcomes],
            "changes": self.changes,
            "model_runs": self.runs,
        }

    def sentence(self, outcome: str, names: tuple[str, str] = ("A", "B")) -> str:
        """Return the finding in words: "...: 300 in A, 354 in B, 18 % higher: +12 % pad, +9 % recipe, -3 % slurry".

        Parameters
        ----------
        outcome
            One of ``outcomes``.
        names
            What the two are called.
        """
        from planish.explain.words import label

        words, (one, other) = label(outcome), names
        a, b, difference = self.a[outcome], self.b[outcome], self.difference(outcome)
        if a is None or b is None or difference is None:
            return f"{words}: {_figure(a)} in {one}, {_figure(b)} in {other}: there is no difference to share out"
        values = f"{words}: {_figure(a)} in {one}, {_figure(b)} in {other}"
        tiny = ROUNDING * max(abs(a), abs(b))
        same = abs(difference) <= tiny
        scale, unit = self._told_in(outcome)
        told = "the same" if same else f"{abs(difference * scale):.3g}{unit} {_direction(difference)}"
        if outcome in self.unshared:
            return f"{values}, {told}; not shared out: {self.unshared[outcome]}"
        shares = self.shares[outcome]
        largest = max(map(abs, shares.values()), default=0.0)
        if same and largest <= tiny:
            return f"{words}: no difference between {one} and {other} ({_figure(a)})"
        parts = sorted(shares.items(), key=lambda item: -abs(item[1]))
        listed = ", ".join(
            f"{share * scale:+.3g}{unit} {group}" for group, share in parts if abs(share) > SHOWN * largest
        )
        return f"{values}, {told}: {listed}"

    def _told_in(self, outcome: str) -> tuple[float, str]:
        """Return (factor, unit) in which a difference is told.

        In per cent of A where both are amounts; in the figure's own unit where a share of A would mislead: signs
        that differ or are negative, an A that is nothing, degrees Celsius, whose zero is not nothing, and
        figures that are per cents themselves.
        """
        from planish.explain.words import label

        a, b = self.a[outcome], self.b[outcome]
        amounts = a is not None and b is not None and a > 0 and b >= 0
        if amounts and not outcome.endswith(("_C", "_percent")):
            return 100.0 / float(a or 1.0), " %"
        words = label(outcome)
        unit = words.rpartition("[")[2].rstrip("]") if words.endswith("]") else ""
        return 1.0, f" {'points' if unit == '%' else unit}" if unit else ""


def _direction(difference: float) -> str:
    return "higher" if difference > 0 else "lower"


def _figure(value: float | None) -> str:
    return "none" if value is None else f"{value:.4g}"


def shapley(
    players: Sequence[Hashable], value: Callable[[frozenset[Hashable]], float]
) -> dict[Hashable, float]:
    """Return the Shapley value of each player.

    The values add up to ``value(all) - value(none)``, to rounding.

    Parameters
    ----------
    players
        Each once.
    value
        What a coalition is worth; asked once for each of the 2^n coalitions.

    Returns
    -------
    dict[Hashable, float]
        The share of each player, in the unit of ``value``.
    """
    n = len(players)
    worth = {
        frozenset(group): value(frozenset(group))
        for size in range(n + 1)
        for group in combinations(players, size)
    }
    shares: dict[Hashable, float] = {}
    for player in players:
        others = [other for other in players if other != player]
        shares[player] = sum(
            factorial(size)
            * factorial(n - size - 1)
            / factorial(n)
            * (worth[before | {player}] - worth[before])
            for size in range(n)
            for before in map(frozenset, combinations(others, size))
        )
    return shares


def compare(
    a: SetupLike,
    b: SetupLike,
    outcomes: Sequence[str] = OUTCOMES,
    run: Callable[[Rig], Mapping[str, object]] | None = None,
) -> Comparison:
    """Compare two setups and share out the difference of each outcome among the groups of choices.

    Groups that only fit together (a film and the slurry that has its removal law; a wafer and the head and
    machine made for its diameter) are swapped together, as one group named after all of them; a note says why.

    Parameters
    ----------
    a, b
        Setups: as loaded, as SI records, or the paths of their files.
    outcomes
        Keys of the summary to explain.
    run
        What gives the summary of one setup; the one-wafer prediction unless given.

    Raises
    ------
    SetupError
        If an outcome is not a figure of the summary.
    """
    from planish.setup.given import as_rig, as_setup
    from planish.setup.si import Rig

    changes = None
    lacking: list[str] = []
    if not isinstance(a, Rig) and not isinstance(b, Rig):
        a, b = as_setup(a), as_setup(b)
        changes = a.changes_to(b)
        lacking = _files_to_copy(a, b)
    rig_a, rig_b = as_rig(a), as_rig(b)
    figures = run or _wafer_of
    apart = differing(rig_a, rig_b)
    groups = tied_groups(rig_a, rig_b, apart)
    trials = Trials(rig_a, rig_b, groups, figures)
    ends = trials.of(frozenset()), trials.of(trials.whole)
    if (
        isinstance(outcomes, str)
        or not isinstance(outcomes, Sequence)
        or not all(isinstance(o, str) for o in outcomes)
    ):
        raise SetupError(
            refuse("outcomes", outcomes, "a list of figures of the summary", f"such as {list(OUTCOMES[:1])}")
        )
    asked = tuple(dict.fromkeys(outcomes))
    for key in asked:
        _known(key, *ends)
    shares: dict[str, dict[str, float]] = {}
    unshared: dict[str, str] = {}
    tied = {member for group in groups for member in group.members if len(group.members) > 1}
    everyone = [group for group in GROUPS if group not in tied]
    everyone += [group.name for group in groups if group.name not in everyone]
    for key in asked:
        if any(number(end.get(key)) is None for end in ends):
            unshared[key] = "A or B has no such figure"
            continue
        try:
            found = shapley([group.name for group in groups], lambda some, key=key: trials.figure(some, key))  # type: ignore[misc]
        except NoFigureError as problem:
            unshared[key] = str(problem)
            continue
        shares[key] = {group: found.get(group, 0.0) for group in everyone}
    members = {name: (name,) for name in everyone} | {group.name: group.members for group in groups}
    swaps = [
        *(group.note() for group in groups if group.reasons),
        *reading_notes(rig_a, rig_b, groups),
    ]
    return Comparison(
        a=_numbers(*ends, asked),
        b=_numbers(*ends[::-1], asked),
        outcomes=asked,
        shares=shares,
        unshared=unshared,
        members=members,
        swaps=tuple(swaps),
        notes=tuple(dict.fromkeys([*swaps, *lacking, *_told_by_side(*ends, shared=run is not None)])),
        runs=trials.runs,
        changes=changes,
        differing=tuple(apart),
    )


def _files_to_copy(a: Setup, b: Setup) -> list[str]:
    """Say which data files of B the changes cannot bring: A has none of that name beside it, or another."""
    kept = a.folder
    return [
        f"B's data file {name} is not the one beside A: copy it there (under a name of its own) before you make B of A"
        for name, content in b.attached().items()
        if kept is None or not (kept / name).is_file() or (kept / name).read_bytes() != content
    ]


def _known(key: str, *ends: Mapping[str, Any]) -> None:
    """Refuse an outcome that no summary has as a figure; it may be empty."""
    if all(key in end and (end[key] is None or is_number(end[key])) for end in ends):
        return
    numbers = dict.fromkeys(k for end in ends for k, v in end.items() if is_number(v))
    raise SetupError(f"outcome = {key!r}: must be a figure of the summary: {', '.join(numbers)}")


def _numbers(
    own: Mapping[str, Any], other: Mapping[str, Any], asked: Sequence[str]
) -> dict[str, float | None]:
    """Return the figures of one summary that are numbers in it or in the other, and what was asked about."""
    return {
        key: number(value)
        for key, value in own.items()
        if key in other
        and (key in asked or is_number(value) or (value is None and is_number(other[key])))
        and (other[key] is None or is_number(other[key]))
    }


def _wafer_of(rig: Rig) -> dict[str, object]:
    """Return the summary of a wafer of a setup, its notes beside it."""
    from planish.predict.wafer.polish import polish

    wafer = polish(rig)
    return {**wafer.summary(), "notes": list(wafer.notes)}


def _told_by_side(a: Mapping[str, Any], b: Mapping[str, Any], *, shared: bool) -> list[str]:
    """Return the notes of both summaries, each with whose it is; those of both only where ``shared`` are wanted."""
    of_a, of_b = ([str(note) for note in end.get("notes", [])] for end in (a, b))
    sides = {note: [s for s, own in (("A", of_a), ("B", of_b)) if note in own] for note in (*of_a, *of_b)}
    return [f"{' and '.join(side)}: {note}" for note, side in sides.items() if shared or len(side) == 1]
