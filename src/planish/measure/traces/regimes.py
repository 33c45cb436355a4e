"""Regimes of a set of wafers: the groups in which one rate law can hold.

The rule, applied to the training part alone and to nothing but the traces:
a regime is a stage on a route, a route being the chambers that one polish
passes through. A regime with fewer than ``FEWEST`` training wafers is joined
to the regime of nearest mean rate on the same route, else of nearest mean
rate anywhere. A wafer of a regime never seen in training goes the same way,
by its route, to the largest regime there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.errors import FitError

if TYPE_CHECKING:
    import polars as pl

SOURCES: tuple[str, ...] = ("Regimes by stage and route: a rule of our own, found from the training part",)

FEWEST = 30


@dataclass(frozen=True, slots=True, repr=False)
class Regimes(Record):
    """Where each regime's wafers come from: (stage, route) -> name of the regime."""

    names: tuple[str, ...]
    by_key: dict[tuple[str, str], str]
    routes: dict[str, str]
    notes: tuple[str, ...]

    def label(self, table: pl.DataFrame) -> NDArray[np.str_]:
        """Return the regime's name for each row of a wafer table.

        Parameters
        ----------
        table
            With ``stage`` and ``chambers``.

        Returns
        -------
        NDArray[np.str_]
            (rows,).
        """
        out = []
        for stage, chambers in zip(table["stage"].to_list(), table["chambers"].to_list(), strict=True):
            route = self.routes.get(chambers[0], "")
            name = self.by_key.get((stage, route))
            if name is None:
                same = [n for (_, r), n in self.by_key.items() if r == route]
                name = same[0] if same else self.names[0]
            out.append(name)
        return np.array(out)


def find_regimes(table: pl.DataFrame, training: NDArray[np.bool_]) -> Regimes:
    """Return the regimes of some wafers.

    Parameters
    ----------
    table
        Of wafers.
    training
        Marks the wafers to learn from, (rows,).

    Returns
    -------
    Regimes
        ``names`` are in order of falling size.

    Raises
    ------
    FitError
        If there are fewer than ``FEWEST`` training wafers in all.
    """
    import polars as pl

    part = table.filter(pl.Series(training))
    if part.height < FEWEST:
        raise FitError(f"{part.height} wafers to learn from: must be {FEWEST} or more to find any regime")
    routes = _routes(part["chambers"].to_list())
    keys = [
        (s, routes[c[0]]) for s, c in zip(part["stage"].to_list(), part["chambers"].to_list(), strict=True)
    ]
    rate = part["rate"].to_numpy()
    size: dict[tuple[str, str], int] = {}
    for k in keys:
        size[k] = size.get(k, 0) + 1
    mean = {k: float(np.median([r for r, own in zip(rate, keys, strict=True) if own == k])) for k in size}
    large = sorted((k for k in size if size[k] >= FEWEST), key=lambda k: -size[k])
    if not large:
        large = [max(size, key=lambda k: size[k])]
    names = {k: f"stage {k[0]}, chambers {k[1]}" for k in large}
    notes = []
    by_key = dict(names)
    for k in sorted(size):
        if k not in names:
            home = min(large, key=lambda o: (o[1] != k[1], abs(mean[o] - mean[k])))
            by_key[k] = names[home]
            notes.append(
                f"{size[k]} training wafers of stage {k[0]}, chambers {k[1]} are counted with {names[home]}"
            )
    return Regimes(tuple(names.values()), by_key, routes, tuple(notes))


def _routes(visits: list[list[str]]) -> dict[str, str]:
    """Chamber -> route from the lists of chambers of each polish (joined where they share one)."""
    groups: list[set[str]] = []
    for chambers in visits:
        touching = [g for g in groups if g & set(chambers)]
        groups = [g for g in groups if not g & set(chambers)]
        groups.append(set(chambers).union(*touching))
    return {c: "-".join(sorted(g)) for g in groups for c in g}
