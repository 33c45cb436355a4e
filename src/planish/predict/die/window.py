"""Over- and underpolish: between which times everything is cleared and nothing is overdone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from planish.predict.die.cells import DieChoices, DieInput, Effective
from planish.predict.die.conditions import LocalConditions
from planish.predict.die.level import Level
from planish.predict.die.model import DieFields, at_time, polish_cells, some_cells

Array = NDArray[np.float64]
_EXTREMES, _SPREAD = 200, 800
_EARLY = 1e-3  # of the time when all is clear: no limit is looked for before
_CLOSE = 1e-7  # of a time of the window
LATEST = {"density": 20.0, "contact": 2.0}
"""Times the recipe, by route: what has not happened by then counts as never happening."""


@dataclass(frozen=True, slots=True)
class PolishWindow:
    """When to stop: before, something is left; after, a limit is passed.

    Infinite where not reached within 20 times the recipe, 2 times by the contact route; no window where latest is not after earliest, nor where
    the die is never clear.

    Attributes
    ----------
    earliest, latest
        [s].
    set_by
        Names the limit that is passed first; empty where none is, or where the die is never clear.
    """

    earliest: float
    latest: float
    set_by: str

    @property
    def width(self) -> float:
        """Length of the window [s]; 0 or less if there is none."""
        return self.latest - self.earliest if np.isfinite(self.earliest) else -np.inf

    @classmethod
    def of(cls, earliest: float, passed_at: Mapping[str, float]) -> PolishWindow:
        """Return the window of a die.

        Parameters
        ----------
        earliest
            When it is clear [s]; infinite if never.
        passed_at
            When it passes each limit [s], infinite if never, by name.

        Returns
        -------
        PolishWindow
            Without a latest time where it is never clear, or passes no limit.
        """
        name = min(passed_at, key=lambda key: passed_at[key], default="")
        if not (name and np.isfinite(earliest) and np.isfinite(passed_at[name])):
            return cls(earliest, float("inf"), "")
        return cls(earliest, passed_at[name], name)


def passed(level: Level, fields: DieFields) -> dict[str, float]:
    """Return by how much the worst cell is past each limit.

    Parameters
    ----------
    level
        Which names the limits.
    fields
        Maps of a die.

    Returns
    -------
    dict[str, float]
        [m] by figure; negative: within.
    """
    out, limits = {}, level.limits()
    for merit in level.merits:
        values = fields.named[merit.name]
        if not merit.limit or np.all(np.isnan(values)):
            continue
        limit = limits[merit.name]
        out[merit.name] = (
            limit - float(np.nanmin(values)) if merit.worse_low else float(np.nanmax(values)) - limit
        )
    return out


def polish_window(
    cells: DieInput,
    level: Level,
    local: LocalConditions,
    seen: Effective,
    choices: DieChoices,
    fields: DieFields,
) -> PolishWindow:
    """Return the window at one place, from the cells that are extreme at the set time and a spread of others.

    Parameters
    ----------
    cells
        Of the layout.
    level
        What stands on the die.
    local
        Conditions at its place.
    seen
        From ``effective``.
    choices
        How to model.
    fields
        Maps at the set time.

    Returns
    -------
    PolishWindow
        Times between which the die is done and within its limits.
    """
    index = _worst(fields)
    few_cells, few_seen = some_cells(cells, seen, index)

    seen_at: dict[float, DieFields] = {}

    def run(time: float) -> DieFields:
        if time not in seen_at:
            conditions = at_time(local, time)
            count = len(conditions.steps)
            cut = replace(few_seen, selectivity=few_seen.selectivity[:count], shares=few_seen.shares[:count])
            seen_at[time] = polish_cells(few_cells, level, conditions, cut, choices)
        return seen_at[time]

    end = LATEST["density"] * local.duration
    earliest = _latest(fields.clear) if level.flat_below else _all_clear(run, local.duration, end)
    if not level.flat_below and not np.isfinite(earliest):
        return PolishWindow.of(earliest, {})
    found = {}
    for name in level.limits():

        def excess(time: float, name: str = name) -> float:
            return passed(level, run(time)).get(name, -1.0)

        # Before everything is clear, lines still in the open step are not yet dished.
        first = 0.0 if level.flat_below else earliest
        found[name] = _rises(excess, first, local.duration if level.flat_below else first, end)
    return PolishWindow.of(earliest, found)


def _all_clear(run: Callable[[float], DieFields], guess: float, end: float) -> float:
    """Return when the last cell is clear, however long the last step; infinite if not by ``end``."""
    time = guess
    while not np.all(np.isfinite(_some(run(time).clear))):
        time *= 2.0
        if time > end:
            return float("inf")
    return _latest(run(time).clear)


def _rises(excess: Callable[[float], float], first: float, guess: float, end: float) -> float:
    """Return when ``excess`` rises above 0, looked for from ``first`` on; infinite if not by ``end``."""
    from scipy.optimize import brentq  # a setup is read without it

    low, high = first, guess
    if excess(low) > 0:  # passed before everything is clear
        low, high = _EARLY * first, first
        if not low > 0 or excess(low) > 0:
            return low
    while not excess(high) > 0:
        low, high = high, 2.0 * high
        if high > end:
            return float("inf")
    return float(brentq(excess, low, high, xtol=_CLOSE * high, rtol=_CLOSE))


def _latest(clear: Array) -> float:
    times = _some(clear)
    return float(times.max()) if times.size else 0.0


def _worst(fields: DieFields) -> NDArray[np.int64]:
    size = fields.clear.size
    if size <= 8 * _EXTREMES:
        return np.arange(size)
    chosen = [np.linspace(0, size - 1, _SPREAD).astype(np.int64)]
    for values in (fields.clear, fields.level_high, fields.level_low, *fields.named.values()):
        flat = values.reshape(-1)
        chosen += [_smallest(flat), _smallest(-flat)]
    return np.unique(np.concatenate(chosen))


def _smallest(values: Array) -> NDArray[np.int64]:
    return np.argpartition(np.where(np.isnan(values), np.inf, values), _EXTREMES)[:_EXTREMES]


def _some(values: Array) -> Array:
    return values[~np.isnan(values)]
