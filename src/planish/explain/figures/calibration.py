"""The figure of fitted numbers: measured against predicted, and where each number lies with its interval."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from planish.explain.figures.data import values
from planish.explain.figures.style import BLUE, FAINT, INK, LINES, ORANGE, figure, styled, subplots
from planish.units import pretty

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.figure import Figure

    from planish.results.result import Result
    from planish.results.saved import SavedResult

MARKS = ("o", "s", "^", "D", "v", "P")
NAMED = 8  # sets in the legend
LONGEST = 44  # characters of a name


@styled
def calibration_figure(answer: Result | SavedResult) -> Figure:
    """Draw fitted numbers.

    Parameters
    ----------
    answer
        Fresh, or read back.

    Returns
    -------
    Figure
        In the house style.
    """
    data, tables = answer.data, answer.tables()
    rows = tables["parameters"]
    untold = {
        name for text in tables.get("cannot_tell", {}).get("parameters", []) for name in str(text).split(", ")
    }
    level = float(answer.summary()["level_share"])  # type: ignore[arg-type]  # a number
    fig = figure(13.0, 5.2 + 0.5 * max(len(rows["name"]) - 4, 0))
    grid = subplots(fig, 1, 2)
    _against(grid[0], data)
    _intervals(grid[1], rows, untold, level)
    return fig


def _against(ax: Any, data: xr.Dataset) -> None:
    """Draw measured against predicted, both over the mean size of their set; crosses count less."""
    measured, predicted, weight = (values(data, name) for name in ("measured", "predicted", "weight"))
    of_set = np.asarray(data["set_of_value"].values)
    names = [one.decode() if isinstance(one, bytes) else str(one) for one in data["set_name"].values]
    for index, name in enumerate(names):
        mine = of_set == index
        ax.plot(
            predicted[mine],
            measured[mine],
            MARKS[(index + index // len(MARKS)) % len(MARKS)],
            color=LINES[index % len(LINES)],
            markersize=5,
            alpha=0.75,
            label=_short(name) if index < NAMED else None,
        )
    far = weight < 0.999
    if far.any():
        ax.plot(predicted[far], measured[far], "x", color=INK, markersize=9, label="far off: counts less")
    ends = [float(min(measured.min(), predicted.min())), float(max(measured.max(), predicted.max()))]
    room = 0.05 * max(ends[1] - ends[0], 0.01)
    line = [ends[0] - room, ends[1] + room]
    ax.plot(line, line, color=FAINT, linewidth=1.2, zorder=0)
    ax.set_xlim(line)
    ax.set_ylim(line)
    more = f"; {len(names) - NAMED} more sets" if len(names) > NAMED else ""
    ax.set_title(f"Measured against predicted{more}")
    ax.set_xlabel("predicted, over the mean of its set")
    ax.set_ylabel("measured, over the mean of its set")
    ax.legend(fontsize=9)


def _intervals(ax: Any, rows: dict[str, list[Any]], untold: set[str], level: float) -> None:
    """Draw each number's interval as a departure from the value, in percent of it; what is not told in another colour."""
    names = [str(name) for name in rows["name"]]
    widest = 0.0
    for at, name in enumerate(names):
        value, low, high, before = (float(rows[key][at]) for key in ("value", "low", "high", "before"))
        size = abs(value) if value else max(abs(low), abs(high), 1e-300)
        ends = [100.0 * (each - value) / size for each in (low, high)]
        colour = ORANGE if name in untold else BLUE
        ax.plot(ends, [at, at], color=colour, linewidth=5, solid_capstyle="butt", alpha=0.85)
        ax.plot([0.0], [at], "o", color=INK, markersize=6)
        ax.plot([100.0 * (before - value) / size], [at], "|", color=FAINT, markersize=16, markeredgewidth=2.5)
        unit = f" {pretty(str(rows['unit'][at]))}".rstrip()
        told = f"{value:.4g}{unit}  ({low:.4g} to {high:.4g})" + (
            "  not told alone" if name in untold else ""
        )
        ax.annotate(
            told, (0.0, at), xytext=(0, 9), textcoords="offset points", ha="center", fontsize=9.5, color=INK
        )
        widest = max(widest, *(abs(each) for each in ends), abs(100.0 * (before - value) / size))
    ax.set_yticks(range(len(names)), [_short(name) for name in names])
    ax.set_ylim(len(names) - 0.5, -0.6)
    ax.set_xlim(-1.15 * widest, 1.15 * widest)
    ax.set_xlabel("departure from the fitted value [%]  (bar across: value before)")
    ax.set_title(f"{100 * level:g} % intervals")


def _short(name: str) -> str:
    return name if len(name) <= LONGEST else "…" + name[1 - LONGEST :]
