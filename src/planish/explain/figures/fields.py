"""The fields of a wafer, each coloured by what came of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from planish.explain.figures.style import INK, MAP, PAPER, figure, styled, subplots
from planish.predict.die.fields_result import PLAIN

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from planish.predict.die.fields_result import FieldsResult

MOST_MAPS = 6


@styled
def fields_figure(result: FieldsResult) -> Figure:
    """Draw the wafer with its fields, a map a figure: range over the field, clear time, dishing, erosion ...

    Parameters
    ----------
    result
        The fields.

    Returns
    -------
    Figure
        In the house style.
    """
    found = _worth_drawing(result.values())
    columns = min(len(found), 3)
    rows = -(-len(found) // columns)
    fig = figure(5.2 * columns, 4.8 * rows)
    grid = subplots(fig, rows, columns, squeeze=False)
    for ax, (name, values) in zip(grid.flat, found.items(), strict=False):
        _wafer(fig, ax, result, name, values)
    for ax in list(grid.flat)[len(found) :]:
        ax.set_visible(False)
    return fig


def _worth_drawing(values: dict[str, NDArray[np.float64]]) -> dict[str, NDArray[np.float64]]:
    """Drop what is the same in every field (all cleared, say), the spread, and a step that is the dishing again."""
    kept = {
        name: value
        for name, value in values.items()
        if np.unique(value[np.isfinite(value)]).size > 1
        and name != "within_die_sigma"
        and not (name == "step_height" and "dishing" in values)
    }
    first = {PLAIN[0]: values[PLAIN[0]]}
    return dict(list((first | kept).items())[:MOST_MAPS])


def _wafer(fig: Any, ax: Any, result: FieldsResult, name: str, values: NDArray[np.float64]) -> None:
    from matplotlib.collections import PatchCollection
    from matplotlib.patches import Circle, Rectangle

    width, height = (side * 1e3 for side in result.size)
    edge = result.wafer_radius * 1e3
    shown = values if name == "clear_time" else values * 1e9
    boxes = [
        Rectangle((x * 1e3 - width / 2, y * 1e3 - height / 2), width, height)
        for x, y in zip(result.x, result.y, strict=True)
    ]
    painted = PatchCollection(boxes, cmap=MAP, edgecolor=PAPER, linewidth=min(1.0, width / 10))
    painted.set_array(np.ma.masked_invalid(shown))
    ax.add_collection(painted)
    fig.colorbar(painted, ax=ax, shrink=0.85)
    ax.add_patch(Circle((0, 0), edge, facecolor="none", edgecolor=INK, linewidth=1.5))
    ax.set_xlim(-1.03 * edge, 1.03 * edge)
    ax.set_ylim(-1.03 * edge, 1.03 * edge)
    ax.set_aspect("equal")
    words = name.replace("_", " ").replace("within die", "within-die")
    low = any(merit.name == name and merit.worse_low for merit in result.merits)
    worst = "" if name in PLAIN else ", least" if low else ", most"
    ax.set_title(f"{words.capitalize()}{worst} [{'s' if name == 'clear_time' else 'nm'}]")
    ax.set_xlabel("x [mm]")
    ax.set_ylabel("y [mm]")
    ax.grid(False)
