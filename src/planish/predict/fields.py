"""All reticle fields of a wafer: the same layout, each field under its own pressure and speed."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.execute import Cancel, Progress, run_all
from planish.engine.record import Record, figure
from planish.errors import SetupError, refuse
from planish.predict import die_conditions
from planish.predict.die_conditions import LocalConditions, SurfaceState, local_conditions, place_radius
from planish.predict.die_levels import Level, described_level, materials, measured_length, process_of
from planish.predict.die_model import (
    DieChoices,
    DieFields,
    DieInput,
    DiePad,
    Effective,
    die_input,
    effective,
    polish_cells,
    some_cells,
)
from planish.predict.wafer import polish
from planish.setup.given import as_bench

if TYPE_CHECKING:
    from collections.abc import Callable

    from planish.measure.layout_maps import LayoutMaps
    from planish.predict.wafer_result import WaferResult
    from planish.setup.given import SetupLike
    from planish.setup.si import Bench

Array = NDArray[np.float64]
_BLOCK = 16384


@dataclass(frozen=True, slots=True, repr=False)
class Field(Record):
    """One field: its centre on the wafer [m] and what came of it [m], [s]. ``fields`` holds its maps if kept."""

    x: float
    y: float
    thickness_range: float
    thickness_sigma: float
    clear_time: float
    planarization_length: float
    worst: dict[str, float]
    fields: DieFields | None = None

    def _told(self) -> str:
        return (
            f"at ({1e3 * self.x:.4g}, {1e3 * self.y:.4g}) mm, range {figure(1e9 * self.thickness_range, 'nm')}, "
            f"length {figure(1e3 * self.planarization_length, 'mm')}, clear at {figure(self.clear_time, 's')}"
        )


def field_centres(
    bench: Bench, width: float, height: float, offset: tuple[float, float] = (0.0, 0.0)
) -> list[tuple[float, float]]:
    """Return the centres [m] of all fields that lie wholly inside the edge exclusion.

    Fields of ``width`` x ``height`` [m] tile the wafer, one of them centred at ``offset``.
    """
    if not (width > 0 and height > 0):
        raise SetupError(refuse("field size [m]", (width, height), "above 0"))
    usable = bench.wafer.radius - bench.wafer.edge_exclusion
    n, m = int(usable / width) + 2, int(usable / height) + 2
    centres = []
    for j in range(-m, m + 1):
        for i in range(-n, n + 1):
            x, y = offset[0] + i * width, offset[1] + j * height
            if np.hypot(abs(x) + width / 2, abs(y) + height / 2) <= usable:
                centres.append((x, y))
    return centres


def polish_fields(
    setup: SetupLike,
    maps: LayoutMaps,
    *,
    process: str | None = None,
    level: Level | None = None,
    centres: list[tuple[float, float]] | None = None,
    wafer: WaferResult | None = None,
    pad_state: SurfaceState | None = None,
    choices: DieChoices | None = None,
    keep_maps: bool = False,
    workers: int | None = None,
    address: str | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> list[Field]:
    """Polish every field of the wafer, side by side.

    Parameters as ``predict.die.polish_die`` and ``engine.execute.run_all``;
    ``centres`` [m] default to all whole fields of the layout's size;
    ``keep_maps`` keeps each field's maps (memory grows with fields x cells).

    Returns
    -------
    One Field a centre, in that order, the same on any number of workers.
    """
    bench = as_bench(setup)
    process = process or process_of(bench)
    level = level or described_level(bench.die, process)
    choices = choices or DieChoices(planarization_length=measured_length(bench.die, process))
    cells = die_input(maps, level)
    if wafer is None:
        wafer = polish(bench)
    ny, nx = cells.high.shape
    places = centres if centres is not None else field_centres(bench, nx * cells.cell, ny * cells.cell)
    pieces = []
    for x, y in places:
        name, radius = place_radius(bench, float(np.hypot(x, y)))
        local = local_conditions(bench, wafer, name, radius, materials(level))
        state = pad_state or die_conditions.pad_state(bench, local.pressure)
        pieces.append((x, y, local, state))
    work = partial(
        _one_field,
        cells=cells,
        level=level,
        choices=choices,
        compliance=die_conditions.stack_compliance(bench),
        rigidity=die_conditions.wafer_rigidity(bench),
        keep=keep_maps,
    )
    return run_all(
        work, pieces, workers=workers, processes=True, address=address, progress=progress, cancel=cancel
    )


def _one_field(
    piece: tuple[float, float, LocalConditions, SurfaceState],
    *,
    cells: DieInput,
    level: Level,
    choices: DieChoices,
    compliance: Callable[[Array], Array],
    rigidity: float,
    keep: bool,
) -> Field:
    x, y, local, state = piece
    seen = effective(cells, level, local, DiePad(compliance, state, rigidity), choices)
    # In blocks that fit the cache: whole maps of temporaries would make the threads queue for memory.
    parts = [
        polish_cells(*_cut(cells, level, local, seen, slice(begin, begin + _BLOCK)), choices)
        for begin in range(0, cells.high.size, _BLOCK)
    ]
    high = np.concatenate([part.level_high for part in parts])
    worst = {
        name: _worst([part.named[name] for part in parts], lowest=name == "oxide_over_lines")
        for name in parts[0].named
    }
    return Field(
        x=x,
        y=y,
        thickness_range=float(np.nanmax(high) - np.nanmin(high)),
        thickness_sigma=float(np.nanstd(high)),
        clear_time=_worst([part.clear for part in parts]),
        planarization_length=seen.length,
        worst={name: value for name, value in worst.items() if not np.isnan(value)},
        fields=_joined(parts, cells.high.shape) if keep else None,
    )


def _cut(
    cells: DieInput, level: Level, local: LocalConditions, seen: Effective, part: slice
) -> tuple[DieInput, Level, LocalConditions, Effective]:
    few_cells, few_seen = some_cells(cells, seen, part)
    return few_cells, level, local, few_seen


def _worst(parts: list[Array], *, lowest: bool = False) -> float:
    """Largest (or smallest) value of all parts, NaN left out; NaN if there is none."""
    values = np.concatenate(parts)
    values = values[~np.isnan(values)]
    if values.size == 0:
        return float("nan")
    return float(values.min() if lowest else values.max())


def _joined(parts: list[DieFields], shape: tuple[int, ...]) -> DieFields:
    def join(values: list[Array]) -> Array:
        return np.concatenate(values).reshape(shape)

    return DieFields(
        join([part.level_high for part in parts]),
        join([part.level_low for part in parts]),
        join([part.clear for part in parts]),
        {name: join([part.named[name] for part in parts]) for name in parts[0].named},
    )
