"""Polish a die: layout in, surface out, at any place of the wafer and any point of the pad's life."""

from __future__ import annotations

import numbers
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from planish.engine.given import of_kind
from planish.errors import DataError, SetupError, refuse
from planish.physics.pattern import (
    areas,
    depth_of_focus,
    effective_density,
    feature_selectivity,
    planarization_length,
    topography,
)
from planish.physics.pattern.planarization_length import NoLengthError
from planish.predict.die import conditions as die_conditions
from planish.predict.die.cells import DieChoices, DieInput
from planish.predict.die.conditions import LocalConditions, SurfaceState, place_radius
from planish.predict.die.hot_spots import HotSpot, hot_spots
from planish.predict.die.level import Level
from planish.predict.die.levels import described_level, left_open, measured_length, process_of
from planish.predict.die.model import (
    DiePad,
    check_maps,
    die_input,
    effective,
    polish_cells,
    unaveraged,
    width_notes,
)
from planish.predict.die.pad import PadAfter, pad_after
from planish.predict.die.platens import Platens, described_platens
from planish.predict.die.result import Die, DieResult
from planish.predict.die.window import LATEST, polish_window
from planish.predict.wafer.result import WaferResult
from planish.results.asked import Asked
from planish.results.plain import unique
from planish.setup.checks.usual import OUTSIDE
from planish.setup.given import asked_of
from planish.setup.processes import PROCESSES

if TYPE_CHECKING:
    from planish.measure.layout.maps import LayoutMaps
    from planish.setup.given import SetupLike
    from planish.setup.models import Setup
    from planish.setup.si import Rig

Array = NDArray[np.float64]
Route = Literal["density", "contact"]
PLACES = ("centre", "mid", "edge")
EXPOSURE = (193e-9, 0.93, 0.5)  # wavelength [m], numerical aperture, k2


def polish_die(
    setup: SetupLike | Sequence[SetupLike],
    maps: LayoutMaps,
    *,
    process: str | None = None,
    level: Level | None = None,
    place: str | float | Sequence[str | float] = PLACES,
    wafer: WaferResult | None = None,
    pad_state: SurfaceState | None = None,
    after: PadAfter | int | None = None,
    choices: DieChoices | None = None,
    incoming: Array | Mapping[str, Array] | None = None,
    exposure: tuple[float, float, float] | None = None,
    route: Route = "density",
    tell: Callable[[float], None] | None = None,
) -> DieResult:
    """Polish a die of the given layout with a setup.

    Parameters
    ----------
    setup
        A loaded setup, its SI records, or the path of a setup file; or several: platens that the wafer passes one after the other,
        each with its own pad, slurry and recipe. The first says what stands on the die.
    maps
        Cell maps of the layer (``measure.layout``): density, perimeter, line width, space, cell, origin.
    process
        The name of one (``planish.setup.processes.PROCESSES``; default: that of the setup's die section, or its films).
    level
        What stands on the die (default: the die section, and what is usual for the process).
    place
        "centre", "mid", "edge", a radius [m], or several of them.
    wafer
        The wafer level's answer of the first platen (default: computed from the setup).
    pad_state
        The pad's surface (default: as conditioned, at the place's pressure).
    after
        The first platen's pad after so many wafers of a lot, or as ``predict.die.pad.pad_after`` gives it; new
        unless given.
    choices
        Kernel, edges, measured planarization length (default: the die section's), step law.
    incoming
        Topography from the level below [m], (ny, nx), e.g. ``DieResult.surface()``; or one by place name.
    exposure
        Wavelength [m], numerical aperture and k2 of the next exposure (default: the die section's).
    route
        "density": effective density and planarization length; "contact": the pad pressed on the surface as
        it wears, for any topography, at more cost.
    tell
        Called with the share done, 0 to 1.

    Returns
    -------
    DieResult with one die a place.

    Raises
    ------
    SetupError
        For a material without removal law, an unknown process, place or route, maps that do not fit.
    """
    described, rigs = described_platens(setup)
    check_maps(maps)
    if isinstance(after, int):
        after = pad_after(described[0], after)
    _check_given(process=process, level=level, wafer=wafer, after=after, choices=choices, incoming=incoming)
    asked = asked_die(
        described,
        maps,
        wafer,
        {
            "process": process,
            "level": level,
            "place": place,
            "pad_state": pad_state,
            "after": after,
            "choices": choices,
            "incoming": incoming,
            "exposure": exposure,
            "route": route,
        },
    )
    origin = (float(maps.origin[0]), float(maps.origin[1]))
    rig = rigs[0]
    process, level, choices, assumed = settled(rig, process, level, choices, route)
    platens = Platens.of(rigs, wafer, after)
    places = places_of(place)
    shape = np.shape(maps.density)
    side = min(shape) * maps.cell
    dies, cells = [], die_input(maps, level, _of_place(incoming, ""))
    assumed += [*width_notes(cells, level), *level.remarks(cells)]
    for number, (name, radius) in enumerate(place_radius(rig, p, side) for p in places):
        own = _of_place(incoming, name)
        cells = die_input(maps, level, own)
        local, on = platens.at(name, radius, level, pad_state)

        def told(share: float, number: int = number) -> None:
            if tell is not None:
                tell((number + share) / len(places))

        dies.append(polish_one(cells, level, local, on, choices, origin=origin, route=route, tell=told))
        told(1.0)
    budget = exposure or _exposure(rig)
    return DieResult(
        process=process,
        level=level,
        cell=cells.cell,
        origin=origin,
        density=np.asarray(maps.density, dtype=np.float64),
        high=cells.high,
        incoming=cells.incoming,
        dies=tuple(dies),
        focus=depth_of_focus.depth_of_focus(*budget),
        said=tuple(unique([*assumed, *standing_notes(platens, after), *_notes(dies, level, choices, route)])),
        rests_on=sources_of(rigs, level, route),
        route=route,
        asked=asked,
    )


