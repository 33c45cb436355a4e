"""Why two setups differ: the difference shared out fairly among the choices that made it.

Shapley values (Shapley 1953, "A value for n-person games", from memory) over six groups of
choices: each group's share is its effect averaged over every order in which the groups could be
changed from setup A to setup B. The shares add up to the whole difference, equal contributors get
equal shares, and a group that changes nothing gets exactly nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from math import factorial
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.engine.record import Record, same
from planish.errors import SetupError

if TYPE_CHECKING:
    from planish.setup.given import SetupLike
    from planish.setup.si import Bench, Head, Step

SOURCES = ("Shares of a difference: Shapley 1953, A value for n-person games (from memory)",)

GROUPS = ("polisher", "head", "pad", "conditioner", "slurry", "recipe")
"""Groups of choices. "slurry" carries the removal laws calibrated with it. Where the incoming
wafers differ too, a seventh group "wafer" is added."""

_SPEEDS = {"rotary": "platen_speed", "linear": "belt_speed", "orbital": "orbit_speed"}


@dataclass(frozen=True, slots=True, repr=False)
class Comparison(Record):
    """A against B. ``shares`` maps outcome to group to share of ``b - a``; they add up to it."""

    a: dict[str, float]
    b: dict[str, float]
    shares: dict[str, dict[str, float]]
    notes: tuple[str, ...]
    runs: int

    def _told(self) -> str:
        return "; ".join(self.sentence(outcome) for outcome in self.shares)

    def summary(self) -> dict[str, Any]:
        """Return the comparison as plain numbers, with one sentence an outcome."""
        return {
            "a": self.a,
            "b": self.b,
            "difference": {key: self.b[key] - self.a[key] for key in self.shares},
            "shares": self.shares,
            "sentences": [self.sentence(key) for key in self.shares],
            "model_runs": self.runs,
            "notes": list(self.notes),
            "sources": list(SOURCES),
        }

    def sentence(self, outcome: str) -> str:
        """Return the finding in words: "...: 300 in A, 354 in B, 18 % higher: +12 % pad, +9 % recipe, -3 % slurry"."""
        from planish.predict.result import label

        difference = self.b[outcome] - self.a[outcome]
        words = label(outcome)
        scale, unit = 1.0, ""
        if self.a[outcome]:
            scale, unit = 100.0 / abs(self.a[outcome]), " %"
        if abs(difference * scale) < 5e-4 and all(
            abs(s * scale) < 5e-4 for s in self.shares[outcome].values()
        ):
            return f"{words}: no difference between A and B"
        parts = sorted(self.shares[outcome].items(), key=lambda item: -abs(item[1]))
        told = ", ".join(
            f"{share * scale:+.3g}{unit} {group}" for group, share in parts if abs(share * scale) >= 5e-4
        )
        direction = "higher" if difference >= 0 else "lower"
        values = f"{self.a[outcome]:.4g} in A, {self.b[outcome]:.4g} in B"
        return f"{words}: {values}, {abs(difference * scale):.3g}{unit} {direction}: {told}"


def shapley(
    players: Sequence[Hashable], value: Callable[[frozenset[Hashable]], float]
) -> dict[Hashable, float]:
    """Return each player's Shapley value; ``value`` is asked once for each of the 2^n coalitions.

    The values add up to ``value(all) - value(none)``, to rounding.
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


def mixed(a: Bench, b: Bench, from_b: frozenset[Hashable]) -> Bench:
    """Return setup A with the groups in ``from_b`` taken from B, made to fit each other.

    Where the motions differ, the speed that drives the pad comes with the polisher (step by step,
    the last step's where there are fewer); where the heads' zones differ, the recipe's zone pressures are
    read at the middles of the head's zones.
    """
    take = {group: b if group in from_b else a for group in (*GROUPS, "wafer")}
    polisher, head, recipe = take["polisher"], take["head"], take["recipe"]
    steps = tuple(
        _fitted(step, index, recipe, polisher, head.head) for index, step in enumerate(recipe.steps)
    )
    return replace(
        a,
        wafer=take["wafer"].wafer,
        polisher=polisher.polisher,
        head=head.head,
        pad=take["pad"].pad,
        conditioner=take["conditioner"].conditioner,
        slurry=take["slurry"].slurry,
        removal=take["slurry"].removal,
        steps=steps,
        sources=tuple(dict.fromkeys(a.sources + b.sources)),
        notes=tuple(dict.fromkeys(a.notes + b.notes)),
    )


