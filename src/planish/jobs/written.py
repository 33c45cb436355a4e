"""Which files does an answer come in? Its figures, its tables and its result file, written into one folder."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planish.engine.csv_text import csv_text
from planish.engine.files import write_together, write_whole
from planish.errors import DataError, refuse
from planish.explain.figures.style import save_figure
from planish.results.result import Result
from planish.units import PSI

if TYPE_CHECKING:
    from planish.cost.passing import WaferFlow
    from planish.cost.result import WaferCost
    from planish.cost.saving import CostSaving
    from planish.cost.sensitivity import CostSensitivity
    from planish.explain.comparison.attribution import Comparison
    from planish.explain.comparison.side_by_side import SideBySide
    from planish.fit.calibrate.held import HeldSets
    from planish.fit.calibrate.result import Calibrated
    from planish.fit.planarization import PlanarizationFit
    from planish.fit.removal import RemovalFit
    from planish.fit.unseen import Unseen
    from planish.hold.capability import Capability
    from planish.hold.causes.result import RankedCauses
    from planish.hold.charts.result import ControlChart
    from planish.hold.control.result import ControlTrial
    from planish.hold.endpoint.follow import FollowedTrace
    from planish.hold.endpoint.trace import Trace
    from planish.hold.endpoint.watch import WatchedTrace
    from planish.hold.gauge import GaugeStudy
    from planish.hold.history.view import HistoryView
    from planish.hold.qualify.equivalence import Equivalence, EquivalenceSize
    from planish.hold.qualify.qualified import Qualification
    from planish.hold.run_length.asked import RunLength
    from planish.jobs.dies import DieAnswer
    from planish.jobs.dwell import DwellTable
    from planish.jobs.rates import RatesFit
    from planish.measure.layout.maps import LayoutMaps
    from planish.measure.sites.wafer import MeasuredWafer
    from planish.predict.die.fields_result import FieldsResult
    from planish.predict.die.fill import FillProposal
    from planish.predict.lot.result import LotResult
    from planish.predict.wafer.result import WaferResult
    from planish.tuning.design.response import ResponseSurface
    from planish.tuning.platens.result import TunedPlatens
    from planish.tuning.study.result import StudyResult
    from planish.tuning.tradeoffs.result import TradeOff
    from planish.tuning.tuned import Tuned


def write_files(answer: Any, folder: Path, units: str = "trade") -> list[Path]:
    """Write an answer's figures (PNG and SVG), tables (CSV) and result file, each whole or not at all.

    Parameters
    ----------
    answer
        A wafer, a lot, a study, a trade-off, fields, a die on its layout, a dwell table for its setup, layout maps, a measured wafer,
        measured sets, fitted numbers, a fit of removal, rates or steps, guessed rates, a control chart, a run length,
        a capability, a gauge study, a trial of control, a qualification, a test of equivalence, wafers of a history,
        ranked causes.
    folder
        Where to; it must exist.
    units
        Of the profiles in a wafer's figures, "trade" or "si".

    Returns
    -------
    list[Path]
        What was written, in that order.

    Raises
    ------
    DataError
        For an answer that no files are known for, or where they cannot be written.
    """
    kind = answer.kind if isinstance(answer, Result) else type(answer).__name__
    if kind not in _WRITERS:
        raise DataError(refuse("files of an answer", kind, f"one of {', '.join(_WRITERS)}"))
    return _WRITERS[kind](answer, folder, units)


def _wafer(result: WaferResult, folder: Path, units: str) -> list[Path]:
    from planish.explain.figures.machine import machine_plan
    from planish.explain.figures.wafer import edge_figure, map_figure

    return [
        *save_figure(result.plot(units=units), folder, "profiles"),
        *save_figure(edge_figure(result, units), folder, "edge"),
        *save_figure(map_figure(result), folder, "map"),
        *save_figure(machine_plan(result.rig), folder, "machine"),
        result.save(folder / "wafer.nc"),
        _text(folder / "profile.csv", profile_csv(result)),
    ]


def profile_csv(result: WaferResult) -> str:
    """Return a wafer's profiles as a table of text, a row a radius, the same for command and page.

    Parameters
    ----------
    result
        The polished wafer.

    Returns
    -------
    str
        Comma-separated: radius, removed, remaining in all and of each film; pressure and speed of each step. Each
        column's name ends with its unit.
    """
    head = ["radius_mm", "removed_nm", "remaining_nm", *[f"{film}_remaining_nm" for film in result.films]]
    columns = [1e3 * result.radius, 1e9 * result.removed, 1e9 * result.remaining.sum(axis=0)]
    columns += list(1e9 * result.remaining)
    for step in result.steps:
        head += [f"{step.name}_pressure_psi", f"{step.name}_speed_m_per_s"]
        columns += [step.pressure / PSI, step.speed]
    return csv_text(head, ([f"{value:.6g}" for value in row] for row in zip(*columns, strict=True)))


def _lot(result: LotResult, folder: Path, units: str) -> list[Path]:
    from planish.explain.figures.lot import pad_figure, summit_figure

    result.save(folder)
    return [
        *(folder / name for name in ("lot.parquet", "lot.nc", "summary.json")),
        *save_figure(result.plot(), folder, "lot"),
        *save_figure(pad_figure(result), folder, "pad"),
        *save_figure(summit_figure(result), folder, "summits"),
    ]


def _die(answer: DieAnswer, folder: Path, units: str) -> list[Path]:
    from planish.explain.figures.die import feature_figure, layout_figure

    paths = save_figure(answer.result.plot(), folder, "die")
    paths += save_figure(feature_figure(answer.result, answer.maps), folder, "features")
    paths += save_figure(layout_figure(answer.maps), folder, "layout")
    if answer.fill is not None:
        paths += save_figure(answer.fill.plot(), folder, "fill")
        paths.append(_fill_table(answer.fill, folder / "fill.csv"))
    return [*paths, answer.result.save(folder / "die.nc")]


def _fill_table(fill: FillProposal, path: Path) -> Path:
    note = "fill proposed by planish: density to add in each tile; check it against the design rules"
    head = ("x_mm", "y_mm", "side_mm", "density_to_add_percent")
    rows = (
        (f"{x * 1e3:.6g}", f"{y * 1e3:.6g}", f"{s * 1e3:.6g}", f"{100 * d:.4g}") for x, y, s, d in fill.tiles
    )
    return _table(path, head, rows, note)


def _fields(result: FieldsResult, folder: Path, units: str) -> list[Path]:
    return [*save_figure(result.plot(), folder, "fields"), result.save(folder / "fields.nc")]


def _study(result: StudyResult, folder: Path, units: str) -> list[Path]:
    from io import BytesIO

    held = BytesIO()
    result.runs.write_parquet(held)
    table = folder / "runs.parquet"
    write_whole(table, held.getvalue())
    drawn = save_figure(result.plot(), folder, "study") if result.refused < result.design.size else []
    return [table, result.save(folder / "study.nc"), *drawn]


def _dwell(answer: DwellTable, folder: Path, units: str) -> list[Path]:
    from planish.explain.figures.lot import sweep_figure

    paths, setup = save_figure(sweep_figure(answer.design), folder, "sweep"), folder / "setup.toml"
    write_whole(setup, answer.with_table().to_toml().encode())
    return [*paths, setup]


def _cost(answer: WaferCost, folder: Path, units: str) -> list[Path]:
    rows = answer.rows()
    cells = (
        [
            "" if cell is None else f"{cell:.6g}" if isinstance(cell, float) else str(cell)
            for cell in row.values()
        ]
        for row in rows
    )
    note = f"money: {answer.currency or 'not named'}; an empty cell is not known"
    return [
        *save_figure(answer.plot(), folder, "cost"),
        _table(folder / "cost.csv", list(rows[0]), cells, note),
        answer.save(folder / "cost.nc"),
    ]


def _saving(answer: CostSaving, folder: Path, units: str) -> list[Path]:
    return [*save_figure(answer.plot(), folder, "saving"), answer.save(folder / "saving.nc")]


def _sensitivity(answer: CostSensitivity, folder: Path, units: str) -> list[Path]:
    return [*save_figure(answer.plot(), folder, "tornado"), answer.save(folder / "tornado.nc")]


def _flow(answer: WaferFlow, folder: Path, units: str) -> list[Path]:
    return [*save_figure(answer.plot(), folder, "flow"), answer.save(folder / "flow.nc")]


def _surface(answer: ResponseSurface, folder: Path, units: str) -> list[Path]:
    return [*save_figure(answer.plot(), folder, "surface"), answer.save(folder / "surface.nc")]


def _trace(answer: Trace, folder: Path, units: str) -> list[Path]:
    return [*save_figure(answer.plot(), folder, "trace"), answer.save(folder / "trace.nc")]


def _followed(answer: FollowedTrace, folder: Path, units: str) -> list[Path]:
    return [*save_figure(answer.plot(), folder, "followed"), answer.save(folder / "followed.nc")]


def _watched(answer: WatchedTrace, folder: Path, units: str) -> list[Path]:
    return [*save_figure(answer.plot(), folder, "watched"), answer.save(folder / "watched.nc")]


def _comparison(answer: Comparison | SideBySide, folder: Path, units: str) -> list[Path]:
    return [*save_figure(answer.plot(), folder, "comparison"), answer.save(folder / "comparison.nc")]


def _tuned(answer: Tuned, folder: Path, units: str) -> list[Path]:
    setup = folder / "setup.toml"
    write_whole(setup, answer.tuned().to_toml().encode())
    return [*save_figure(answer.plot(), folder, "tuned"), setup, answer.save(folder / "tuned.nc")]


def _platens(answer: TunedPlatens, folder: Path, units: str) -> list[Path]:
    """Write the setups, all or none, then the picture and the result."""
    setups = {
        folder / f"{number}-{_stem(setup.name)}.toml": setup.to_toml()
        for number, setup in enumerate(answer.tuned(), 1)
    }
    write_together(setups)
    return [*setups, *save_figure(answer.plot(), folder, "platens"), answer.save(folder / "platens.nc")]


def _stem(name: str) -> str:
    """Return the name of a setup file without its ending, as it may stand in another file's name."""
    return re.sub(r"[^\w.-]+", "-", Path(name).stem).strip("-.") or "setup"


