"""What a user writes with planish, for a type checker to read (`test_types.py` runs it over this file).

Nothing here is run by the tests. Every public name is used once; each type that a user would write
down is asserted.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import assert_type

import numpy as np
import xarray as xr
from matplotlib.figure import Figure
from numpy.typing import NDArray

import planish
from planish import (
    Band,
    Calibrated,
    Capability,
    ChangeWatcher,
    Cleaned,
    Coefficient,
    Comparison,
    ControlAdvice,
    ControlChart,
    ControlledStep,
    ControlNews,
    ControlTrial,
    CostSaving,
    CostSensitivity,
    DieResult,
    DiskFit,
    DiskSeries,
    Equivalence,
    EquivalenceSize,
    FieldsResult,
    FilmFollower,
    FilmState,
    FilmView,
    Finding,
    FollowedTrace,
    GaugeStudy,
    HeldSets,
    History,
    HistoryView,
    Law,
    LawFit,
    LayoutMaps,
    LotResult,
    MeasuredWafer,
    NestedVariance,
    Observed,
    OverPolish,
    PartRow,
    PlanishError,
    Qualification,
    RankedCauses,
    RemovalFit,
    ResponseSurface,
    Result,
    RunLength,
    RunSheet,
    SavedResult,
    Setup,
    SideBySide,
    SiteMap,
    Spreads,
    StudyResult,
    Term,
    Trace,
    TradeOff,
    Tuned,
    TunedPlatens,
    WaferCost,
    WaferFlow,
    WaferResult,
    WatchedTrace,
    WatchState,
)

Array = NDArray[np.float64]


def describe(path: Path) -> Setup:
    assert_type(planish.__version__, str)
    text = planish.new_setup("rotary")
    assert_type(text, str)
    assert_type(planish.loads(text), Setup)
    findings = planish.check(path)
    assert_type(findings, list[Finding])
    rows = planish.list_parts("pad")
    assert_type(rows[0], PartRow)
    assert_type(rows[0].unit, str)
    assert_type(planish.json_schema(), dict[str, object])
    setup = planish.load(path)
    assert_type(setup, Setup)
    assert_type(setup.notes, tuple[str, ...])
    return setup.replace({"pad.part": "medium-microporous"})


def own_law(c: Mapping[str, float | Array], p: Array, v: Array, temperature: Array) -> Array:
    return np.asarray(c["k"] * np.sqrt(p) * v)


def law() -> Law:
    made = Law(
        name="root",
        meaning="as the root of the pressure",
        formula="k sqrt(p) v",
        coefficients=(Coefficient("k", "rate at 1 Pa and 1 m/s", "1/Pa^0.5"),),
        terms=(Term("k sqrt(p) v", "mechanical", own_law),),
        scaling=("k",),
        sources=("invented",),
    )
    assert_type(made.coefficients[0].name, str)
    return made


def predict(setup: Setup, maps: LayoutMaps) -> tuple[WaferResult, LotResult, DieResult]:
    wafer = planish.polish(setup)
    assert_type(wafer.radius, Array)
    assert_type(wafer.steps[0].pressure, Array)
    assert_type(wafer.data, xr.Dataset)
    assert_type(wafer.plot(units="si"), Figure)
    assert_type(wafer.save("wafer.nc"), Path)
    assert_type(wafer.sources(), list[str])
    assert_type(wafer.summary(), dict[str, float | int | bool | str | None])
    assert_type(wafer.tables(), dict[str, dict[str, list[float | int | bool | str | None]]])
    assert_type(wafer.document(), dict[str, object])
    assert_type(wafer.notes, tuple[str, ...])
    assert_type(planish.polish("setup.toml"), WaferResult)
    assert_type(planish.polish(setup.rig), WaferResult)
    assert_type(planish.polish_band(setup), dict[str, Band])
    assert_type(planish.lot_band(setup, 20, seed=1), dict[str, Band])
    assert_type(planish.die_band([setup], maps), dict[str, Band])
    cost = planish.cost_of(setup, 50)
    assert_type(cost, WaferCost)
    saving = planish.cost_saving(cost, cost)
    assert_type(saving, CostSaving)
    assert_type(saving.against.total, float | None)
    assert_type(planish.cost_sensitivity(setup, 0.2, 50), CostSensitivity)
    flow = planish.flow_wafers(setup, 400, lot=50, arrival=240.0, seed=1)
    assert_type(flow, WaferFlow)
    assert_type(flow.pace(), tuple[float, float])
    assert_type(planish.compare_all([setup, setup], cost_wafers=4), SideBySide)
    sheet = planish.design_runs(
        setup, {"head.ring.gap": "0.4..0.9 mm", "recipe.step.main.flow": "150..250 ml/min"}
    )
    assert_type(sheet, RunSheet)
    assert_type(planish.fit_runs(sheet, model="linear"), ResponseSurface)
    assert_type(planish.clean_wafer(setup, ["brush 1 m/s"], sizes=[30e-9]), Cleaned)
    lot = planish.polish_lot(Path("setup.toml"), 200, seed=1, events=["100 pad"])
    assert_type(lot.records.rate, Array)
    assert_type(lot.end_of_life(), tuple[int | None, str | None])
    die = planish.polish_die(setup, maps, place=["centre", "edge"])
    assert_type(die.surface(), Array)
    assert_type(planish.polish_die([setup, setup], maps), DieResult)
    fields = planish.polish_fields(setup, maps, workers=2)
    assert_type(fields, FieldsResult)
    assert_type(fields.x, Array)
    assert_type(fields.values(), dict[str, Array])
    study = planish.study(setup, {"head.ring.gap": "0.3..1 mm/8"}, folder="out/study", workers=2)
    assert_type(study, StudyResult)
    assert_type(study.outcome("wiwnu_sigma_percent"), Array)
    saved = planish.open_result("wafer.nc")
    assert_type(saved, SavedResult)
    assert_type(saved.plot(), Figure)
    assert_type(saved.setup_texts, tuple[str, ...])
    assert_type(saved.seed, int | None)
    assert_type(saved.rerun(), Result)
    return wafer, lot, die


def measure(before: Path, after: str) -> MeasuredWafer:
    sites = planish.read_sites(before)
    assert_type(sites, SiteMap)
    assert_type(sites.value, Array)
    maps = planish.read_layout_maps("chip.gds", 1, 0, 100e-6)
    assert_type(maps, LayoutMaps)
    assert_type(maps.density, Array)
    study = planish.nested_variance(
        {"lot": ["a", "a", "b", "b"], "wafer": [1, 2, 1, 2]}, [1.0, 2.0, 3.0, 4.0]
    )
    assert_type(study, NestedVariance)
    assert_type(study.components[0].percent, float)
    assert_type(planish.read_nested("lots.csv", ["lot", "wafer"], "removal_nm"), NestedVariance)
    measured = planish.measure_wafer(before, after, time_s=60.0)
    assert_type(measured.removal, SiteMap)
    assert_type(measured["sites"], object)
    return measured


def held(file: Path) -> ControlChart:
    chart = planish.hold_chart(file, ["rate", "wiwnu"], "t2", baseline=30, new_phase=[101])
    assert_type(chart, ControlChart)
    assert_type(chart.upper, float)
    assert_type(chart.alarms[0].cause, str)
    assert_type(chart.panels[0].upper, Array)
    assert_type(chart.arl, float | None)
    assert_type(planish.hold_run_length("ewma", 2.8, weight=0.1, drift=0.01), RunLength)
    assert_type(planish.hold_limit("cusum", 500).limit, float)
    fits = planish.hold_capability({"rate": [1.0, 2.0, 3.0]}, "rate", 0.0, 4.0)
    assert_type(fits, Capability)
    assert_type(fits.cpk.value, float | None)
    study = planish.hold_gauge("gauge.csv", "rate", "wafer", "tool")
    assert_type(study, GaugeStudy)
    assert_type(study.parts[0].sd, float)
    released = planish.hold_qualify("new-pad.csv", Path("checklist.toml"), by="A. Person")
    assert_type(released, Qualification)
    assert_type(released.sign("new-pad.json", key=b"sixteen bytes or more"), Path)
    assert_type(planish.read_qualification("new-pad.json"), Qualification)
    alike = planish.hold_equivalence("pads.csv", "rate", "pad", "A", "B", "3 %")
    assert_type(alike, Equivalence)
    assert_type(alike.interval, tuple[float, float])
    assert_type(planish.hold_equivalence_size(4.0, 7.0), EquivalenceSize)
    return chart


def observed(setup: Setup) -> list[Observed]:
    sets = planish.observe(setup, "before.csv", Path("after.csv"), time="60 s", columns={"x": "Pos X"})
    assert_type(sets, list[Observed])
    assert_type(sets[0].values, Array)
    assert_type(sets[0].predict(setup), Array)
    assert_type(sets[0].slow, bool)
    assert_type(planish.hold_against(setup, sets), HeldSets)
    return sets


def explain(wafer: WaferResult, measured: MeasuredWafer, other: Setup) -> RemovalFit | None:
    comparison = planish.compare("setup.toml", other)
    assert_type(comparison, Comparison)
    assert_type(comparison.shares, dict[str, dict[str, float]])
    assert_type(planish.write_report(wafer, "report.html", measured.paired), Path)
    try:
        fit = planish.fit_wafer(wafer, measured)
    except PlanishError as error:
        assert_type(error, PlanishError)
        return None
    assert_type(planish.fit_wafer(wafer, measured.removal), RemovalFit)
    law = planish.fit_law("preston", [1e4, 2e4], 1.0, [1e-9, 2e-9])
    assert_type(law, LawFit)
    assert_type(law.misfit, float)
    assert_type(fit.k_p, float)
    return fit


def disks(use: Array, cut_rate: Array) -> DiskFit:
    fit = planish.fit_disks([DiskSeries("coarse", 150e-6, 1e5, 40.0, use, cut_rate)], hardness=50e6)
    assert_type(fit, DiskFit)
    assert_type(fit.level(fit.series[0]), tuple[float, float])
    assert_type(fit.predict(fit.series[0]), Array)
    return fit


def trade_off(setup: Setup) -> TradeOff:
    found = planish.choose(
        setup, {"recipe.step.main.ring_pressure": "2..6 psi", "pad.part": "hard-solid, hard-microporous"},
        ["rate", "evenness"], limits={"wiwnu_sigma_percent": "..3"}, runs=60, workers=2,
    )  # fmt: skip
    assert_type(found, TradeOff)
    return found


def settings(setup: Setup) -> Tuned:
    found = planish.tune(
        setup, incoming="sites.csv", target="450 nm", bounds={"time": "..90 s"}, neighbour=1e4
    )
    assert_type(found, Tuned)
    assert_type(found.before, WaferResult)
    assert_type(found.tuned(), Setup)
    in_turn = planish.tune([setup, setup], target="200 nm", longest="90 s")
    assert_type(in_turn, TunedPlatens)
    assert_type(in_turn.tuned(), tuple[Setup, ...])
    return found


def numbers(setup: Setup, rates: Array) -> Calibrated:
    def predict(there: Setup) -> Array:
        return np.full(rates.size, there.si("removal.oxide.rate"))

    groups = np.arange(rates.size, dtype=np.int64)
    observed = Observed("rates", "rate", rates, 0.0 * rates, "m/s", groups, predict, (), (), {})
    found = planish.calibrate(setup, [observed], ["removal.oxide.rate"], bounds={}, level=0.9)
    assert_type(found, Calibrated)
    assert_type(found.fitted(), Setup)
    assert_type(found.to_toml(), str)
    return found


def light(setup: Setup) -> FollowedTrace:
    shares = planish.reflectance([1.0, planish.optical_index("silica", 633.0), 3.88 + 0.02j], [500.0], 633.0)
    assert_type(shares.reflected, Array)
    view = FilmView.of("silica", "632.8 nm", angle="8 deg")
    following = FilmFollower(view, target=5e-7, start=("930 nm", "1070 nm"), rate=("2 nm/s", "7 nm/s"))
    assert_type(following.feed(0.0, 0.3), FilmState)
    watching = ChangeWatcher(by="slope", direction="down", block="1 s")
    assert_type(watching.feed(0.0, 1.0), WatchState)
    trace = planish.invent_trace(setup, seed=4, angle="8 deg")
    assert_type(trace, Trace)
    assert_type(planish.read_trace("light.csv"), Trace)
    assert_type(planish.watch_trace(trace, by="slope"), WatchedTrace)
    assert_type(planish.over_polish("60 s", "99.9 %", rate_spread="3 %"), OverPolish)
    return planish.follow_trace(trace, "500 nm", light="632.8 nm", start="930..1070 nm")


def held_on(setup: Setup) -> ControlTrial:
    step = planish.begin_control(setup, "step", by="ada", when="2026-03-02T08:00:00Z", spreads=Spreads())
    assert_type(step, ControlledStep)
    assert_type(step.advise(when="2026-03-02T08:01:00Z"), ControlAdvice)
    assert_type(step.approve(1, by="ada", when="2026-03-02T08:02:00Z"), ControlNews)
    assert_type(planish.stop_control("step", when="2026-03-02T09:00:00Z"), str)
    found = planish.try_control(setup, wafers=50, seeds=2)
    assert_type(found, ControlTrial)
    return found


def kept(setup: Setup) -> RankedCauses:
    with planish.open_history("history.sqlite") as history:
        assert_type(history, History)
        assert_type(history.wafers(tool="A", last=50), HistoryView)
        assert_type(history.chart("rate_nm_per_min", filters={"month": "2026-03"}, baseline=30), ControlChart)
    found = planish.rank_causes(setup, "before.csv", "after.csv", baseline=26)
    assert_type(found, RankedCauses)
    return found
