"""The figure of tuned settings: what comes in, what is left before and after, and the pressures of each step."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planish.explain.figures.style import BLUE, FAINT, GREEN, ORANGE, figure, line_look, styled, subplots
from planish.units import PSI

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.figure import Figure

    from planish.results.result import Result
    from planish.results.saved import SavedResult


@styled
def tuned_figure(answer: Result | SavedResult) -> Figure:
    """Draw tuned settings.

    Parameters
    ----------
    answer
        Fresh, or read back.

    Returns
    -------
    Figure
        In the house style.
    """
    data, summary = answer.data, answer.summary()
    fig = figure(13.0, 7.6)
    grid = subplots(fig, 2, 2)
    _profiles(grid[0, 0], grid[0, 1], data, summary)
    _pressures(grid[1, 0], data, "before", "Pressures before")
    _pressures(grid[1, 1], data, "after", "Pressures after")
    top = max(grid[1, 0].get_ylim()[1], grid[1, 1].get_ylim()[1])
    for ax in grid[1]:
        ax.set_ylim(0.0, top)
    for ax in grid.ravel():
        ax.set_xlabel("distance from the wafer's centre [mm]")
    return fig


def _profiles(coming: Any, left: Any, data: xr.Dataset, summary: dict[str, Any]) -> None:
    radius = 1e3 * _values(data, "radius")
    inside = radius <= radius[-1] - 1e3 * float(data.attrs["exclusion"])
    mean = 1e9 * _values(data, "incoming")
    coming.plot(radius[inside], mean[inside], color=FAINT)
    coming.set_title("Incoming, all films")
    coming.set_ylabel("thickness [nm]")
    goal = 1e9 * _values(data, "goal")
    for name, colour in (("before", ORANGE), ("after", BLUE)):
        share = summary[f"wiwnu_sigma_percent_{name}"]
        told = "" if share is None else f", WIWNU {share:.3g} % (1σ)"
        profile = 1e9 * _values(data, f"left_{name}")
        left.plot(radius[inside], profile[inside], color=colour, label=f"{name}{told}")
    left.plot(radius[inside], goal[inside], color=GREEN, linestyle=":", label="wanted")
    left.set_title("What is left")
    left.set_ylabel("thickness [nm]")
    left.legend()


def _pressures(ax: Any, data: xr.Dataset, which: str, title: str) -> None:
    """Draw the zones of each step as a staircase, and the ring as a mark beyond the edge."""
    edges = 1e3 * np.concatenate([[0.0], _values(data, "zone_outer_radius")])
    zones, ring = _values(data, f"zone_pressure_{which}") / PSI, _values(data, f"ring_set_{which}") / PSI
    names = [one.decode() if isinstance(one, bytes) else str(one) for one in data["step_name"].values]
    for index, name in enumerate(names):
        look = line_look(index)
        ax.stairs(zones[index], edges, label=name, baseline=None, linewidth=2.2, **look)
        if ring[index] > 0:
            ax.plot([1.03 * edges[-1]], [ring[index]], "s", color=look["color"])
    ax.set_title(f"{title} (square: ring)")
    ax.set_ylabel("zone pressure [psi]")
    ax.legend()


def _values(data: xr.Dataset, name: str) -> NDArray[np.float64]:
    return np.asarray(data[name].values, dtype=np.float64)
