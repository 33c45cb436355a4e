"""The figure of tuned platens: what each leaves before and after, what the last one leaves, and the pressures of each platen."""

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
def platens_figure(answer: Result | SavedResult) -> Figure:
    """Draw the tuned settings of platens in a row.

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
    count = int(data.sizes["each_platen"])
    wide = max(3, count)
    fig = figure(6.2 * wide, 7.6)
    grid = subplots(fig, 2, wide)
    told = answer.tables()["platens"]
    for ax, which in zip(grid[0], ("before", "after"), strict=False):
        means = [summary["mean_incoming_nm"], *told[f"mean_remaining_{which}_nm"]]
        _each_leaves(ax, data, which, means)
    low, high = (
        pick(grid[0, 0].get_ylim()[at], grid[0, 1].get_ylim()[at]) for pick, at in ((min, 0), (max, 1))
    )
    for ax in grid[0, :2]:
        ax.set_ylim(low, high)
    _end(grid[0, 2], data, summary)
    top = 1.15 * max(
        float(np.nanmax(values(data, f"zone_pressure_{which}"))) for which in ("before", "after")
    )
    top = max(
        top, 1.08 * max(float(values(data, f"ring_set_{which}").max()) for which in ("before", "after"))
    )
    for number in range(count):
        _pressures(grid[1, number], data, number, told)
        grid[1, number].set_ylim(0.0, 1.4 * top / PSI)  # room for the legend
    for ax in [*grid[0, :3], *grid[1, :count]]:
        ax.set_xlabel("distance from the wafer's centre [mm]")
    for ax in [*grid[0, 3:], *grid[1, count:]]:
        ax.set_visible(False)
    return fig


def _each_leaves(ax: Any, data: xr.Dataset, which: str, means: list[Any]) -> None:
    """Draw what comes in and what each platen leaves, each less its own mean inside the edge exclusion."""
    radii, left = 1e3 * values(data, "radius"), 1e9 * values(data, f"platen_left_{which}")
    lines = [("comes in", radii[0], 1e9 * values(data, "incoming"), {"color": FAINT})]
    lines += [
        (f"left by platen {number + 1}", radii[number], left[number], line_look(number))
        for number in range(left.shape[0])
    ]
    for (words, radius, profile, look), mean in zip(lines, means, strict=True):
        inside = _inside(data, radius)
        ax.plot(radius[inside], profile[inside] - mean, label=f"{words}: mean {mean:.4g} nm", **look)
    ax.set_title(f"What each platen leaves, {which}")
    ax.set_ylabel("thickness less its mean [nm]")
    _with_room(ax)


def _end(ax: Any, data: xr.Dataset, summary: dict[str, Any]) -> None:
    radius = 1e3 * values(data, "radius")[-1]
    inside = _inside(data, radius)
    for which, colour in (("before", ORANGE), ("after", BLUE)):
        share = summary[f"wiwnu_sigma_percent_{which}"]
        told = "" if share is None else f", WIWNU {share:.3g} % (1σ)"
        profile = 1e9 * values(data, f"platen_left_{which}")[-1]
        ax.plot(radius[inside], profile[inside], color=colour, label=f"{which}{told}")
    ax.plot(radius[inside], 1e9 * values(data, "goal")[inside], color=GREEN, linestyle=":", label="wanted")
    ax.set_title("Left after the last platen")
    ax.set_ylabel("thickness of all films [nm]")
    _with_room(ax)


def _pressures(ax: Any, data: xr.Dataset, number: int, told: dict[str, list[Any]]) -> None:
    """Draw the zones of each step of one platen, before thin and after bold, and the ring as a mark beyond the edge."""
    outer = 1e3 * values(data, "zone_outer_radius")[number]
    edges = np.concatenate([[0.0], outer[np.isfinite(outer)]])
    steps = np.flatnonzero(values(data, "step_platen") == number + 1)
    names = texts(data, "each_step_name")
    for place, step in enumerate(steps):
        colour = line_look(place)["color"]
        for which, wide, style in (("before", 1.0, ":"), ("after", 2.2, "-")):
            zones = values(data, f"zone_pressure_{which}")[step, : edges.size - 1] / PSI
            label = names[step] if which == "after" else None
            ax.stairs(zones, edges, label=label, baseline=None, linewidth=wide, linestyle=style, color=colour)
            ring = float(values(data, f"ring_set_{which}")[step]) / PSI
            if ring > 0:
                filled = colour if which == "after" else "none"
                ax.plot([1.03 * edges[-1]], [ring], "s", markeredgecolor=colour, markerfacecolor=filled)
    before, after = (told[f"time_{which}_s"][number] for which in ("before", "after"))
    ax.set_title(f"Platen {number + 1}: {before:.3g} s before, {after:.3g} s after")
    ax.set_ylabel("zone pressure [psi] (square: ring)")
    ax.legend(title="bold: after, dotted: before", loc="upper left")


def _with_room(ax: Any) -> None:
    bottom, top = ax.get_ylim()
    ax.set_ylim(bottom, top + 0.5 * (top - bottom))  # room for the legend
    ax.legend(loc="upper left")


def _inside(data: xr.Dataset, radius: Array) -> NDArray[np.bool_]:
    return np.asarray(radius <= radius[-1] - 1e3 * float(data.attrs["exclusion"]))