def asked_die(
    described: Sequence[Setup | Rig],
    maps: LayoutMaps,
    wafer: WaferResult | None,
    options: dict[str, object],
) -> Asked:
    """Return the call behind a die or fields: options as given, and the layout's maps.

    Parameters
    ----------
    described
        The setups, one a platen.
    maps
        Of the layout.
    wafer
        Where one was handed in: the call can then not be made again.
    options
        Its other arguments, by name.

    Returns
    -------
    Asked
        As its answer keeps it.
    """
    given = (
        "" if wafer is None else "it was polished under a wafer result that was handed in: leave wafer out"
    )
    return asked_of(described, options={**options, "maps": maps}, missing=given)


def polish_one(
    cells: DieInput,
    level: Level,
    local: LocalConditions,
    pad: DiePad | Sequence[DiePad],
    choices: DieChoices,
    *,
    origin: tuple[float, float] = (0.0, 0.0),
    route: Route = "density",
    tell: Callable[[float], None] | None = None,
) -> Die:
    """Return one die at one place, with its window and hot spots.

    Parameters
    ----------
    cells
        Of the layout.
    level
        What stands on the die.
    local
        Conditions at its place.
    pad
        One, or one a platen.
    choices
        How to model.
    origin
        Of the layout's corner (x, y) [m], for the hot spots.
    route
        "density" or "contact".
    tell
        Called with the share of the recipe done (contact route).

    Returns
    -------
    Die
        The die.
    """
    try:
        seen = effective(cells, level, local, pad, choices)
    except NoLengthError:
        if route != "contact":
            raise
        seen = unaveraged(cells, local)
    if route == "contact":
        from planish.predict.die.contact import polish_by_contact

        fields, window = polish_by_contact(cells, level, local, pad, choices, tell=tell)
    else:
        fields = polish_cells(cells, level, local, seen, choices)
        window = polish_window(cells, level, local, seen, choices, fields)
    spots: list[HotSpot] = []
    for merit in level.merits:
        if merit.looked_for:
            spots += hot_spots(
                local.place,
                merit.name,
                fields.named[merit.name],
                origin,
                cells.cell,
                apart=seen.length / 2 if np.isfinite(seen.length) else 0.0,
                lowest=merit.worse_low,
            )
    return Die(local, seen, fields, window, tuple(spots), cells.incoming)