def _fitted(step: Step, index: int, recipe: Bench, machine: Bench, head: Head) -> Step:
    changes: dict[str, Any] = {}
    if recipe.polisher.motion != machine.polisher.motion:
        own = machine.steps[min(index, len(machine.steps) - 1)]
        changes.update(dict.fromkeys(_SPEEDS.values(), 0.0))
        speed = _SPEEDS[machine.polisher.motion]
        changes[speed] = getattr(own, speed)
        changes["bearing_pressures"] = own.bearing_pressures
    edges, own_edges = recipe.head.zone_outer_radii, head.zone_outer_radii
    if edges.shape != own_edges.shape or not np.array_equal(edges, own_edges):
        middles = 0.5 * (np.concatenate([[0.0], own_edges[:-1]]) + own_edges)
        at = np.minimum(np.searchsorted(edges, middles), edges.size - 1)
        changes["zone_pressures"] = step.zone_pressures[at]
    return replace(step, **changes) if changes else step


def differing(a: Bench, b: Bench) -> list[str]:
    """Return the groups in which two setups differ."""
    pairs: dict[str, tuple[Any, Any]] = {
        "polisher": (a.polisher, b.polisher),
        "head": (a.head, b.head),
        "pad": (a.pad, b.pad),
        "conditioner": (a.conditioner, b.conditioner),
        "slurry": ((a.slurry, a.removal), (b.slurry, b.removal)),
        "recipe": (a.steps, b.steps),
        "wafer": (a.wafer, b.wafer),
    }
    return [group for group, (one, other) in pairs.items() if not same(one, other)]


def compare(
    a: SetupLike,
    b: SetupLike,
    outcomes: Sequence[str] = ("mean_removal_rate_nm_per_min", "wiwnu_sigma_percent"),
    run: Callable[[Bench], Mapping[str, object]] | None = None,
) -> Comparison:
    """Compare two setups and share out the difference of each outcome among the groups of choices.

    Parameters
    ----------
    a, b:
        Setups: as loaded, as SI records, or the paths of their files.
    outcomes:
        Keys of the summary to explain.
    run:
        What gives the summary of one setup; the one-wafer prediction unless given.

    Raises
    ------
    SetupError
        If the wafers have different diameters, or an outcome is not a number of the summary.
    """
    from planish.predict.wafer import polish
    from planish.setup.given import as_bench

    bench_a, bench_b = as_bench(a), as_bench(b)
    if bench_a.wafer.radius != bench_b.wafer.radius:
        raise SetupError(
            f"wafer.diameter = {bench_b.wafer.radius * 2e3:g} mm in B, {bench_a.wafer.radius * 2e3:g} mm in A: "
            "must be the same to compare (give both the same wafer)"
        )
    figures = run or (lambda bench: polish(bench).summary())
    groups = differing(bench_a, bench_b)
    cache: dict[frozenset[Hashable], Mapping[str, Any]] = {}

    def outcome_of(group: frozenset[Hashable], key: str) -> float:
        if group not in cache:
            cache[group] = figures(mixed(bench_a, bench_b, group))
        value = cache[group].get(key)
        if isinstance(value, bool) or not isinstance(value, int | float):
            numbers = [
                k for k, v in cache[group].items() if isinstance(v, int | float) and not isinstance(v, bool)
            ]
            raise SetupError(f"outcome = {key!r}: must be a figure of the summary: {', '.join(numbers)}")
        return float(value)

    shares: dict[str, dict[str, float]] = {}
    for key in outcomes:
        found = shapley(groups, lambda group, key=key: outcome_of(group, key))  # type: ignore[misc]
        everyone = [*GROUPS, *(["wafer"] if "wafer" in groups else [])]
        shares[key] = {group: found.get(group, 0.0) for group in everyone}
    whole, nothing = frozenset(groups), frozenset[Hashable]()
    for group in (nothing, whole):
        outcome_of(group, outcomes[0])
    notes = tuple(dict.fromkeys(str(n) for g in (nothing, whole) for n in cache[g].get("notes", [])))
    return Comparison(_numbers(cache[nothing]), _numbers(cache[whole]), shares, notes, len(cache))


def _numbers(figures: Mapping[str, Any]) -> dict[str, float]:
    return {k: float(v) for k, v in figures.items() if isinstance(v, int | float) and not isinstance(v, bool)}