def _tradeoff(answer: TradeOff, folder: Path, units: str) -> list[Path]:
    drawn = save_figure(answer.plot(), folder, "front")
    return [
        *drawn,
        _text(folder / "points.csv", points_csv(answer)),
        answer.save(folder / "trade-off.nc"),
    ]


def points_csv(answer: TradeOff) -> str:
    """Return the points of a front as a table of text, the same for command and page.

    Parameters
    ----------
    answer
        The front.

    Returns
    -------
    str
        Comma-separated, a row a point: its number, what it is on the front, the figures of the aims, the values of the
        knobs as a setup file has them (nothing where the setup as it stands is the point).
    """
    keys = [knob.path for knob in answer.knobs]
    head = ["point", "where", *(aim.figure for aim in answer.aims), *keys]
    rows = (
        [
            str(point.number),
            point.where,
            *(f"{value:.6g}" for value in point.figures),
            *(str(point.changes.get(key, "")) for key in keys),
        ]
        for point in answer.points
    )
    return csv_text(head, rows)


def write_point(answer: TradeOff, number: int, folder: Path) -> Path:
    """Write the setup of one point of a front.

    Parameters
    ----------
    answer
        The front.
    number
        Of the point, from 1.
    folder
        Where to; it must exist.

    Returns
    -------
    Path
        Of the setup file, comments kept.

    Raises
    ------
    DataError
        For a point that there is not, or where it cannot be written.
    """
    return _text(folder / f"point-{number}.toml", answer.setup(number).to_toml())