def _check_given(**given: object) -> None:
    """Refuse what is of no use as an argument of ``polish_die``; None is what was not given.

    Raises
    ------
    DataError
        Naming it.
    """
    kinds: dict[str, tuple[Any, str]] = {
        "process": (str, "the name of a process"),
        "level": (Level, "what stands on the die (planish.predict.die.levels.described_level)"),
        "wafer": (WaferResult, "a polished wafer (planish.polish gives one)"),
        "after": (PadAfter, "a number of wafers, or the pad after them (planish.predict.die.pad.pad_after)"),
        "choices": (DieChoices, "a DieChoices record"),
    }
    for name, (kind, allowed) in kinds.items():
        if given[name] is not None:
            of_kind(given[name], kind, name, allowed)
    incoming = given["incoming"]
    if isinstance(incoming, str) or (isinstance(incoming, Mapping) and not incoming):
        raise DataError(
            refuse("incoming topography", incoming, "heights [m] over the cells, or such a map by place")
        )


def places_of(place: Any) -> list[str | float]:
    """Return the places asked for.

    Raises
    ------
    SetupError
        Where there is none, or it is none.
    """
    one = isinstance(place, str) or (isinstance(place, numbers.Real) and not isinstance(place, bool))
    places = [place] if one else list(place) if isinstance(place, Iterable) else []
    if not places:
        raise SetupError(refuse("place", place, "one place or more: 'centre', 'mid', 'edge', a radius [m]"))
    return places


def _of_place(incoming: Array | Mapping[str, Array] | None, place: str) -> Array | None:
    """Topography from below at a place: its own if there is one, else the first."""
    if isinstance(incoming, Mapping):
        return incoming.get(place, next(iter(incoming.values())))
    return incoming


def settled(
    rig: Rig, process: str | None, level: Level | None, choices: DieChoices | None, route: Route
) -> tuple[str, Level, DieChoices, list[str]]:
    """Return process, level and choices with what was left open filled in, and the notes that say so.

    Parameters
    ----------
    rig
        The setup in SI.
    process, level, choices
        As asked; None for what the setup says, or what is usual.
    route
        "density" or "contact".

    Returns
    -------
    tuple[str, Level, DieChoices, list[str]]
        Name of the process, level, choices, notes.

    Raises
    ------
    SetupError
        For an unknown process or route.
    """
    process = process_of(rig) if process is None else process
    if route not in ("density", "contact"):
        raise SetupError(refuse("route", route, "'density' or 'contact'"))
    assumed = [] if level is not None else _assumed(rig, process)
    level = described_level(rig.die, process) if level is None else level
    choices = (
        choices if choices is not None else DieChoices(planarization_length=measured_length(rig.die, process))
    )
    return process, level, choices, assumed


def _exposure(rig: Rig) -> tuple[float, float, float]:
    die = rig.die
    given = (None, None, None) if die is None else (die.wavelength, die.aperture, die.k2)
    wavelength, aperture, k2 = (
        own if own is not None else usual for own, usual in zip(given, EXPOSURE, strict=True)
    )
    return wavelength, aperture, k2


def _assumed(rig: Rig, process: str) -> list[str]:
    """Say which values of the level nobody gave."""
    level = described_level(rig.die, process)
    told: dict[str, list[str]] = {}
    for name, value in left_open(rig.die, level, process).items():
        source = level.known_keys()[name].source or PROCESSES.get(process).source
        told.setdefault(source, []).append(f"{name.replace('_', ' ')} {value}")
    return [
        f"die: usual values of {process} taken for {', '.join(values)} ({source})"
        for source, values in told.items()
    ]


