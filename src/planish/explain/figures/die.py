"""Figures of a die: layout density, what the pad makes of it, the surface as map and section, dishing and erosion."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from planish.explain.figures.style import MAP, ORANGE, figure, line_look, styled, subplots

if TYPE_CHECKING:
    from collections.abc import Mapping

    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from planish.fit.planarization import PlanarizationFit
    from planish.measure.layout.maps import LayoutMaps
    from planish.predict.die.fill import FillProposal
    from planish.predict.die.result import DieResult

MOST_CELLS = 1200  # a map is drawn from at most this many cells a side: more is finer than any page


@styled
def die_figure(result: DieResult, place: int | None = None) -> Figure:
    """Draw layout density, effective share, surface and a section of the die at one place.

    Parameters
    ----------
    result
        The die.
    place
        Number of the place on the wafer; the worst unless given.

    Returns
    -------
    Figure
        In the house style.
    """
    number = result.dies.index(result.worst) if place is None else place
    die = result.dies[number]
    fig = figure(13.0, 9.0)
    grid = subplots(fig, 2, 2)
    surface = result.surface(number) * 1e9
    surface = surface - np.nanmean(surface)
    _map(fig, grid[0, 0], result.density * 100, result, "Layout density [%]")
    length = 1e3 * die.seen.length
    averaged = (
        f"pad-averaged [%]; length {length:.1f} mm" if np.isfinite(length) else "of each cell alone [%]"
    )
    words = f"High area, {averaged}"
    _map(fig, grid[0, 1], die.seen.high * 100, result, words)
    _map(fig, grid[1, 0], surface, result, "Surface after polishing [nm]")
    for spot in die.hot:
        grid[1, 0].plot(
            spot.x * 1e3,
            spot.y * 1e3,
            "o",
            markersize=12,
            markeredgecolor=ORANGE,
            markerfacecolor="none",
            markeredgewidth=2,
        )
    _section(grid[1, 1], result, surface, result.came_in(number))
    return fig


def _section(ax: Any, result: DieResult, surface: NDArray[np.float64], incoming: NDArray[np.float64]) -> None:
    row = surface.shape[0] // 2
    x = (result.origin[0] + (np.arange(surface.shape[1]) + 0.5) * result.cell) * 1e3
    before = incoming[row] * 1e9
    ax.plot(x, surface[row], label="surface after polishing, cell means", **line_look(0))
    if np.ptp(before) > 0:
        ax.plot(x, before - before.mean(), label="incoming, cell means", **line_look(1))
        ax.legend()
    span = max(float(np.ptp(surface[row])), 1e-3)
    times = (
        (x[-1] - x[0]) * 1e6 / span / max(ax.get_window_extent().width / ax.get_window_extent().height, 0.1)
    )
    ax.set_title(f"Section at mid height, raised {_round(times)} times")
    ax.set_xlabel("x [mm]")
    ax.set_ylabel("height about the mean [nm]")


def _round(value: float) -> str:
    power = 10 ** np.floor(np.log10(max(value, 1.0)))
    return f"{round(value / power) * power:,.0f}".replace(",", "\u202f")


@styled
def feature_figure(result: DieResult, maps: LayoutMaps, place: int | None = None) -> Figure:
    """Draw what the process leaves (dishing, erosion, nitride lost, ...), a dot a cell.

    Against the width of the low areas (metal: the lines; oxide, STI: the spaces) coloured by density, and
    the other way round.

    Parameters
    ----------
    result
        The die.
    maps
        Of its layer.
    place
        Number of the place on the wafer; the worst unless given.

    Returns
    -------
    Figure
        In the house style.
    """
    number = result.dies.index(result.worst) if place is None else place
    die = result.dies[number]
    named = _worth_drawing(die.fields.named)
    low_lines = result.level.lines == "low"
    width = np.asarray(maps.line_width if low_lines else maps.space) * 1e6
    fig = figure(12.5, 3.8 * max(len(named), 1))
    grid = subplots(fig, max(len(named), 1), 2, squeeze=False)
    known = np.isfinite(width.ravel()) & (width.ravel() > 0)
    pick = np.flatnonzero(known)[_thinned(int(known.sum()))]
    x, rho = width.ravel()[pick], result.density.ravel()[pick] * 100
    for row, (name, values) in zip(grid, named.items(), strict=False):
        y = values.ravel()[pick] * 1e9
        by_density = row[0].scatter(x, y, c=rho, s=5, cmap=MAP, vmin=0, vmax=100, linewidths=0)
        by_width = row[1].scatter(rho, y, c=np.log10(x), s=5, cmap=MAP, linewidths=0)
        row[0].set_xscale("log")
        _few_ticks(row[0].xaxis, x)
        row[0].set_ylabel(f"{name.replace('_', ' ')} [nm]")
        row[0].set_xlabel("mean line width of the cell [µm]" if low_lines else "mean space of the cell [µm]")
        row[1].set_xlabel("density of the cell [%]")
        fig.colorbar(by_density, ax=row[0], label="density [%]")
        fig.colorbar(by_width, ax=row[1], label="log₁₀ width [µm]")
    grid[0, 0].set_title(f"Against {'line width' if low_lines else 'space'} ({die.local.place} die)")
    grid[0, 1].set_title("Against density")
    return fig


def _few_ticks(axis: Any, values: NDArray[np.float64]) -> None:
    """Name no more places of a logarithmic axis than there is room for: within a decade 1, 2 and 5, beyond the decades."""
    wide = values.size == 0 or values.max() > 30 * values.min()
    axis.set_major_locator(LogLocator(subs=(1.0,) if wide else (1.0, 2.0, 5.0)))
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:.3g}"))
    axis.set_minor_formatter(NullFormatter())


def _worth_drawing(named: Mapping[str, NDArray[np.float64]]) -> dict[str, NDArray[np.float64]]:
    """Drop what is the same everywhere (all cleared, say) and a step that is the dishing again; keep one at least."""
    known = {name: values for name, values in named.items() if not np.all(np.isnan(values))}
    kept = {
        name: values
        for name, values in known.items()
        if np.nanmax(values) - np.nanmin(values) > 1e-12
        and not (name == "step_height" and "dishing" in known)
    }
    return kept or dict(list(known.items())[:1])


@styled
def layout_figure(maps: LayoutMaps) -> Figure:
    """Draw the maps of one layer: coverage, edge length, line width and space.

    Parameters
    ----------
    maps
        Of the layer.

    Returns
    -------
    Figure
        In the house style.
    """
    fig = figure(13.0, 9.0)
    grid = subplots(fig, 2, 2)
    _map(fig, grid[0, 0], maps.density * 100, maps, "Coverage [%]")
    _map(fig, grid[0, 1], maps.perimeter * 1e-6, maps, "Edge length per area [1/µm]")
    _map(fig, grid[1, 0], maps.line_width * 1e6, maps, "Mean line width [µm]")
    _map(fig, grid[1, 1], maps.space * 1e6, maps, "Mean space [µm]")
    return fig


@styled
def fill_figure(proposal: FillProposal) -> Figure:
    """Draw the density, what to add where, and the effective density before and after, on one scale.

    Parameters
    ----------
    proposal
        The fill.

    Returns
    -------
    Figure
        In the house style.
    """
    fig = figure(13.0, 9.0)
    grid = subplots(fig, 2, 2)
    _map(fig, grid[0, 0], proposal.density * 100, proposal, "Layout density [%]")
    _map(
        fig,
        grid[0, 1],
        proposal.fill * 100,
        proposal,
        f"Fill to add [% of area]; {100 * proposal.added:.1f} % in all",
    )
    both = np.array([proposal.effective_before, proposal.effective_after]) * 100
    scale = (float(both.min()), float(both.max()))
    for ax, values, when, spread in (
        (grid[1, 0], both[0], "before", proposal.before),
        (grid[1, 1], both[1], "with the fill", proposal.after),
    ):
        _map(fig, ax, values, proposal, f"Effective density {when} [%], range {100 * spread:.1f}", scale)
    return fig


@styled
def planarization_figure(fit: PlanarizationFit) -> Figure:
    """Draw measured and fitted loss and step of the test structures against effective density, a colour a time.

    Parameters
    ----------
    fit
        With what it was made to.

    Returns
    -------
    Figure
        In the house style.
    """
    data = fit.measured
    named = (("thickness lost by the raised area [nm]", data.up_loss, fit.up_loss),
             ("step left [nm]", data.step_left, fit.step_left))  # fmt: skip
    shown = [entry for entry in named if np.any(np.isfinite(entry[1]))]
    fig = figure(6.5 * len(shown), 5.2)
    grid = np.atleast_1d(subplots(fig, 1, len(shown)))
    times = np.unique(data.time)
    for ax, (words, measured, fitted) in zip(grid, shown, strict=True):
        for index, time in enumerate(times):
            at = np.flatnonzero(data.time == time)
            at = at[np.argsort(fit.density[at])]
            look = line_look(index)
            ax.plot(fit.density[at] * 100, fitted[at] * 1e9, label=f"{time:g} s", **look)
            ax.plot(
                fit.density[at] * 100,
                measured[at] * 1e9,
                "o",
                color=look["color"],
                label=f"measured, {time:g} s",
            )
        ax.set_xlabel("effective density [%]")
        ax.set_ylabel(words)
        ax.set_title("dots measured, lines fitted")
    grid[0].legend()
    low, value, high = (v * 1e3 for v in (fit.length.low, fit.length.value, fit.length.high))
    grid[0].set_title(f"Planarization length {value:.2f} mm (95 %: {low:.2f} to {high:.2f})")
    return fig


def _thinned(size: int, most: int = 20_000) -> NDArray[np.int64]:
    return np.unique(np.linspace(0, size - 1, min(size, most)).astype(np.int64))


def _map(
    fig: Figure,
    ax: Any,
    values: NDArray[np.float64],
    about: Any,
    title: str,
    scale: tuple[float, float] | None = None,
) -> None:
    ny, nx = values.shape
    step = max(1, int(np.ceil(max(ny, nx) / MOST_CELLS)))
    x0, y0 = about.origin
    extent = [x0 * 1e3, (x0 + nx * about.cell) * 1e3, y0 * 1e3, (y0 + ny * about.cell) * 1e3]
    shown = values[::step, ::step]
    finite = shown[np.isfinite(shown)]
    low, high = np.percentile(finite, [0.5, 99.5]) if finite.size else (0.0, 1.0)
    if scale is not None:
        low, high = scale
    if high <= low:
        low, high = low - 0.5, high + 0.5
    ax.set_facecolor("#f0f0f0")
    image = ax.imshow(
        shown, origin="lower", extent=extent, cmap=MAP, vmin=low, vmax=high, interpolation="nearest"
    )
    fig.colorbar(image, ax=ax, shrink=0.9, extend="both")
    ax.set_title(title, fontsize=12)
    ax.set_xlabel("x [mm]")
    ax.set_ylabel("y [mm]")
    ax.grid(False)
