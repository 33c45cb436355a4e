"""The figure of a cleaning: the share of the slurry's particles that each step leaves, a line a size."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from planish.explain.figures.style import axes, figure, line_look, styled

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.results.result import Result

LEAST = 1e-3  # [%]: less is drawn as this, and told as less than this


@styled
def cleaning_figure(cleaned: Result) -> Figure:
    """Draw the share of particles left after each step.

    Drawn from what the answer tells (its ``document``), so a saved one looks the same.

    Parameters
    ----------
    cleaned
        The wafer.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = cleaned.document()
    steps = document["steps"]
    names = ["before", *(step["step"].replace(" ", "\n", 1).replace("^2", "²") for step in steps)]
    fig = figure(max(8.0, 2.0 * len(names)), 5.0)
    ax = axes(fig, 1, 1, 1)
    for index, size in enumerate(document["sizes_nm"]):
        left = np.array([100.0, *(step["left_percent"][index] for step in steps)])
        ax.plot(
            np.arange(len(names)),
            np.maximum(left, LEAST),
            marker="o",
            markersize=7,
            label=f"{size:.4g} nm: {_told(left[-1])} % left",
            **line_look(index),
        )
    ax.set_yscale("log")
    ax.set_xticks(np.arange(len(names)), names)
    ax.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
    ax.set_ylim(0.5 * LEAST, 200)
    ax.set_ylabel("particles left [%], relative")
    ax.set_title("What each cleaning step leaves")
    ax.legend(title="particle size", loc="lower left")
    return fig


def _told(percent: float) -> str:
    return f"{percent:.2g}" if percent >= LEAST else f"less than {LEAST:g}"