def _notes(dies: list[Die], level: Level, choices: DieChoices, route: str) -> list[str]:
    notes = []
    for die in dies:
        if die.clear_time > die.local.duration:
            notes.append(f"{die.local.place}: the recipe ends before the die is clear")
        if route == "density" and die.seen.misfit > 0.15:
            notes.append(
                f"{die.local.place}: the pad's response is only roughly an averaging kernel"
                f" (rms difference {die.seen.misfit:.2f})"
            )
        gone = float(np.mean(die.fields.end))
        if gone > 0:
            notes.append(
                f"{die.local.place}: {level.bottom} is gone in {100 * gone:.3g} % of the cells: what lies under it is not"
                " described, so they stop there"
            )
        if not np.isfinite(die.window.earliest):
            notes.append(
                f"{die.local.place}: not clear within {LATEST[route]:g} times the recipe, so no time is right for this die"
            )
        elif die.window.width <= 0:
            notes.append(
                f"{die.local.place}: no time clears the die and keeps {die.window.set_by} in its limit"
            )
    if dies[0].fields.clear.size == 1:
        notes.append("the layout is one cell: a range within the die needs smaller cells")
    if np.all(np.isnan(dies[0].fields.level_high)):
        notes.append("nothing stands high in this layout: there is no step to polish and no range of lines")
    elif level.flat_below and dies[0].counted < 1:
        full = float(np.mean(~np.isnan(dies[0].fields.level_high))) - dies[0].counted
        notes.append(
            f"clear time counts the {100 * dies[0].counted:.3g} % of cells that hold both lines and spaces;"
            f" {100 * full:.3g} % are all line: they have no step of their own, but count in the range"
        )
    told = length_notes(choices, route)
    if not all(np.isfinite(die.seen.length) for die in dies):
        told = [
            "contact route: the pad has no planarization length for this die, so none is shown, and effective shares "
            "are those of the cells themselves"
        ]
    return unique([*notes, *told])


def length_notes(choices: DieChoices, route: str) -> list[str]:
    """Say where the planarization length comes from, where it is not from the pad stack.

    Parameters
    ----------
    choices
        How to model.
    route
        "density" or "contact".

    Returns
    -------
    list[str]
        At most one line.
    """
    if choices.planarization_length is not None:
        told = "planarization length as given (measured), not from the pad stack"
        return [told if route == "density" else told + "; the contact route does not use it"]
    if route == "contact":
        return ["contact route: the planarization length shown is that of the density route's kernel"]
    return []


def sources_of(rigs: list[Rig], level: Level, route: str) -> tuple[str, ...]:
    """Return the sources that a die on all these platens rests on.

    Parameters
    ----------
    rigs
        Their setups in SI.
    level
        What stands on the die.
    route
        "density" or "contact".

    Returns
    -------
    tuple[str, ...]
        Each line once.
    """
    return tuple(unique(line for one in rigs for line in _sources(one, level, route)))


def standing_notes(platens: Platens, after: PadAfter | None) -> list[str]:
    """Say what a die on these platens rests on: a worn pad, odd settings, what the wafers themselves say.

    Parameters
    ----------
    platens
        With their wafers.
    after
        State of the first one's pad; None for a new one.

    Returns
    -------
    list[str]
        A sentence each.
    """
    worn = [] if after is None else [after.note(), *(f"the wafers before: {one}" for one in after.raised)]
    return [
        *worn,
        *_underneath(platens.wafers),
        *(line for one in platens.wafers for line in one.strange()),
    ]


def _underneath(wafers: Sequence[WaferResult]) -> list[str]:
    """Say what the wafers say under which the die lies, and on which of several platens."""
    several = len(wafers) > 1
    told = []
    for number, one in enumerate(wafers, 1):
        for note in one.notes:
            of_wafer = not note.startswith(("die.", f"{OUTSIDE}die."))
            who = f"platen {number}: " if several else "" if note.startswith(OUTSIDE) else "the wafer: "
            told.append(who + note if of_wafer else note)
    return told


def _sources(rig: Rig, level: Level, route: str) -> list[str]:
    pressed: tuple[str, ...] = ()
    if route == "contact":
        from planish.predict.die import contact as die_contact

        pressed = die_contact.SOURCES
    return unique(
        [
            *pressed,
            *effective_density.SOURCES,
            *planarization_length.SOURCES,
            *feature_selectivity.SOURCES,
            *areas.SOURCES,
            *level.sources,
            *topography.SOURCES,
            *depth_of_focus.SOURCES,
            *die_conditions.SOURCES,
            *rig.sources,
        ]
    )