def _chart(answer: ControlChart, folder: Path, units: str) -> list[Path]:
    return [
        *save_figure(answer.plot(), folder, "chart"),
        _text(folder / "points.csv", points_of_chart_csv(answer)),
        answer.save(folder / "chart.nc"),
    ]


def points_of_chart_csv(answer: ControlChart) -> str:
    """Return the points of a control chart as a table of text, a row a point.

    Parameters
    ----------
    answer
        The chart.

    Returns
    -------
    str
        Comma-separated: row of the table, phase, the lines and limits of each panel, and the rules met there.
    """
    head = ["row", "phase"]
    columns = [[str(row) for row in answer.rows], [answer.phases[at].name for at in answer.phase]]
    for panel in answer.panels:
        names = [panel.name] if len(panel.series) == 1 else [f"{panel.name}, rises", f"{panel.name}, falls"]
        lines = [*panel.series, panel.lower, panel.upper]
        head += [*names, f"{panel.name} lower limit", f"{panel.name} upper limit"]
        columns += [["" if value != value else f"{value:.8g}" for value in line] for line in lines]
    met: dict[int, list[str]] = {}
    for alarm in answer.alarms:
        met.setdefault(alarm.point, []).append(alarm.rule)
    head.append("alarms")
    columns.append(["; ".join(dict.fromkeys(met.get(at, ()))) for at in range(len(answer.rows))])
    return csv_text(head, zip(*columns, strict=True))


