"""Figures of one wafer: pressure and rate profiles, the wafer map, predicted against measured, motions side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.patches import Circle

from planish.explain.figures.style import (
    DIFFERENCE_MAP,
    FAINT,
    INK,
    MAP,
    ORANGE,
    PAPER,
    axes,
    figure,
    line_look,
    styled,
    subplots,
)
from planish.units import NM_PER_MIN, PSI, ZERO_CELSIUS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from planish.predict.wafer.result import WaferResult

UNITS = {
    "trade": {"pressure": (1 / PSI, "psi"), "rate": (NM_PER_MIN, "nm/min")},
    "si": {"pressure": (1e-3, "kPa"), "rate": (1e9, "nm/s")},
}


@styled
def wafer_figure(result: WaferResult, units: str = "trade") -> Figure:
    """Draw pressure, speed and rate against radius for each step, and what is removed in all.

    Parameters
    ----------
    result
        The wafer.
    units
        "trade" or "si".

    Returns
    -------
    Figure
        In the house style.
    """
    p_scale, p_unit = UNITS[units]["pressure"]
    r_scale, r_unit = UNITS[units]["rate"]
    fig = figure(11.0, 7.2)
    grid = subplots(fig, 2, 2, sharex=True)
    r = result.radius * 1e3
    for index, step in enumerate(result.steps):
        grid[0, 0].plot(r, step.pressure * p_scale, label=step.name, **line_look(index))
        grid[0, 1].plot(r, step.speed, label=step.name, **line_look(index))
        grid[1, 0].plot(r, step.rate * r_scale, label=step.name, **line_look(index))
    grid[1, 1].plot(r, result.removed * 1e9, color=INK, label="removed")
    for index, film in enumerate(result.films):
        grid[1, 1].plot(r, result.remaining[index] * 1e9, label=f"{film} left", **line_look(index))
    titles = ("Contact pressure", "Mean sliding speed", "Removal rate", "Removed and remaining")
    labels = (f"pressure [{p_unit}]", "speed [m/s]", f"rate [{r_unit}]", "thickness [nm]")
    for ax, title, text in zip(grid.flat, titles, labels, strict=True):
        ax.set_title(title)
        ax.set_ylabel(text)
        _exclusion(ax, result)
    speed_top = max(float(step.speed.max()) for step in result.steps)
    grid[0, 1].set_ylim(0, 1.15 * speed_top)
    for ax in (grid[0, 0], grid[1, 0]):
        _robust_limits(ax, result)
    for ax in grid[1]:
        ax.set_xlabel("wafer radius [mm]")
    grid[1, 0].set_ylim(bottom=0)
    grid[1, 1].set_ylim(0, 1.35 * max(float(result.removed.max()), float(result.remaining.max()), 1e-9) * 1e9)
    grid[0, 0].legend(loc="best")
    grid[1, 1].legend(loc="upper left", ncols=2)
    return fig


@styled
def edge_figure(result: WaferResult, units: str = "trade", span: float = 0.02) -> Figure:
    """Draw the edge of the wafer: pressure as a share of its mean, step by step.

    Parameters
    ----------
    result
        The wafer.
    units
        "trade" or "si".
    span
        Of the edge [m].

    Returns
    -------
    Figure
        In the house style.
    """
    fig = figure(8.0, 4.8)
    ax = axes(fig, 1, 1, 1)
    from_edge = (result.rig.wafer.radius - result.radius) * 1e3
    show = from_edge <= span * 1e3
    for index, step in enumerate(result.steps):
        mean = result.mean(step.pressure)
        ax.plot(from_edge[show], step.pressure[show] / mean, label=step.name, **line_look(index))
    ax.axhline(1.0, color=FAINT, linewidth=1)
    ax.invert_xaxis()
    ax.set_xlabel("distance from the wafer's edge [mm]")
    ax.set_ylabel("pressure / mean pressure")
    ax.set_title("Pressure at the edge")
    ax.legend()
    return fig


@styled
def map_figure(result: WaferResult, points: int = 221) -> Figure:
    """Draw the maps of what is removed and what remains of the top film on the wafer.

    Parameters
    ----------
    result
        The wafer.
    points
        Along a side of the maps.

    Returns
    -------
    Figure
        In the house style.
    """
    maps = result.maps(points)
    fig = figure(11.5, 5.0)
    grid = subplots(fig, 1, 2)
    extent = [maps.x[0] * 1e3, maps.x[-1] * 1e3, maps.x[0] * 1e3, maps.x[-1] * 1e3]
    total = maps.remaining.sum(axis=0)
    edge = result.rig.wafer.radius
    inside = np.hypot(*np.meshgrid(maps.x, maps.x)) <= edge - result.rig.wafer.edge_exclusion
    for ax, field, title in (
        (grid[0], maps.removed * 1e9, "Removed [nm]"),
        (grid[1], total * 1e9, "Film left [nm]"),
    ):
        low, high = _limits(field[inside])
        image = ax.imshow(
            field, origin="lower", extent=extent, cmap=MAP, interpolation="bilinear", vmin=low, vmax=high
        )
        fig.colorbar(image, ax=ax, shrink=0.85, extend="both")
        rim = Circle((0, 0), edge * 1e3, facecolor="none", edgecolor=INK, linewidth=1.5)
        ax.add_patch(rim)
        image.set_clip_path(rim)
        keep = (edge - result.rig.wafer.edge_exclusion) * 1e3
        ax.add_patch(Circle((0, 0), keep, facecolor="none", edgecolor=PAPER, linewidth=1, linestyle="--"))
        ax.set_title(title)
        ax.set_xlabel("x [mm]")
        ax.set_ylabel("y [mm]")
        ax.grid(False)
    return fig


@styled
def comparison_figure(
    radius: NDArray[np.float64],
    predicted: NDArray[np.float64],
    site_radius: NDArray[np.float64],
    measured: NDArray[np.float64],
    band: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]] | None = None,
    title: str = "Predicted against measured",
) -> Figure:
    """Draw measured removal at sites over the predicted profile, and the difference below.

    Parameters
    ----------
    radius, predicted
        Of the prediction: [m], removal [m], (n,).
    site_radius, measured
        Of the sites: [m], removal [m], (sites,).
    band
        (radius, low, high) of the measured radial profile [m].
    title
        Above it.

    Returns
    -------
    Figure
        In the house style.
    """
    fig = figure(8.5, 6.4)
    grid = subplots(fig, 2, 1, sharex=True, height_ratios=[2, 1])
    if band is not None:
        grid[0].fill_between(
            band[0] * 1e3, band[1] * 1e9, band[2] * 1e9, color="#f0d2b8", label="measured profile, 95 % band"
        )
    grid[0].plot(radius * 1e3, predicted * 1e9, label="predicted", **line_look(0))
    grid[0].plot(site_radius * 1e3, measured * 1e9, "o", color=ORANGE, markersize=5, label="measured sites")
    at_sites = np.interp(site_radius, radius, predicted)
    grid[1].axhline(0, color=FAINT, linewidth=1)
    grid[1].plot(site_radius * 1e3, (measured - at_sites) * 1e9, "o", color=ORANGE, markersize=5)
    grid[0].set_title(title)
    grid[0].set_ylabel("removed [nm]")
    grid[1].set_ylabel("measured −\npredicted [nm]")
    grid[1].set_xlabel("wafer radius [mm]")
    grid[0].legend()
    return fig


@styled
def side_by_side_figure(results: Mapping[str, WaferResult], units: str = "trade") -> Figure:
    """Draw several wafers' rate, shape of rate, and temperature in one row, one line a wafer.

    Parameters
    ----------
    results
        Wafers by name.
    units
        "trade" or "si".

    Returns
    -------
    Figure
        In the house style.
    """
    r_scale, r_unit = UNITS[units]["rate"]
    fig = figure(13.0, 4.6)
    grid = subplots(fig, 1, 3)
    for index, (name, result) in enumerate(results.items()):
        r = result.radius * 1e3
        look: dict[str, Any] = {"label": name, **line_look(index)}
        grid[0].plot(r, result.rate * r_scale, **look)
        grid[1].plot(r, 100 * (result.rate / result.mean(result.rate) - 1), **look)
        grid[2].plot(result.times, result.temperatures - ZERO_CELSIUS, **look)
    grid[0].set_title("Removal rate")
    grid[0].set_ylabel(f"rate [{r_unit}]")
    grid[1].set_title("Shape of the rate")
    grid[1].set_ylabel("difference from the mean [%]")
    grid[2].set_title("Pad temperature")
    grid[2].set_ylabel("temperature [°C]")
    for ax in grid[:2]:
        ax.set_xlabel("wafer radius [mm]")
        _robust_limits(ax, next(iter(results.values())))
    grid[2].set_xlabel("time [s]")
    grid[0].legend()
    return fig


@styled
def residual_map(
    x: NDArray[np.float64], y: NDArray[np.float64], residual: NDArray[np.float64], radius: float
) -> Figure:
    """Draw where measured − predicted departs from its mean.

    The mean is one number and stands in the title; it would drown the shape.

    Parameters
    ----------
    x, y
        Of the sites [m].
    residual
        There [m].
    radius
        Of the wafer [m].

    Returns
    -------
    Figure
        In the house style.
    """
    fig = figure(6.8, 5.4)
    ax = axes(fig, 1, 1, 1)
    mean = float(np.nanmean(residual))
    residual = residual - mean
    reach = float(np.nanmax(np.abs(residual))) * 1e9 or 1.0
    ax.add_patch(Circle((0, 0), radius * 1e3, fill=False, edgecolor=INK))
    dots = ax.scatter(
        x * 1e3,
        y * 1e3,
        c=residual * 1e9,
        cmap=DIFFERENCE_MAP,
        vmin=-reach,
        vmax=reach,
        s=70,
        edgecolor=FAINT,
    )
    fig.colorbar(dots, ax=ax, shrink=0.85, label="measured − predicted, less its mean [nm]")
    ax.set_aspect("equal")
    ax.set_xlabel("x [mm]")
    ax.set_ylabel("y [mm]")
    sign = "more" if mean > 0 else "less"
    ax.set_title(f"Where the prediction misses ({abs(mean) * 1e9:.3g} nm {sign} taken out)")
    return fig


def _exclusion(ax: Any, result: WaferResult) -> None:
    edge = result.rig.wafer.radius * 1e3
    ax.axvspan(edge - result.rig.wafer.edge_exclusion * 1e3, edge, color="#eceff2", zorder=0)
    ax.set_xlim(0, edge)


def _robust_limits(ax: Any, result: WaferResult) -> None:
    """Keep the profile readable where the last millimetre shoots up: limits from what lies inside the exclusion."""
    inside = (result.rig.wafer.radius - result.rig.wafer.edge_exclusion) * 1e3
    values = [
        line.get_ydata()[np.asarray(line.get_xdata()) <= inside]
        for line in ax.get_lines()
        if len(line.get_xdata()) > 2
    ]
    if not values:
        return
    low, high = min(float(v.min()) for v in values), max(float(v.max()) for v in values)
    room = max(0.35 * (high - low), 0.04 * max(abs(high), abs(low)), 1e-12)
    ax.set_ylim(low - room, high + room)


def _limits(field: NDArray[np.float64]) -> tuple[float, float]:
    values = field[np.isfinite(field)]
    low, high = np.percentile(values, [1, 99])
    if high - low < 1e-6 * max(abs(high), 1.0):
        return float(low) - 0.5, float(high) + 0.5
    return float(low), float(high)
