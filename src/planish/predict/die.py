"""Polish a die: layout in, surface out, at any place of the wafer and any point of the pad's life."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planish.errors import SetupError, refuse
from planish.physics import (
    area_pair,
    depth_of_focus,
    effective_density,
    feature_selectivity,
    metal,
    oxide_step,
    planarization_length,
    sti,
    topography,
)
from planish.predict import die_conditions
from planish.predict.die_conditions import LocalConditions, SurfaceState, local_conditions, place_radius
from planish.predict.die_levels import Level, MetalLevel, OxideLevel, default_level, materials
from planish.predict.die_model import (
    DieChoices,
    DieInput,
    DiePad,
    die_input,
    effective,
    polish_cells,
)
from planish.predict.die_result import Die, DieResult
from planish.predict.die_window import polish_window
from planish.predict.hot_spots import HotSpot, hot_spots
from planish.predict.result import unique
from planish.predict.wafer import as_bench, polish

if TYPE_CHECKING:
    from planish.predict.wafer_result import WaferResult
    from planish.setup.si import Bench

Array = NDArray[np.float64]
PLACES = ("centre", "mid", "edge")
_WORSE_LOW = {"oxide_over_lines"}
_LISTED = {
    "oxide": ("oxide_over_lines", "step_height"),
    "sti": ("nitride_loss", "dishing", "oxide_on_nitride"),
    "metal": ("dishing", "erosion", "metal_left", "barrier_left"),
}


def polish_die(
    setup: Any,
    maps: Any,
    *,
    process: str = "oxide",
    level: Level | None = None,
    place: str | float | Sequence[str | float] = PLACES,
    wafer: WaferResult | None = None,
    pad_state: SurfaceState | None = None,
    choices: DieChoices | None = None,
    incoming: Array | None = None,
    exposure: tuple[float, float, float] = (193e-9, 0.93, 0.5),
) -> DieResult:
    """Polish a die of the given layout with a setup.

    Parameters
    ----------
    setup: a loaded setup, or its SI records.
    maps: cell maps of the layer (``measure.layout``): density, perimeter, line width, space, cell, origin.
    process: "oxide", "sti", "copper" or "tungsten".
    level: what stands on the die (default: the usual one of the process).
    place: "centre", "mid", "edge", a radius [m], or several of them.
    wafer: the wafer level's answer (default: computed from the setup).
    pad_state: the pad's surface (default: as conditioned, at the place's pressure).
    choices: kernel, edges, measured planarization length, step law.
    incoming: topography from the level below [m], (ny, nx), e.g. ``DieResult.surface()``.
    exposure: wavelength [m], numerical aperture and k2 of the next exposure.

    Returns
    -------
    DieResult with one die a place.

    Raises
    ------
    SetupError: for a material without removal law, an unknown process or place, maps that do not fit.
    """
    bench = as_bench(setup)
    level = level or default_level(process)
    choices = choices or DieChoices()
    cells = die_input(maps, level, incoming)
    if wafer is None:
        wafer = polish(bench)
    places = [place] if isinstance(place, str | float | int) else list(place)
    if not places:
        raise SetupError(refuse("place", place, "one place or more"))
    side = min(cells.high.shape) * cells.cell
    compliance, rigidity = die_conditions.stack_compliance(bench), die_conditions.wafer_rigidity(bench)
    dies = []
    for name, radius in (place_radius(bench, p, side) for p in places):
        local = local_conditions(bench, wafer, name, radius, materials(level))
        state = pad_state or die_conditions.pad_state(bench, local.pressure)
        pad = DiePad(compliance, state, rigidity)
        dies.append(polish_one(cells, level, local, pad, choices, origin=tuple(maps.origin)))
    return DieResult(
        process=process,
        level=level,
        cell=cells.cell,
        origin=tuple(maps.origin),
        density=np.asarray(maps.density, dtype=np.float64),
        high=cells.high,
        incoming=cells.incoming,
        dies=dies,
        focus=depth_of_focus.depth_of_focus(*exposure),
        notes=_notes(dies, choices),
        rests_on=_sources(bench, level),
    )


def polish_one(
    cells: DieInput,
    level: Level,
    local: LocalConditions,
    pad: DiePad,
    choices: DieChoices,
    *,
    origin: tuple[float, float] = (0.0, 0.0),
) -> Die:
    """Return one die at one place, with its window and hot spots."""
    seen = effective(cells, level, local, pad, choices)
    fields = polish_cells(cells, level, local, seen, choices)
    window = polish_window(cells, level, local, seen, choices, fields)
    kind = "oxide" if isinstance(level, OxideLevel) else "metal" if isinstance(level, MetalLevel) else "sti"
    spots: list[HotSpot] = []
    for name in _LISTED[kind]:
        spots += hot_spots(
            local.place,
            name,
            fields.named[name],
            origin,
            cells.cell,
            apart=seen.length / 2,
            lowest=name in _WORSE_LOW,
        )
    return Die(local, seen, fields, window, spots)


def _notes(dies: list[Die], choices: DieChoices) -> list[str]:
    notes = []
    for die in dies:
        if die.clear_time > die.local.duration:
            notes.append(f"{die.local.place}: the recipe ends before the die is clear")
        if die.seen.misfit > 0.15:
            notes.append(
                f"{die.local.place}: the pad's response is only roughly an averaging kernel"
                f" (rms difference {die.seen.misfit:.2f})"
            )
        if die.window.width < 0:
            notes.append(
                f"{die.local.place}: no time clears the die and keeps {die.window.set_by} in its limit"
            )
    if choices.planarization_length is not None:
        notes.append("planarization length as given (measured), not from the pad stack")
    return unique(notes)


def _sources(bench: Bench, level: Level) -> list[str]:
    law = oxide_step.SOURCES if isinstance(level, OxideLevel) else ()
    stage = metal.SOURCES if isinstance(level, MetalLevel) else sti.SOURCES
    return unique(
        [
            *effective_density.SOURCES,
            *planarization_length.SOURCES,
            *feature_selectivity.SOURCES,
            *area_pair.SOURCES,
            *law,
            *(() if law else stage),
            *topography.SOURCES,
            *depth_of_focus.SOURCES,
            *die_conditions.SOURCES,
            *bench.sources,
        ]
    )