def _history(answer: HistoryView, folder: Path, units: str) -> list[Path]:
    return [
        *save_figure(answer.plot(), folder, "history"),
        _text(folder / "wafers.csv", wafers_of_history_csv(answer)),
        answer.save(folder / "history.nc"),
    ]


def wafers_of_history_csv(answer: HistoryView) -> str:
    """Return wafers of a history as a table of text, a row a wafer.

    Parameters
    ----------
    answer
        The wafers.

    Returns
    -------
    str
        Comma-separated: when, what and where, figures whose names end in their unit, and settings by their path.
    """
    names = list(dict.fromkeys(name for row in answer.rows for name in row)) or ["polished"]
    cells = ([_cell(row.get(name)) for name in names] for row in answer.rows)
    return csv_text(names, cells)


def _cell(value: object) -> str:
    return "" if value is None else f"{value:.8g}" if isinstance(value, float) else str(value)


def _run_length(answer: RunLength, folder: Path, units: str) -> list[Path]:
    return [*save_figure(answer.plot(), folder, "run-length"), answer.save(folder / "run-length.nc")]


def _capability(answer: Capability, folder: Path, units: str) -> list[Path]:
    return [*save_figure(answer.plot(), folder, "capability"), answer.save(folder / "capability.nc")]


def _gauge(answer: GaugeStudy, folder: Path, units: str) -> list[Path]:
    return [*save_figure(answer.plot(), folder, "gauge"), answer.save(folder / "gauge.nc")]


def _trial(answer: ControlTrial, folder: Path, units: str) -> list[Path]:
    written = {}
    for name in ("controls", "course"):
        columns = answer.tables()[name]
        cells = zip(*columns.values(), strict=True)
        rows = [
            "" if one is None else f"{one:.6g}" if isinstance(one, float) else str(one)
            for row in cells
            for one in row
        ]
        width = len(columns)
        lines = [rows[at : at + width] for at in range(0, len(rows), width)]
        written[folder / f"{name}.csv"] = csv_text(list(columns), lines)
    write_together(written)
    return [*save_figure(answer.plot(), folder, "control"), *written, answer.save(folder / "control.nc")]


