"""The polisher drawn to scale in plan: pad, carrier, ring, dispense, conditioner, path of a wafer point."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.patches import Annulus, Circle, FancyArrowPatch, Rectangle
from matplotlib.patheffects import withStroke

from planish.engine.record import shortened
from planish.explain.figures.style import AMBER, BLUE, FAINT, GREEN, INK, ORANGE, SKY, axes, figure, styled
from planish.predict.wafer.step_plan import speeds

if TYPE_CHECKING:
    from collections.abc import Mapping

    from matplotlib.figure import Figure

    from planish.physics.motion.motion import Outline
    from planish.setup.si import Rig, Step

PAD_FILL, WAFER_FILL, RING_FILL, DISK_FILL = "#e8edf2", "#cfe3f3", "#9aa7b4", "#f3d9a6"
MM = 1e3


@styled
def machine_plan(rig: Rig, step: int = 0, turns: float = 6.0, ax: Any = None) -> Figure:
    """Draw a machine in plan, to scale [mm].

    The line is the path on the pad of a point 10 mm inside the wafer's edge.

    Parameters
    ----------
    rig
        The setup.
    step
        Number of the recipe step at whose speeds it is drawn, from 0.
    turns
        Of the platen, the orbit, or the carrier (belt: as many carrier turns) along the path.
    ax
        Axes to draw in; a new figure unless given.

    Returns
    -------
    Figure
        In the house style.
    """
    plan = rig.polisher.outline
    size = (9.5, 4.2) if plan.straight else (7.0, 6.4)
    fig = figure(*size) if ax is None else ax.figure
    ax = axes(fig, 1, 1, 1) if ax is None else ax
    chosen = rig.steps[step]
    (_strip if plan.straight else _disc)(ax, rig, plan)
    _carrier(ax, rig, (plan.carrier, 0.0))
    x, y = wafer_point_path(rig, chosen, rig.wafer.radius - 0.010, turns)
    ax.plot(
        x * MM,
        y * MM,
        color=BLUE,
        linewidth=0.9,
        alpha=0.85,
        label="path on the pad of a point 10 mm inside the edge",
    )
    _conditioner(ax, rig)
    ax.set_aspect("equal")
    ax.grid(False)
    ax.set_xlabel("x [mm]")
    ax.set_ylabel("y [mm]")
    ax.set_title(
        f"{rig.polisher.motion} polisher, plan to scale\n"
        f"step {shortened(chosen.name, 20)}: {speeds_text(rig, chosen)}",
        fontsize=12,
    )
    return fig


@styled
def machines_side_by_side(rigs: Mapping[str, Rig], step: int = 0) -> Figure:
    """Draw several machines in plan in one row, each to its own scale.

    Parameters
    ----------
    rigs
        Setups by name.
    step
        Number of the recipe step, from 0.

    Returns
    -------
    Figure
        In the house style.
    """
    fig = figure(16.0, 5.6)
    for index, rig in enumerate(rigs.values()):
        ax = axes(fig, 1, len(rigs), index + 1)
        machine_plan(rig, step, ax=ax)
        ax.set_title(f"{rig.polisher.motion}: {speeds_text(rig, rig.steps[step])}", fontsize=12)
    return fig


def speeds_text(rig: Rig, step: Step) -> str:
    """Return the speeds of a step, for the motion of the machine.

    Parameters
    ----------
    rig
        The setup.
    step
        Of its recipe.

    Returns
    -------
    str
        In the trade's units.
    """
    machine = rig.polisher
    drive, carrier = speeds(rig, step)
    return f"{machine.drive.text(drive)}, carrier {carrier * 60.0 / (2 * np.pi):.0f} rpm"


def _disc(ax: Any, rig: Rig, plan: Outline) -> None:
    ax.add_patch(Circle((0, 0), plan.edge * MM, facecolor=PAD_FILL, edgecolor=FAINT, linewidth=1.5))
    if plan.turns:
        if rig.pad.grooves.depth > 0:
            for radius in np.arange(0.02, plan.edge, 0.02):
                ax.add_patch(Circle((0, 0), radius * MM, fill=False, edgecolor="#d3dae1", linewidth=0.5))
        ax.plot(0, 0, marker="+", color=FAINT, markersize=10)
        _turn_arrow(ax, (0.0, 0.0), 0.93 * plan.edge, rig.polisher.drive.part)
    if rig.polisher.hole_fraction:
        span = np.arange(-plan.edge, plan.edge, 0.025)
        px, py = np.meshgrid(span, span)
        inside = np.hypot(px, py) < plan.edge - 0.008
        ax.scatter(px[inside] * MM, py[inside] * MM, s=5, color=SKY, label="feed holes (schematic spacing)")
    if plan.orbit:
        _orbit(ax, plan)
    else:
        radius = rig.polisher.dispense_radius
        _drop(ax, (radius * np.cos(2.4), radius * np.sin(2.4)))
    limit = plan.edge * MM * 1.06
    ax.set_xlim(-limit, limit)
    ax.set_ylim(-limit, limit)


def _orbit(ax: Any, plan: Outline) -> None:
    ax.add_patch(Circle((0, 0), plan.orbit * MM, fill=False, edgecolor=ORANGE, linewidth=2.0))
    note = ax.annotate(
        "orbit of the pad's centre",
        xy=(0.5 * plan.orbit * MM, -0.87 * plan.orbit * MM),
        xytext=(0.1 * plan.edge * MM, -0.4 * plan.edge * MM),
        color=ORANGE,
        arrowprops={"arrowstyle": "-", "color": ORANGE},
    )
    _halo(note, WAFER_FILL)


def _visible(rig: Rig, plan: Outline) -> float:
    """Length [m] of a strip that the plan shows: the upper run, or what the wafer needs."""
    return max(plan.length / 2, 2.4 * rig.wafer.radius)


def _strip(ax: Any, rig: Rig, plan: Outline) -> None:
    machine, half, length = rig.polisher, plan.edge, _visible(rig, plan)
    ax.add_patch(
        Rectangle(
            (-length / 2 * MM, -half * MM),
            length * MM,
            2 * half * MM,
            facecolor=PAD_FILL,
            edgecolor=FAINT,
            linewidth=1.5,
        )
    )
    for side in (-1, 1):
        ax.add_patch(
            Rectangle(
                ((side * length / 2 - plan.roller) * MM, -half * 1.06 * MM),
                2 * plan.roller * MM,
                2.12 * half * MM,
                facecolor=RING_FILL,
                edgecolor=FAINT,
                alpha=0.45,
            )
        )
    if machine.bearing is not None:
        for radius in machine.bearing.outer_radii:
            ax.add_patch(
                Circle((0, 0), radius * MM, fill=False, edgecolor=AMBER, linestyle=":", linewidth=1.2)
            )
        ax.text(
            0,
            -half * 0.97 * MM,
            "dotted: support zones of the fluid bearing",
            ha="center",
            va="bottom",
            color=INK,
            fontsize=9,
        )
    ax.add_patch(
        FancyArrowPatch(
            (-0.42 * length * MM, 0.9 * half * MM),
            (-0.12 * length * MM, 0.9 * half * MM),
            arrowstyle="-|>",
            mutation_scale=16,
            color=INK,
        )
    )
    ax.text(-0.44 * length * MM, 0.9 * half * MM, machine.drive.part, va="center", ha="right", color=INK)
    _drop(ax, (-0.36 * length, 0.0))
    ax.set_xlim(-(length / 2 + 1.3 * plan.roller) * MM, (length / 2 + 1.3 * plan.roller) * MM)
    ax.set_ylim(-1.12 * half * MM, 1.12 * half * MM)


def _carrier(ax: Any, rig: Rig, centre: tuple[float, float]) -> None:
    at = (centre[0] * MM, centre[1] * MM)
    ax.add_patch(
        Circle(at, rig.wafer.radius * MM, facecolor=WAFER_FILL, edgecolor=INK, linewidth=1.4, alpha=0.75)
    )
    for radius in rig.head.zone_outer_radii[:-1]:
        ax.add_patch(Circle(at, radius * MM, fill=False, edgecolor=FAINT, linewidth=0.8, linestyle="--"))
    if rig.head.ring is not None:
        outer = rig.wafer.radius + rig.head.ring.gap + rig.head.ring.width
        ax.add_patch(
            Annulus(
                at,
                outer * MM,
                rig.head.ring.width * MM,
                facecolor=RING_FILL,
                edgecolor=INK,
                linewidth=0.8,
                alpha=0.7,
            )
        )
    ax.plot(*at, marker="+", color=INK, markersize=10)
    _turn_arrow(ax, centre, 0.5 * rig.wafer.radius, "carrier")


def _conditioner(ax: Any, rig: Rig) -> None:
    disk = rig.conditioner
    if disk is None:
        return
    sweep = disk.sweep
    middle = 0.5 * (sweep.inner + sweep.outer)
    plan = rig.polisher.outline
    if plan.straight:
        x = 0.3 * _visible(rig, plan)
        spot, ends = (x, middle), ((x, sweep.inner), (x, sweep.outer))
    else:
        turn = np.deg2rad(215.0)
        direction = np.array([np.cos(turn), np.sin(turn)])
        spot = tuple(middle * direction)
        ends = (tuple(sweep.inner * direction), tuple(sweep.outer * direction))
    ax.plot(
        [ends[0][0] * MM, ends[1][0] * MM],
        [ends[0][1] * MM, ends[1][1] * MM],
        color=GREEN,
        linewidth=2,
        linestyle=":",
    )
    ax.add_patch(
        Circle(
            (spot[0] * MM, spot[1] * MM),
            disk.disk_radius * MM,
            facecolor=DISK_FILL,
            edgecolor=GREEN,
            linewidth=1.6,
        )
    )
    words = "disk\n(between wafers)" if disk.mode == "ex-situ" else "disk"
    note = ax.text(spot[0] * MM, spot[1] * MM, words, ha="center", va="center", fontsize=10, color=INK)
    _halo(note, DISK_FILL)


def _drop(ax: Any, at: tuple[float, float]) -> None:
    ax.plot(at[0] * MM, at[1] * MM, marker="o", color=ORANGE, markersize=8)
    note = ax.annotate(
        "slurry", (at[0] * MM, at[1] * MM), xytext=(6, 6), textcoords="offset points", color=INK
    )
    _halo(note, PAD_FILL)


def _halo(note: Any, colour: str) -> None:
    """Keep a word readable where lines cross it."""
    note.set_path_effects([withStroke(linewidth=4, foreground=colour)])
    note.set_zorder(6)


def _turn_arrow(ax: Any, centre: tuple[float, float], radius: float, text: str) -> None:
    angle = np.linspace(np.deg2rad(55), np.deg2rad(88), 30)
    x, y = (centre[0] + radius * np.cos(angle)) * MM, (centre[1] + radius * np.sin(angle)) * MM
    ax.plot(x, y, color=INK, linewidth=1.6)
    ax.add_patch(
        FancyArrowPatch((x[-2], y[-2]), (x[-1], y[-1]), arrowstyle="-|>", mutation_scale=14, color=INK)
    )
    _halo(ax.text(x[-1] - 8, y[-1], text, ha="right", va="center", color=INK, fontsize=10), PAD_FILL)


def wafer_point_path(
    rig: Rig, step: Step, radius: float, turns: float, points: int = 1500
) -> tuple[Any, Any]:
    """Return the path of a wafer point on the pad, in the frame of the plan.

    Parameters
    ----------
    rig
        The setup.
    step
        Of its recipe.
    radius
        Of the point on the wafer [m].
    turns
        As for :func:`machine_plan`.
    points
        Of the path.

    Returns
    -------
    tuple[Any, Any]
        (x, y) [m], (points,). A belt slides away under the carrier, so its path is wrapped to the belt's
        visible length.
    """
    machine, plan = rig.polisher, rig.polisher.outline
    drive, carrier = speeds(rig, step)
    times = np.linspace(0.0, machine.path_time(turns, drive, carrier), points)
    x, y = machine.path(radius, 0.0, times, drive, carrier)
    if plan.straight:
        length = _visible(rig, plan)
        x = (np.asarray(x) + length / 2) % length - length / 2
        jumps = np.flatnonzero(np.abs(np.diff(x)) > length / 2) + 1
        x, y = np.insert(x, jumps, np.nan), np.insert(np.asarray(y), jumps, np.nan)
    return x, y
