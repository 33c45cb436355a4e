"""Figure of a front: a scatter for two aims, a scatter for each pair of three or four, parallel lines for more.

It is drawn from what the answer tells (its document), fresh or saved alike.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from planish.engine.record import counted
from planish.explain.figures.style import BLUE, FAINT, GREEN, INK, ORANGE, figure, line_look, styled, subplots
from planish.explain.words import label

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.results.result import Result

MOST_PAIRED = 4  # aims that are drawn in pairs
ROOM = 0.12  # of an axis, beyond the outermost point
APART = 0.05  # of the range of an axis, between two points whose numbers are both written
NUMBERED = 30  # points of a front that all have their number beside them


@styled
def tradeoff_figure(answer: Result) -> Figure:
    """Draw a front.

    Parameters
    ----------
    answer
        The trade-off, fresh or saved.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = answer.document()
    aims, points = document["aims"], document["points"]
    start = document["start"][0]
    if len(aims) > MOST_PAIRED:
        return _lines(aims, points, start)
    if len(aims) == 2:
        fig = figure(8.6, 5.6)
        ax = subplots(fig, 1, 1)
        _pair(ax, aims[0], aims[1], points, start, join=True, numbered=len(points) <= NUMBERED)
        ax.set_title(f"{counted(len(points), 'setup')} that no other found beats")
        ax.legend(loc="best")
        return fig
    return _pairs(aims, points, start)


def _pairs(aims: Any, points: Any, start: Any) -> Figure:
    count = len(aims) - 1
    fig = figure(4.4 * count + 0.6, 3.6 * count + 0.8)
    grid = subplots(fig, count, count, squeeze=False)
    for row in range(count):
        for column in range(count):
            ax = grid[row][column]
            if column > row:
                ax.set_axis_off()
                continue
            _pair(ax, aims[column], aims[row + 1], points, start, join=False, numbered=False)
            ax.label_outer()
    handles, names = grid[0][0].get_legend_handles_labels()
    grid[0][-1].legend(handles, names, loc="center")
    fig.suptitle(f"{counted(len(points), 'setup')} that no other found beats")
    return fig


def _pair(ax: Any, across: Any, up: Any, points: Any, start: Any, *, join: bool, numbered: bool) -> None:
    x = np.array([row[across["figure"]] for row in points])
    y = np.array([row[up["figure"]] for row in points])
    if join:
        ax.plot(*_stairs(x, y, across, up), color=FAINT, linewidth=1.2, zorder=1)
    ax.scatter(x, y, s=46, color=BLUE, zorder=3, label="front")
    ends = [at for at, row in enumerate(points) if "best " in row["where"]]
    ax.scatter(x[ends], y[ends], s=90, marker="s", color=ORANGE, zorder=4, label="best in one aim")
    knee = [at for at, row in enumerate(points) if "knee" in row["where"]]
    if knee:
        ax.scatter(x[knee], y[knee], s=150, marker="D", color=GREEN, zorder=5, label="knee")
    here = (start[across["figure"]], start[up["figure"]])
    if None not in here:
        ax.scatter(*here, s=170, marker="x", linewidth=3, color=INK, zorder=6, label="as it stands")
    named = [*ends, *knee]
    others = [at for at in range(len(points)) if at not in named] if numbered else []
    for at in _apart(x, y, named, others):
        off = (10, 9) if at in named else (7, 6)
        ax.annotate(
            str(points[at]["point"]), (x[at], y[at]), xytext=off, textcoords="offset points", zorder=7
        )
    ax.margins(ROOM)
    ax.set_xlabel(_axis(across))
    ax.set_ylabel(_axis(up))


def _apart(x: Any, y: Any, first: list[int], others: list[int]) -> list[int]:
    """Return the points whose numbers are written: the first ones, and of the others those with room beside them."""
    wide, high = (max(float(np.ptp(v)), 1e-300) for v in (x, y))
    chosen = list(first)
    for at in others:
        if all(max(abs(x[at] - x[one]) / wide, abs(y[at] - y[one]) / high) > APART for one in chosen):
            chosen.append(at)
    return chosen


def _stairs(x: Any, y: Any, across: Any, up: Any) -> tuple[Any, Any]:
    """Return the border of what is reached: from one point to the next by the corner that both beat."""
    order = np.argsort(x)
    x, y = x[order], y[order]
    worst_across = np.minimum if across["better"] == "higher" else np.maximum
    worst_up = np.minimum if up["better"] == "higher" else np.maximum
    corners = worst_across(x[:-1], x[1:]), worst_up(y[:-1], y[1:])
    xs, ys = np.empty(2 * x.size - 1), np.empty(2 * x.size - 1)
    xs[::2], ys[::2] = x, y
    xs[1::2], ys[1::2] = corners
    return xs, ys


def _axis(aim: Any) -> str:
    return f"{label(aim['figure'])}, {aim['better']} is better"


def _lines(aims: Any, points: Any, start: Any) -> Figure:
    """Draw each point as a line over the aims, each from its worst on the front, below, to its best."""
    fig = figure(2.2 * len(aims) + 1.6, 5.6)
    ax = subplots(fig, 1, 1)
    places = np.arange(len(aims))
    table = np.array([[row[aim["figure"]] for aim in aims] for row in points], dtype=np.float64)
    signs = np.array([1.0 if aim["better"] == "higher" else -1.0 for aim in aims])
    low, high = (signs * table).min(axis=0), (signs * table).max(axis=0)
    wide = np.where(high > low, high - low, 1.0)
    looks = 0
    for row, values in zip(points, table, strict=True):
        shares = (signs * values - low) / wide
        if row["where"] not in ("", "as it stands"):  # the start has a line of its own
            ax.plot(places, shares, label=f"{row['point']}: {row['where']}", zorder=3, **line_look(looks))
            looks += 1
        else:
            ax.plot(places, shares, color=FAINT, linewidth=1, alpha=0.6, zorder=2)
    here = [start[aim["figure"]] for aim in aims]
    if None not in here:
        shares = (signs * np.array(here, dtype=np.float64) - low) / wide
        ax.plot(
            places, shares, color=INK, linewidth=3, marker="x", markersize=10, label="as it stands", zorder=4
        )
    names = [
        f"{label(aim['figure'])}\nbest {signs[at] * high[at]:.4g}\nworst {signs[at] * low[at]:.4g}"
        for at, aim in enumerate(aims)
    ]
    ax.set_xticks(places, [_wrapped(name) for name in names])
    ax.set_yticks([0, 1], ["worst", "best"])
    ax.set_title(f"{counted(len(points), 'setup')} that no other found beats")
    ax.legend(loc="center left", bbox_to_anchor=(1.01, 0.5))
    return fig


def _wrapped(name: str) -> str:
    import textwrap

    return "\n".join(line for part in name.split("\n") for line in textwrap.wrap(part, 20))