def _qualification(answer: Qualification, folder: Path, units: str) -> list[Path]:
    return [*save_figure(answer.plot(), folder, "qualification"), answer.save(folder / "qualification.nc")]


def _equivalence(answer: Equivalence | EquivalenceSize, folder: Path, units: str) -> list[Path]:
    return [*save_figure(answer.plot(), folder, "equivalence"), answer.save(folder / "equivalence.nc")]


def _causes(answer: RankedCauses, folder: Path, units: str) -> list[Path]:
    return [*save_figure(answer.plot(), folder, "causes"), answer.save(folder / "causes.nc")]


def _held(answer: HeldSets, folder: Path, units: str) -> list[Path]:
    return [*save_figure(answer.plot(), folder, "held"), answer.save(folder / "held.nc")]


def _calibrated(answer: Calibrated, folder: Path, units: str) -> list[Path]:
    setup = folder / "fitted.toml"
    write_whole(setup, answer.to_toml().encode())
    return [*save_figure(answer.plot(), folder, "fit"), setup, answer.save(folder / "fit.nc")]


def _layout(maps: LayoutMaps, folder: Path, units: str) -> list[Path]:
    from planish.explain.figures.die import layout_figure

    return [maps.save(folder / "maps.npz"), *save_figure(layout_figure(maps), folder, "layout")]


def _measured(wafer: MeasuredWafer, folder: Path, units: str) -> list[Path]:
    from planish.explain.figures.sites import sites_figure

    return save_figure(sites_figure(wafer.removal), folder, "removal")


def _removal(fit: RemovalFit, folder: Path, units: str) -> list[Path]:
    from planish.explain.figures.sites import fit_figure

    return save_figure(fit_figure(fit), folder, "fit")


def _steps(fit: PlanarizationFit, folder: Path, units: str) -> list[Path]:
    from planish.explain.figures.die import planarization_figure

    return save_figure(planarization_figure(fit), folder, "planarization")


def _rates(fit: RatesFit, folder: Path, units: str) -> list[Path]:
    from planish.explain.figures.traces import residual_figure, trace_figure

    paths = save_figure(trace_figure(fit.law), folder, "traces")
    return [*paths, *save_figure(residual_figure(fit.law), folder, "residuals")]


def _guessed(rates: Unseen, folder: Path, units: str) -> list[Path]:
    return [rates.save_table(folder / "predicted-rates.csv")]


def _table(path: Path, head: Sequence[str], rows: Iterable[Sequence[str]], *notes: str) -> Path:
    return _text(path, csv_text(head, rows, notes))


def _text(path: Path, text: str) -> Path:
    write_whole(path, text)
    return path


#: Kind of answer to what writes its files.
_WRITERS: dict[str, Callable[[Any, Path, str], list[Path]]] = {
    "one wafer": _wafer,
    "lot": _lot,
    "DieAnswer": _die,
    "fields": _fields,
    "study": _study,
    "DwellTable": _dwell,
    "cost of a wafer": _cost,
    "saving": _saving,
    "cost sensitivity": _sensitivity,
    "flow of wafers": _flow,
    "comparison": _comparison,
    "side by side": _comparison,
    "response surface": _surface,
    "trace": _trace,
    "followed trace": _followed,
    "watched trace": _watched,
    "tuned settings": _tuned,
    "tuned platens": _platens,
    "trade-off": _tradeoff,
    "control chart": _chart,
    "history": _history,
    "run length": _run_length,
    "capability": _capability,
    "gauge study": _gauge,
    "control trial": _trial,
    "qualification": _qualification,
    "equivalence": _equivalence,
    "equivalence size": _equivalence,
    "ranked causes": _causes,
    "measured sets": _held,
    "calibration": _calibrated,
    "layout maps": _layout,
    "measured wafer": _measured,
    "removal fit": _removal,
    "planarization fit": _steps,
    "rates fit": _rates,
    "guessed rates": _guessed,
}
