"""All reticle fields of a wafer: the same layout, each field under its own pressure and speed."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.execute import Cancel, Progress, run_all
from planish.errors import SetupError, refuse
from planish.predict.die.cells import DieChoices, DieInput, Effective
from planish.predict.die.conditions import LocalConditions, SurfaceState
from planish.predict.die.fields_result import Field, FieldsResult
from planish.predict.die.level import Level
from planish.predict.die.model import (
    DieFields,
    DiePad,
    check_maps,
    die_input,
    effective,
    polish_cells,
    some_cells,
    width_notes,
)
from planish.predict.die.pad import PadAfter
from planish.predict.die.platens import Platens, described_platens
from planish.predict.die.polish import Route, asked_die, length_notes, settled, sources_of, standing_notes
from planish.results.plain import unique

if TYPE_CHECKING:
    from planish.measure.layout.maps import LayoutMaps
    from planish.predict.wafer.result import WaferResult
    from planish.setup.given import SetupLike
    from planish.setup.si import Rig

Array = NDArray[np.float64]
_BLOCK = 16384
MOST_FIELDS = 20_000


def field_centres(rig: Rig, width: float, height: float) -> list[tuple[float, float]]:
    """Return the centres of all fields that lie wholly inside the edge exclusion.

    Fields tile the wafer, one of them in its middle.

    Parameters
    ----------
    rig
        The setup in SI.
    width, height
        Of a field [m].

    Returns
    -------
    list[tuple[float, float]]
        (x, y) [m] each.

    Raises
    ------
    SetupError
        For a field larger than the wafer, or so small that there are too many of them.
    """
    if not (width > 0 and height > 0):
        raise SetupError(refuse("field size [m]", (width, height), "above 0"))
    usable = rig.wafer.radius - rig.wafer.edge_exclusion
    named = f"{width * 1e3:.4g} x {height * 1e3:.4g} mm"
    if np.pi * usable**2 / (width * height) > MOST_FIELDS:
        raise SetupError(
            refuse("field size", named, f"large enough for at most {MOST_FIELDS} fields on the wafer")
        )
    n, m = int(usable / width) + 2, int(usable / height) + 2
    centres = []
    for j in range(-m, m + 1):
        for i in range(-n, n + 1):
            x, y = i * width, j * height
            if np.hypot(abs(x) + width / 2, abs(y) + height / 2) <= usable:
                centres.append((x, y))
    if not centres:
        raise SetupError(
            refuse("field size", named, f"small enough to lie inside the radius of {usable * 1e3:.4g} mm")
        )
    return centres


def polish_fields(
    setup: SetupLike | Sequence[SetupLike],
    maps: LayoutMaps,
    *,
    process: str | None = None,
    level: Level | None = None,
    centres: Sequence[tuple[float, float]] | None = None,
    wafer: WaferResult | None = None,
    pad_state: SurfaceState | None = None,
    after: PadAfter | None = None,
    choices: DieChoices | None = None,
    route: Route = "density",
    workers: int | None = None,
    address: str | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> FieldsResult:
    """Polish every field of the wafer, side by side.

    Parameters
    ----------
    setup, maps, process, level, wafer, pad_state, after, choices, route
        As for :func:`planish.predict.die.polish.polish_die`.
    centres
        [m]; all whole fields of the layout's size unless given.
    workers
        Processes here (default: one a core). The numbers do not depend on it.
    address
        Of a Dask scheduler such as "tcp://host:8786", which then does the work.
    progress
        Called with (fields done, all fields).
    cancel
        Stops between two batches of fields.

    Returns
    -------
    FieldsResult
        One field a centre, in that order.

    Raises
    ------
    SetupError
        As ``polish_die``, and for a field that does not fit the wafer.
    CancelledError
        If it was stopped.
    """
    described, rigs = described_platens(setup)
    asked = asked_die(
        described,
        maps,
        wafer,
        {
            "process": process,
            "level": level,
            "centres": centres,
            "pad_state": pad_state,
            "after": after,
            "choices": choices,
            "route": route,
        },
    )
    check_maps(maps)
    process, level, choices, assumed = settled(rigs[0], process, level, choices, route)
    cells = die_input(maps, level)
    assumed += [*width_notes(cells, level), *level.remarks(cells)]
    platens = Platens.of(rigs, wafer, after)
    ny, nx = cells.high.shape
    size = (nx * cells.cell, ny * cells.cell)
    if centres is not None and not len(centres):
        raise SetupError(refuse("centres", "none", "one or more"))
    places = list(centres) if centres is not None else field_centres(rigs[0], *size)
    known: dict[float, tuple[LocalConditions, list[DiePad]]] = {}
    pieces = []
    for x, y in places:
        radius = round(float(np.hypot(x, y)), 12)
        if radius not in known:
            known[radius] = platens.at(f"r = {radius * 1e3:.1f} mm", radius, level, pad_state)
        pieces.append((float(x), float(y), *known[radius]))
    work = partial(_one_field, cells=cells, level=level, choices=choices, route=route)
    fields = run_all(
        work, pieces, workers=workers, processes=True, address=address, progress=progress, cancel=cancel
    )
    return FieldsResult(
        process=process,
        route=route,
        size=size,
        wafer_radius=rigs[0].wafer.radius,
        duration=pieces[0][2].duration,
        merits=level.merits,
        fields=tuple(fields),
        said=tuple(unique([*assumed, *standing_notes(platens, after), *length_notes(choices, route)])),
        rests_on=sources_of(rigs, level, route),
        asked=asked,
    )


def _one_field(
    piece: tuple[float, float, LocalConditions, list[DiePad]],
    *,
    cells: DieInput,
    level: Level,
    choices: DieChoices,
    route: Route = "density",
) -> Field:
    x, y, local, pads = piece
    seen = effective(cells, level, local, pads, choices)
    if route == "contact":
        from planish.predict.die.contact import polish_by_contact

        parts = [polish_by_contact(cells, level, local, pads, choices)[0]]
    else:
        # In blocks that fit the cache: whole maps of temporaries would make the threads queue for memory.
        parts = [
            polish_cells(*_cut(cells, level, local, seen, slice(begin, begin + _BLOCK)), choices)
            for begin in range(0, cells.high.size, _BLOCK)
        ]
    return _figures(x, y, local, seen, parts)


def _cut(
    cells: DieInput, level: Level, local: LocalConditions, seen: Effective, part: slice
) -> tuple[DieInput, Level, LocalConditions, Effective]:
    few_cells, few_seen = some_cells(cells, seen, part)
    return few_cells, level, local, few_seen


def _figures(x: float, y: float, local: LocalConditions, seen: Effective, parts: list[DieFields]) -> Field:
    high, low = _joined([p.level_high for p in parts]), _joined([p.level_low for p in parts])
    clear = _known(_joined([p.clear for p in parts]))
    tops = np.concatenate([_known(high), _known(low)])
    named = {name: _known(_joined([p.named[name] for p in parts])) for name in parts[0].named}
    return Field(
        x=x,
        y=y,
        pressure=local.pressure,
        thickness_range=float(np.nanmax(high) - np.nanmin(high)),
        thickness_sigma=float(np.nanstd(high)),
        topography=float(tops.max() - tops.min()),
        clear_time=float(clear.max()) if clear.size else 0.0,
        planarization_length=seen.length,
        named={
            name: (float(values.min()), float(values.mean()), float(values.max()))
            for name, values in named.items()
            if values.size
        },
    )


def _joined(parts: list[Array]) -> Array:
    return np.concatenate([part.ravel() for part in parts])


def _known(values: Array) -> Array:
    return values[~np.isnan(values)]
