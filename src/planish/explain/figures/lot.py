"""Figures of a lot: rate and flatness wafer after wafer, the pad as it wears, summits as they age, the sweep."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from planish.explain.figures.style import (
    AMBER,
    BLUE,
    FAINT,
    GREEN,
    INK,
    ORANGE,
    figure,
    line_look,
    styled,
    subplots,
)
from planish.units import NM_PER_MIN, ZERO_CELSIUS

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.predict.lot.result import LotResult
    from planish.predict.sweep_design import SweepDesign


@styled
def lot_figure(lot: LotResult) -> Figure:
    """Draw rate, WIWNU, pad temperature and groove depth over the wafers of a lot.

    Parameters
    ----------
    lot
        The lot.

    Returns
    -------
    Figure
        In the house style.
    """
    fig = figure(12.0, 7.4)
    grid = subplots(fig, 2, 2, sharex=True)
    wafer = np.arange(1, lot.wafers + 1)
    r = lot.records
    size = 2.5 if lot.wafers > 300 else 4
    grid[0, 0].plot(wafer, r.rate * NM_PER_MIN, ".", color=FAINT, markersize=size, label="wafers")
    grid[0, 0].plot(
        wafer, r.expected_rate * NM_PER_MIN, color=BLUE, label="without the chance of slurry and process"
    )
    grid[0, 0].set_ylabel("removal rate [nm/min]")
    grid[0, 0].set_title("Removal rate")
    grid[0, 1].plot(wafer, 100 * lot.wiwnu_sigma, color=BLUE, label="1σ / mean")
    grid[0, 1].plot(wafer, 100 * lot.wiwnu_range, color=ORANGE, linestyle="--", label="range / (2 mean)")
    grid[0, 1].set_ylabel("WIWNU [%]")
    grid[0, 1].set_title("Within-wafer non-uniformity")
    grid[0, 1].set_ylim(bottom=0)
    grid[1, 0].plot(wafer, r.temperature - ZERO_CELSIUS, color=ORANGE, label="mean under the wafer")
    grid[1, 0].plot(wafer, r.peak_temperature - ZERO_CELSIUS, color=AMBER, linestyle="--", label="highest")
    grid[1, 0].set_ylabel("pad temperature [°C]")
    grid[1, 0].set_title("Pad temperature")
    grid[1, 1].plot(wafer, r.groove_min * 1e6, color=GREEN, label="shallowest groove under the wafer")
    grid[1, 1].plot(wafer, r.groove_mean * 1e6, color=INK, linestyle="--", label="mean groove")
    grid[1, 1].set_ylabel("groove depth [µm]")
    grid[1, 1].set_title("Groove depth")
    highest = float(r.groove_mean.max()) * 1e6
    grid[1, 1].set_ylim(0, 1.05 * highest if highest > 0 else 1.0)
    end, cause = lot.end_of_life()
    for ax in grid.flat:
        for event in lot.events:
            ax.axvline(event.wafer, color=FAINT, linewidth=1, linestyle=":")
        if end is not None:
            ax.axvline(end, color=ORANGE, linewidth=1.6)
        ax.legend()
    if end is not None:
        grid[0, 0].annotate(
            f"end of life: {cause}", (end, 0.04), xycoords=("data", "axes fraction"), xytext=(-6, 0),
            textcoords="offset points", ha="right" if end > lot.wafers / 2 else "left", color=ORANGE,
        )  # fmt: skip
    for ax in grid[1]:
        ax.set_xlabel("wafer")
    return fig


@styled
def pad_figure(lot: LotResult) -> Figure:
    """Draw the pad's thickness over its radius at four times, and the cut of a sharp disk there.

    Parameters
    ----------
    lot
        The lot.

    Returns
    -------
    Figure
        In the house style.
    """
    fig = figure(12.0, 4.6)
    grid = subplots(fig, 1, 2)
    top = lot.rig.pad.layers[0].thickness
    middles = lot.ring_middles * 1e3
    for index, wafer in enumerate(sorted({0, lot.wafers // 3, 2 * lot.wafers // 3, lot.wafers - 1})):
        look = line_look(index)
        grid[0].plot(middles, (top - lot.records.worn[wafer]) * 1e6, label=f"after wafer {wafer + 1}", **look)
    under = middles[lot.under]
    for ax in grid:
        if under.size:
            ax.axvspan(under[0], under[-1], color="#eef3f7", zorder=0)
        ax.set_xlabel(f"{lot.rig.polisher.place_word} [mm]")
    grid[0].set_ylabel("top pad thickness [µm]")
    grid[0].set_title("Pad profile (shaded: under the wafer)")
    grid[0].legend()
    grid[1].plot(middles, lot.cut_rate * 3.6e9, color=GREEN)
    grid[1].set_ylabel("cut [µm/h]")
    grid[1].set_title("Cut of a sharp disk, averaged over its sweep")
    grid[1].set_ylim(bottom=0)
    return fig


@styled
def summit_figure(lot: LotResult) -> Figure:
    """Draw the summit heights of the pad, fresh and at the end of the lot, on a log scale.

    Parameters
    ----------
    lot
        The lot.

    Returns
    -------
    Figure
        In the house style.
    """
    fig = figure(8.5, 4.8)
    ax = subplots(fig, 1, 1)
    middle = 0.5e6 * (lot.summit_edges[1:] + lot.summit_edges[:-1])
    width = np.diff(lot.summit_edges) * 1e6
    floor = 1e-7
    ax.semilogy(middle, np.maximum(lot.summit_fresh / width, floor), label="fresh", **line_look(0))
    ax.semilogy(
        middle, np.maximum(lot.summit_last / width, floor), label=f"after wafer {lot.wafers}", **line_look(1)
    )
    ax.set_ylim(floor, None)
    ax.set_xlabel("summit height about the mean of the fresh body [µm]")
    ax.set_ylabel("share of summits per µm")
    ax.set_title("Summits: what the disk leaves and polishing wears")
    ax.legend()
    return fig


@styled
def sweep_figure(design: SweepDesign) -> Figure:
    """Draw a dwell table, how the arm runs it, and the pad cut with the sweep as it was and with the table.

    Parameters
    ----------
    design
        The table.

    Returns
    -------
    Figure
        In the house style.
    """
    fig = figure(14.0, 4.6)
    grid = subplots(fig, 1, 3, width_ratios=[1, 1, 1.35])
    edges = design.zone_edges * 1e3
    width = np.diff(edges)
    grid[0].bar(
        edges[:-1],
        100 * design.zone_dwell,
        width=width,
        align="edge",
        color=BLUE,
        edgecolor="white",
        label="the table",
    )
    grid[0].stairs(
        100 * design.zone_dwell_unlimited,
        edges,
        color=INK,
        linestyle="--",
        label="most even, for no arm",
    )
    grid[0].set_ylabel("share of time [%]")
    grid[0].set_title("Dwell table")
    grid[0].set_ylim(0, 135 * float(max(design.zone_dwell.max(), design.zone_dwell_unlimited.max())))
    grid[0].legend()
    place = design.run_place * 1e3
    grid[1].plot(place, design.run.speed, label="as it runs, once from end to end", **line_look(0))
    grid[1].axhline(design.top_speed, color=FAINT, linestyle=":", label="top speed")
    grid[1].set_ylim(0, 1.25 * max(design.top_speed, float(design.run.speed.max())))
    grid[1].set_ylabel("speed of the disk's centre [m/s]")
    grid[1].set_title(f"The arm: {design.run.time[-1]:.3g} s, {design.run.acceleration:.2g} m/s² at most")
    grid[1].legend()
    radius = design.pad_radius * 1e3
    track = radius[design.counted]
    grid[2].axvspan(track[0], track[-1], color="#eef3f7", zorder=0)
    before = f"sweep as it was, uneven by {100 * design.uneven_before:.0f} % (1σ)"
    after = f"with the table, {100 * design.uneven_after:.1f} %"
    grid[2].plot(radius, design.cut_before * 3.6e9, label=before, **line_look(1))
    grid[2].plot(radius, design.cut_after * 3.6e9, label=after, **line_look(0))
    grid[2].set_ylabel("pad cut by a sharp disk [µm/h]")
    grid[2].set_title("Pad cut (shaded: under the wafer)")
    grid[2].set_ylim(bottom=0)
    grid[2].legend()
    words = f"{design.rig.polisher.place_word} [mm]"
    for ax in grid:
        ax.set_xlabel(words)
    return fig
