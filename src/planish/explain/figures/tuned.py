"""The figure of tuned settings: what comes in, what is left before and after, the pressures of each step, and of a chance its draws."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planish.explain.figures.data import texts, values
from planish.explain.figures.style import BLUE, FAINT, GREEN, ORANGE, figure, line_look, styled, subplots
from planish.units import PSI

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.figure import Figure

    from planish.results.result import Result
    from planish.results.saved import SavedResult

Array = NDArray[np.float64]


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
    drawn = "draw_left_chosen" in data
    fig = figure(18.0 if drawn else 13.0, 7.6)
    grid = subplots(fig, 2, 3 if drawn else 2)
    _profiles(grid[0, 0], grid[0, 1], data, summary)
    _pressures(grid[1, 0], data, "before", "Pressures before")
    _pressures(grid[1, 1], data, "after", "Pressures after")
    top = max(grid[1, 0].get_ylim()[1], grid[1, 1].get_ylim()[1])
    for ax in grid[1, :2]:
        ax.set_ylim(0.0, top)
    for ax in grid[:, :2].ravel():
        ax.set_xlabel("distance from the wafer's centre [mm]")
    if drawn:
        _bands(grid[0, 2], data, summary)
        _limited(grid[1, 2], data, summary)
    return fig


def _profiles(coming: Any, left: Any, data: xr.Dataset, summary: dict[str, Any]) -> None:
    radius = 1e3 * values(data, "radius")
    inside = radius <= radius[-1] - 1e3 * float(data.attrs["exclusion"])
    several = "wafer_incoming" in data
    if several:
        for name, ax, colour in (
            ("wafer_incoming", coming, FAINT),
            ("wafer_left_before", left, ORANGE),
            ("wafer_left_after", left, BLUE),
        ):
            each = 1e9 * values(data, name)
            ax.plot(radius[inside], each[:, inside].T, color=colour, linewidth=0.9, alpha=0.45)
    mean = 1e9 * values(data, "incoming")
    coming.plot(radius[inside], mean[inside], color=FAINT)
    coming.set_title("Incoming, all films" + (" (bold: mean of the wafers)" if several else ""))
    coming.set_ylabel("thickness [nm]")
    goal = 1e9 * values(data, "goal")
    for name, colour in (("before", ORANGE), ("after", BLUE)):
        share = summary[f"wiwnu_sigma_percent_{name}"]
        of = "mean WIWNU" if several else "WIWNU"
        told = "" if share is None else f", {of} {share:.3g} % (1σ)"
        profile = 1e9 * values(data, f"left_{name}")
        left.plot(radius[inside], profile[inside], color=colour, label=f"{name}{told}")
    left.plot(radius[inside], goal[inside], color=GREEN, linestyle=":", label="wanted")
    left.set_title("What is left")
    left.set_ylabel("thickness [nm]")
    left.legend()


def _bands(ax: Any, data: xr.Dataset, summary: dict[str, Any]) -> None:
    """Draw the middle and 5 to 95 % of what is left over the draws, with the plain settings and those chosen."""
    place = 1e3 * values(data, "draw_place")
    for name, words, colour in _ways(data):
        low, middle, high = np.quantile(1e9 * values(data, f"draw_left_{name}"), (0.05, 0.5, 0.95), axis=0)
        ax.fill_between(place, low, high, color=colour, alpha=0.22, linewidth=0)
        ax.plot(place, middle, color=colour, label=words)
    ax.set_title(f"Left of {summary['draws']} draws (5 to 95 %)")
    ax.set_ylabel("thickness [nm]")
    ax.set_xlabel("distance from the wafer's centre [mm]")
    ax.legend()


def _limited(ax: Any, data: xr.Dataset, summary: dict[str, Any]) -> None:
    """Draw the limited figures of each draw: two against each other, or one as a distribution."""
    names = [str(one) for one in texts(data, "limit_of")]
    low, high = values(data, "limit_low"), values(data, "limit_high")
    two = len(names) > 1
    for name, words, colour in _ways(data):
        of_draws = values(data, f"draw_value_{name}")
        key = "chance_percent" if name == "chosen" else "chance_plain_percent"
        told = f"{words}: {summary[key]:.3g} % meet all limits"
        if two:
            ax.plot(of_draws[:, 0], of_draws[:, 1], ".", color=colour, alpha=0.5, markersize=5, label=told)
        else:
            ax.hist(of_draws[:, 0], bins=30, color=colour, alpha=0.45, label=told)
    for end in (low[0], high[0]):
        if np.isfinite(end):
            ax.axvline(end, color=GREEN, linestyle=":")
    if two:
        for end in (low[1], high[1]):
            if np.isfinite(end):
                ax.axhline(end, color=GREEN, linestyle=":")
        ax.set_ylabel(names[1])
    else:
        ax.set_ylabel("draws")
    ax.set_xlabel(names[0])
    ax.set_title("Draws and limits (dotted)")
    bottom, top = ax.get_ylim()
    ax.set_ylim(bottom, top + 0.3 * (top - bottom))  # room for the legend
    ax.legend(loc="upper left")


def _ways(data: xr.Dataset) -> list[tuple[str, str, str]]:
    """Return the settings that draws were polished with: name, words, colour; one where the plain ones are kept."""
    if not int(data.attrs["chosen_by_chance"]):
        return [("chosen", "plain, kept", BLUE)]
    return [("plain", "plain", ORANGE), ("chosen", "chosen", BLUE)]


def _pressures(ax: Any, data: xr.Dataset, which: str, title: str) -> None:
    """Draw the zones of each step as a staircase, and the ring as a mark beyond the edge."""
    edges = 1e3 * np.concatenate([[0.0], values(data, "zone_outer_radius")])
    zones, ring = values(data, f"zone_pressure_{which}") / PSI, values(data, f"ring_set_{which}") / PSI
    for index, name in enumerate(texts(data, "step_name")):
        look = line_look(index)
        ax.stairs(zones[index], edges, label=name, baseline=None, linewidth=2.2, **look)
        if ring[index] > 0:
            ax.plot([1.03 * edges[-1]], [ring[index]], "s", color=look["color"])
    ax.set_title(f"{title} (square: ring)")
    ax.set_ylabel("zone pressure [psi]")
    ax.legend()
