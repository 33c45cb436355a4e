"""One die at one place: from densities, widths and local conditions to the surface.

Pure arrays in and out, so that fields of a wafer can run side by side.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.errors import SetupError, refuse
from planish.physics.pattern.effective_density import effective_density
from planish.physics.pattern.feature_selectivity import feature_selectivity
from planish.physics.pattern.kernels import Kernel
from planish.physics.pattern.planarization_length import (
    NoLengthError,
    PlanarizationLength,
    planarization_length,
)
from planish.predict.die.cells import DieChoices, DieInput, Effective
from planish.predict.die.conditions import LocalConditions, SurfaceState
from planish.predict.die.level import Level, Polished

if TYPE_CHECKING:
    from planish.measure.layout.maps import LayoutMaps

Array = NDArray[np.float64]
SLACK = 1e-6  # densities may leave 0 to 1 by rounding
LARGEST_CELL = 0.1  # [m]
_NONE = 1e-6  # a share below this counts as none
# [m] Summits tell places apart over some 4.4 spot radii (50 um), and a density means something over several of its
# lines only. An assumption: 150 um were tuned on the example blocks, until the range within that die was the same for
# cells of 20 to 200 um within 2 %.
OWN_DENSITY_OVER = 150e-6
NO_LENGTH = (
    "die.planarization_length: not given, and this pad's response to this die rolls off nowhere between wavelengths of "
    "0.1 mm and 200 m, so none can be found: must be a measured one, from 0.05 mm to 100 mm (on the command line "
    "--planarization-length; the contact route uses none)"
)
_BEGUN = 0.1  # of the relief
_WINDOW = 5  # cells on a side


@dataclass(frozen=True, slots=True)
class DiePad:
    """The pad as one die feels it: stack ``compliance`` C(q) [m/Pa], surface, wafer stiffness [N m]."""

    compliance: Callable[[Array], Array]
    state: SurfaceState
    wafer_rigidity: float


@dataclass(frozen=True, slots=True, repr=False, eq=False)
class DieFields(Record):
    """Maps of one die, each (ny, nx), NaN where a cell holds no such area.

    ``level_high`` and ``level_low`` are surface heights [m] from where the high
    areas started; ``clear`` [s]; ``named`` holds the process's own (dishing,
    erosion, ...) [m].
    """

    level_high: Array
    level_low: Array
    clear: Array
    named: Mapping[str, Array]
    end: NDArray[np.bool_]


def check_maps(maps: object) -> None:
    """Refuse what holds no cell maps.

    Raises
    ------
    SetupError
        Where density or cell are missing, or are none that can be.
    """
    if not (hasattr(maps, "density") and hasattr(maps, "cell")):
        raise SetupError(
            f"layout maps: a {type(maps).__name__} was given: must be the cell maps of a layer "
            "(planish.read_layout_maps reads them from a layout file)"
        )
    density, cell = np.asarray(maps.density), maps.cell
    if density.ndim != 2 or density.size == 0 or not np.issubdtype(density.dtype, np.number):
        raise SetupError(
            refuse("layout maps: density", f"shape {density.shape}", "numbers over (ny, nx) cells")
        )
    if not np.all((density >= -SLACK) & (density <= 1.0 + SLACK)):
        worst = float(density.flat[int(np.argmax(np.abs(np.nan_to_num(density, nan=np.inf) - 0.5)))])
        raise SetupError(refuse("layout maps: density", worst, "between 0 and 1"))
    if not (isinstance(cell, float | int) and 0 < cell <= LARGEST_CELL):
        raise SetupError(refuse("layout maps: cell [m]", cell, f"above 0 and at most {LARGEST_CELL:g}"))


def die_input(maps: LayoutMaps, level: Level, incoming: Array | None = None) -> DieInput:
    """Return the cells of a layout for a level.

    Parameters
    ----------
    maps
        With density, perimeter, line_width, space [m] and cell [m].
    level
        What stands on the die.
    incoming
        Height from below [m], shape of the density; flat unless given. Hills of the film itself are added.

    Returns
    -------
    DieInput
        (ny, nx) each.

    Raises
    ------
    SetupError
        For maps that hold no cells, or topography of another shape.
    """
    check_maps(maps)
    density = np.clip(np.asarray(maps.density, dtype=np.float64), 0.0, 1.0)
    height = np.zeros_like(density) if incoming is None else np.asarray(incoming, dtype=np.float64)
    if height.shape != density.shape:
        raise SetupError(refuse("incoming topography shape", height.shape, f"the layout's {density.shape}"))
    shares, lines = density, (maps.space, maps.line_width)
    shift = float(getattr(level, level.bias_key)) if level.bias_key else 0.0
    if shift:
        shares = np.clip(density + shift * np.asarray(maps.perimeter, float), 0.0, 1.0)
    high, (low_width, high_width) = (shares, lines) if level.lines == "high" else (1 - shares, lines[::-1])
    widths = np.asarray(low_width, float), np.asarray(high_width, float)
    bridged = [
        bridged_width(width, share, np.asarray(maps.perimeter, float), maps.cell)
        for width, share in zip(widths, (1 - high, high), strict=True)
    ]
    cells = DieInput(high, *widths, height, maps.cell, stepped_cells(high), *bridged)
    return replace(
        cells, incoming=height + level.raised(cells)
    )  # the film's own hills come on top of what lies below


def bridged_width(width: Array, share: Array, perimeter: Array, cell: float) -> Array:
    """Return 2 area/perimeter of areas: the width of lines, half of it for squares.

    Share and perimeter are taken over a window of some cells, and only where that is clearly wider than the areas.
    Elsewhere, and where the perimeter is not known, they count as lines.

    Parameters
    ----------
    width
        Of the areas across their lines [m], (ny, nx).
    share
        Of each cell that they cover.
    perimeter
        Of them, per cell area [1/m].
    cell
        Side of a cell [m].

    Returns
    -------
    Array
        [m], NaN where the width is.
    """
    from scipy.ndimage import uniform_filter

    near = [uniform_filter(np.nan_to_num(values), _WINDOW, mode="nearest") for values in (share, perimeter)]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = 2 * near[0] / near[1] / width
    seen = np.isfinite(part) & (width < _WINDOW * cell / 3)
    return np.where(seen, np.clip(part, 0.5, 1.0), 1.0) * width


def width_notes(cells: DieInput, level: Level) -> list[str]:
    """Say in how many cells the width of the low areas had to be assumed.

    Parameters
    ----------
    cells
        Of the layout.
    level
        What stands on the die.

    Returns
    -------
    list[str]
        One line; none where all widths are known.

    Raises
    ------
    SetupError
        Where no width is known at all and the step depends on it: metal fills narrow lines flat, not wide ones.
    """
    both = (cells.high > _NONE) & (cells.high < 1 - _NONE)
    unknown = both & ~np.isfinite(cells.low_width)
    if not unknown.any():
        return []
    what = "line width" if level.lines == "low" else "space"
    if level.step_by_width and np.array_equal(unknown, both):
        raise SetupError(
            f"layout maps: the {what} is unknown in every cell: must be known for metal "
            "(give line_width_um in the table, a picture in black and white, or the layout)"
        )
    share = 100 * float(unknown.sum()) / float(both.sum())
    told = "no step is given to them" if level.step_by_width else "taken as wider than a millimetre"
    return [f"layout maps: the {what} is unknown in {share:.3g} % of the cells that hold both areas: {told}"]


def effective(
    cells: DieInput,
    level: Level,
    local: LocalConditions,
    pad: DiePad | Sequence[DiePad],
    choices: DieChoices,
) -> Effective:
    """Return the effective densities and selectivity lengths at one place.

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

    Returns
    -------
    Effective
        What the pad makes of the layout.
    """
    pads = pads_of(pad, local)
    main = {
        platen: _main_pressure(level, local, platen) for platen in sorted({s.platen for s in local.steps})
    }
    seen = {platen: _averaged(cells, level, pads[platen], p, choices) for platen, p in main.items()}
    depth = level.relief if level.flat_below else 0.0
    reach = np.array(
        [
            feature_selectivity(
                cells.low_bridged,
                summit_length=pads[step.platen].state.selectivity_length,
                spot_radius=pads[step.platen].state.spot_radius,
                pressure=step.pressure,
                compliance=pads[step.platen].compliance,
                widest=seen[step.platen][1].length,
                high_width=cells.high_bridged,
                depth=depth,
            )
            for step in local.steps
        ]
    )
    first = min(main)
    high, found = seen[first]
    bulk = float(pads[first].compliance(np.array([2 * np.pi / found.length]))[0])
    short = np.zeros_like(high)
    span = float(np.ptp(cells.incoming))
    if span > 0:  # the same average as the density's, on heights scaled to 0..1
        scaled = (cells.incoming - cells.incoming.min()) / span
        short = (
            scaled - _smooth(cells, scaled, found.length, choices.kernel, choices, float(scaled.mean()))
        ) * span
    return Effective(
        high,
        reach,
        short,
        found.length,
        found.local_share,
        found.misfit,
        pads[first].state.selectivity_length + main[first] * bulk,
        tuple(seen[step.platen][0] for step in local.steps),
    )


def unaveraged(cells: DieInput, local: LocalConditions) -> Effective:
    """Return the cells' own shares, for the contact route of a pad without a planarization length.

    Parameters
    ----------
    cells
        Of the layout.
    local
        Conditions at its place.

    Returns
    -------
    Effective
        With NaN for what belongs to a length.
    """
    unknown = np.full_like(cells.high, np.nan)
    steps = len(local.steps)
    return Effective(
        cells.high,
        np.stack([unknown] * steps),
        unknown,
        length=np.nan,
        local_share=np.nan,
        misfit=np.nan,
        give=np.nan,
        shares=(cells.high,) * steps,
    )


def _main_pressure(level: Level, local: LocalConditions, platen: int) -> float:
    """Return the pressure [Pa] of the step in which a platen begins to take the relief off.

    Of no mean over the recipe: what comes after may change nothing of when a cell is clear.
    """
    steps = [step for step in local.steps if step.platen == platen]
    taken, top = 0.0, level.films()[0][0]
    for step in steps:
        taken += step.rates[top] * step.duration
        if taken >= _BEGUN * level.relief:
            return step.pressure
    return max(steps, key=lambda step: step.duration).pressure


def pads_of(pad: DiePad | Sequence[DiePad], local: LocalConditions) -> list[DiePad]:
    """Return one pad a platen.

    Parameters
    ----------
    pad
        One for all, or one a platen.
    local
        Conditions, whose steps say on which platen they run.

    Returns
    -------
    list[DiePad]
        In the order of the platens.
    """
    count = 1 + max(step.platen for step in local.steps)
    return [pad] * count if isinstance(pad, DiePad) else list(pad)


def _averaged(
    cells: DieInput, level: Level, pad: DiePad, pressure: float, choices: DieChoices
) -> tuple[Array, PlanarizationLength]:
    """Return the effective share under one pad and pressure, and its planarization length."""
    outside = 1 - choices.outside if level.lines == "low" else choices.outside
    found = PlanarizationLength(choices.planarization_length or 0.0, 0.0, 0.0)
    if choices.planarization_length is None:
        try:
            found = planarization_length(
                pad.compliance,
                relief=level.relief,
                pressure=pressure,
                selectivity_length=pad.state.selectivity_length,
                wafer_rigidity=pad.wafer_rigidity,
                kernel=choices.kernel,
            )
        except NoLengthError as none:
            raise NoLengthError(NO_LENGTH) from none
    high = _smooth(cells, cells.high, found.length, choices.kernel, choices, outside)
    share, spot = found.local_share, max(OWN_DENSITY_OVER, 4.4 * pad.state.spot_radius)
    if share > 0:
        under_spot = cells.high
        if spot > cells.cell:
            under_spot = _smooth(cells, cells.high, spot, "gaussian", choices, outside)
        high = share * under_spot + (1 - share) * high
    return high, found


def _smooth(
    cells: DieInput, values: Array, size: float, kernel: Kernel, choices: DieChoices, outside: float
) -> Array:
    return np.asarray(
        effective_density(values, cells.cell, size, kernel=kernel, edges=choices.edges, outside=outside)
    )


def stepped_cells(share: Array) -> NDArray[np.bool_]:
    """Return which cells have a step of their own: those that hold both high and low area.

    On a map of full and empty cells only, the steps lie between cells: there the full cells beside a
    cell with low area count (fields repeat).
    """
    low = share < 1 - _NONE
    both = (share > _NONE) & low
    if both.any():
        return both
    beside = np.zeros_like(low)
    for axis in (0, 1):
        for shift in (-1, 1):
            beside |= np.roll(low, shift, axis=axis)
    return np.asarray((share > _NONE) & beside)


def polish_cells(
    cells: DieInput, level: Level, local: LocalConditions, seen: Effective, choices: DieChoices
) -> DieFields:
    """Return the maps after polishing.

    Parameters
    ----------
    cells
        Of the layout.
    level
        What stands on the die.
    local
        Conditions at its place.
    seen
        From ``effective``.
    choices
        How to model.

    Returns
    -------
    DieFields
        Shapes of the cells.
    """
    return fields_of(cells, level, level.polish(cells, local, seen, choices))


def at_time(local: LocalConditions, time: float) -> LocalConditions:
    """Return the conditions of a recipe cut, or its last step drawn out, to a time in all.

    Parameters
    ----------
    local
        Of the whole recipe.
    time
        [s].

    Returns
    -------
    LocalConditions
        With at least one step.
    """
    steps, left = [], time
    for i, step in enumerate(local.steps):
        last = i == len(local.steps) - 1
        span = left if last else min(step.duration, left)
        if span <= 0:
            break
        steps.append(replace(step, duration=span))
        left -= span
    return replace(local, steps=tuple(steps) or (replace(local.steps[0], duration=1e-9),))


def some_cells(
    cells: DieInput, seen: Effective, index: NDArray[np.int64] | slice
) -> tuple[DieInput, Effective]:
    """Return the chosen cells alone (flat), for what only depends on each cell itself.

    Parameters
    ----------
    cells
        Of the layout.
    seen
        From ``effective``.
    index
        Which, among the cells as one row.

    Returns
    -------
    tuple[DieInput, Effective]
        The two, for these cells.
    """

    def pick(values: Array) -> Array:
        return values.reshape(-1)[index]

    return (
        replace(
            cells,
            high=pick(cells.high),
            low_width=pick(cells.low_width),
            high_width=pick(cells.high_width),
            low_bridged=pick(cells.low_bridged),
            high_bridged=pick(cells.high_bridged),
            incoming=pick(cells.incoming),
            stepped=cells.stepped.reshape(-1)[index],
        ),
        replace(
            seen,
            high=pick(seen.high),
            short=pick(seen.short),
            selectivity=seen.selectivity.reshape(len(seen.selectivity), -1)[:, index],
            shares=tuple(pick(share) for share in seen.shares),
        ),
    )


def fields_of(cells: DieInput, level: Level, polished: Polished) -> DieFields:
    """Return the maps of what came of each cell, NaN where it has no such area.

    Parameters
    ----------
    cells
        Of the layout.
    level
        What stood on the die.
    polished
        What came of each cell.

    Returns
    -------
    DieFields
        Shapes of the cells.
    """
    present = {"high": cells.high > _NONE, "low": cells.high < 1 - _NONE, "step": cells.stepped}
    high = cells.incoming - polished.lost

    def where(on: str, values: Array) -> Array:
        return np.where(present[on], values, np.nan)

    # Flat is a cell whose step is gone, so one without a step has no clear time; films clear from all high area.
    clear = where("step" if level.flat_below else "high", polished.clear)
    own = {merit.name: where(merit.on, polished.merits[merit.name]) for merit in level.merits}
    return DieFields(where("high", high), where("low", high - polished.step), clear, own, polished.end)
