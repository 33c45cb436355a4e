"""The verb that polishes a die, and the fit of what it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planish.cli import show
from planish.cli.layouts import read_maps
from planish.errors import DataError, refuse

if TYPE_CHECKING:
    from planish.predict.die.fill import FillProposal
    from planish.predict.die.level import Level
    from planish.predict.die.result import DieResult
    from planish.setup.si import Rig

NAMED = ("centre", "mid", "edge")


@dataclass(frozen=True, slots=True)
class DieAsked:
    """What the command line asks of a die, as text."""

    layout: Path
    layer: str | None
    cell: str
    place: str
    process: str | None
    step_height: str | None
    planarization_length: str | None
    route: str
    after: int
    from_die: Path | None
    then: list[Path]
    settings: list[str]


def die(
    file: Path, asked: DieAsked, fill_ceiling: float | None, json_out: bool, out: Path | None, units: str
) -> None:
    """Polish a die of a layout at one or more places of the wafer and print its figures."""
    show.check_units(units)
    rigs = setups_asked(file, asked)
    maps = read_maps(asked.layout, asked.layer, asked.cell, json_out)
    result = polished(rigs, maps, asked, json_out)
    proposal = None if fill_ceiling is None else proposed(result, fill_ceiling)
    _print(result, proposal, json_out, units)
    if out is not None:
        _write(result, maps, proposal, show.make_folder(out), json_out)


def setups_asked(file: Path, asked: DieAsked) -> list[Rig]:
    """Return the setup with what was set, and those of the next platens as they stand."""
    from planish.jobs.changed import load_changed

    return [load_changed(file, asked.settings).rig, *(load_changed(path).rig for path in asked.then)]


def polished(rigs: list[Rig], maps: Any, asked: DieAsked, quiet: bool) -> DieResult:
    """Return the die asked for, after all platens."""
    from planish.predict.die.polish import polish_die

    below = None if asked.from_die is None else topography(asked.from_die, maps)
    options = settings(rigs[0], asked, quiet)
    with show.progress("polishing", quiet=quiet) as tell:
        return polish_die(rigs, maps, place=places(asked.place), incoming=below, tell=tell, **options)


def settings(rig: Rig, asked: DieAsked, quiet: bool) -> dict[str, Any]:
    """Return what is asked of one die and of all fields alike, as ``polish_die`` and ``polish_fields`` take it."""
    from planish.predict.die.cells import DieChoices
    from planish.predict.die.levels import process_of
    from planish.predict.die.pad import pad_after

    process = asked.process or process_of(rig)
    step, length = asked.step_height, asked.planarization_length
    after = None
    if asked.after:
        with show.progress(f"{asked.after} wafers on the pad", quiet=quiet) as tell:
            after = pad_after(rig, asked.after, progress=lambda done, of: tell(done / of))
    return {
        "process": process,
        "level": None
        if step is None
        else _with_step(rig, process, show.die_quantity("--step-height", step, "step")),
        "after": after,
        "choices": None
        if length is None
        else DieChoices(
            planarization_length=show.die_quantity("--planarization-length", length, "planarization_length")
        ),
        "route": asked.route,  # refused there if unknown
    }


def _with_step(rig: Rig, process: str, step: float) -> Level:
    """Return the level described for a process, with another step [m]."""
    from planish.predict.die.levels import described_level

    level = described_level(rig.die, process)
    return level.described({level.step_key: step})


def places(text: str) -> list[str | float]:
    """Return the places named in a text such as "centre,edge,120mm" or "all"."""
    if text == "all":
        return list(NAMED)
    parts = [part.strip() for part in text.split(",")]
    return [item if item in NAMED else show.quantity("--place", item, "length") for item in parts]


def topography(file: Path, maps: Any) -> dict[str, Any]:
    """Return what a die of the level below left at each of its places [m], on the cells of ``maps``.

    Raises
    ------
    DataError
        If the file holds no die, or one on other cells.
    """
    import numpy as np

    from planish.results.saved import open_result

    below = open_result(file)
    if below.kind != "die":
        raise DataError(refuse(f"{file}: result", below.kind, "that of a die"))
    try:
        surface = np.asarray(below.data["surface"].values, dtype=np.float64)
        names = [str(name) for name in below.data["place"].values]
        cell = float(below.data.attrs["cell"])
        corner = np.array([below.data["x"].values[0], below.data["y"].values[0]], dtype=np.float64) - cell / 2
    except (KeyError, IndexError, TypeError, ValueError) as exc:
        raise DataError(
            f"{file}: holds no die: {type(exc).__name__} {exc} (polish the level below again)"
        ) from None
    if surface.ndim != 3 or len(names) != len(surface) or not np.isfinite(surface).all():
        raise DataError(
            f"{file}: holds no die: no finite surface at each place (polish the level below again)"
        )
    shape = surface.shape[1:]
    if shape != np.shape(maps.density) or abs(cell - maps.cell) > 1e-6 * cell:
        raise DataError(
            refuse(
                f"{file}: cells of the level below",
                f"{shape[1]} x {shape[0]} of {cell * 1e6:g} um",
                f"those of the layout here, {maps.density.shape[1]} x {maps.density.shape[0]} of "
                f"{maps.cell * 1e6:g} um",
                "read both layers with the same --cell over the same box",
            )
        )
    if np.max(np.abs(corner - np.asarray(maps.origin))) > 0.5 * cell:
        raise DataError(
            refuse(
                f"{file}: corner of the level below [mm]",
                tuple(round(float(v) * 1e3, 4) for v in corner),
                f"that of the layout here, {tuple(round(float(v) * 1e3, 4) for v in maps.origin)}",
            )
        )
    return dict(zip(names, surface, strict=True))


def proposed(result: DieResult, ceiling: float) -> FillProposal:
    """Return the dummy fill for the place with the widest range."""
    from planish.predict.die.fill import propose_fill

    return propose_fill(
        result.density, result.cell, result.worst.seen.length, ceiling=ceiling, origin=result.origin
    )


def _print(result: DieResult, proposal: FillProposal | None, json_out: bool, units: str) -> None:
    figures: dict[str, Any] = result.document()
    if proposal is not None:
        figures |= proposal.summary()
    if json_out:
        sources = [*result.sources(), *(proposal.sources() if proposal is not None else ())]
        show.print_json({**figures, "sources": sources})
        return
    show.summary(figures, units)
    if figures["hot_spots"]:
        head = list(figures["hot_spots"][0])
        show.table(head, [list(spot.values()) for spot in figures["hot_spots"]], title="where to look")


def _write(result: DieResult, maps: Any, proposal: FillProposal | None, folder: Path, json_out: bool) -> None:
    from planish.explain.figures.die import feature_figure, fill_figure, layout_figure
    from planish.explain.figures.style import save_figure

    paths = save_figure(result.plot(), folder, "die")
    paths += save_figure(feature_figure(result, maps), folder, "features")
    paths += save_figure(layout_figure(maps), folder, "layout")
    if proposal is not None:
        paths += save_figure(fill_figure(result, proposal), folder, "fill")
        paths.append(_fill_table(proposal, folder / "fill.csv"))
    paths.append(result.save(folder / "die.nc"))
    show.written(paths, json_out)


def _fill_table(proposal: FillProposal, path: Path) -> Path:
    from planish.engine.csv_text import csv_text
    from planish.engine.files import write_whole

    note = "fill proposed by planish: density to add in each tile; check it against the design rules"
    head = ("x_mm", "y_mm", "side_mm", "density_to_add_percent")
    rows = (
        (f"{x * 1e3:.6g}", f"{y * 1e3:.6g}", f"{s * 1e3:.6g}", f"{100 * d:.4g}")
        for x, y, s, d in proposal.tiles
    )
    write_whole(path, csv_text(head, rows, [note]))
    return path


def fit_steps(
    files: list[Path],
    steps: Path,
    layout: Path | None,
    layer: str | None,
    cell: str,
    step_height: str | None,
    json_out: bool,
    out: Path | None,
) -> None:
    """Fit planarization length, blanket rate and contact height to measured test structures."""
    from planish.fit.planarization import StepData, fit_planarization
    from planish.measure.steps import read_steps

    if files:
        raise DataError(
            f"fit --steps: {len(files)} more file(s) given: must be none beside STEPS and --layout"
        )
    if layout is None:
        raise DataError("--layout: not given: must be the layout on which the steps were measured")
    table = read_steps(steps)
    before = (
        table.step_before if step_height is None else show.die_quantity("--step-height", step_height, "step")
    )
    if before is None:
        raise DataError(
            "--step-height: not given: must be the step before polishing, or a column step_before_nm"
        )
    data = StepData(table.x, table.y, table.time, table.up_loss, table.step_left)
    found = fit_planarization(read_maps(layout, layer, cell, json_out), data, step=before)
    figures = {**found.document(), "step_before_nm": before * 1e9}
    if json_out:
        show.print_json(figures)
    else:
        show.summary(figures)
        show.changes(found.changes, "to polish a die with this length, add")
    if out is not None:
        from planish.explain.figures.die import planarization_figure
        from planish.explain.figures.style import save_figure

        show.written(
            save_figure(planarization_figure(found, data), show.make_folder(out), "planarization"), json_out
        )
