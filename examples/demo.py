"""The main job in one go: three polishers, measured wafers, real tool traces, one page.

Writes ``out/demo/index.html`` (self-contained) and prints what it does. The wafers and setups are an
invented scenario; the traces are open data if they are found, else invented ones, and the page says which.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import planish
from planish.engine.files import write_whole
from planish.explain.figures.machine import machines_side_by_side, speeds_text
from planish.explain.figures.traces import residual_figure, trace_figure
from planish.explain.figures.wafer import map_figure, side_by_side_figure, wafer_figure
from planish.explain.findings import findings
from planish.explain.page import Part, render
from planish.explain.report import measured_part
from planish.explain.words import label
from planish.jobs.measured import measured_against
from planish.jobs.rates import RatesFit, fit_rates, invented_measured_wafers, read_measured_wafers

HERE = Path(__file__).parent
OUT = HERE.parent / "out" / "demo"
MOTIONS = ("rotary", "linear", "orbital")


def main() -> int:
    """Run the demo; returns the exit code."""
    start = time.perf_counter()
    sources: list[str] = []
    wafers = {motion: planish.polish(planish.load(HERE / f"{motion}.toml")) for motion in MOTIONS}
    for motion, wafer in wafers.items():
        figures = wafer.summary()
        say(
            f"{motion:8} {figures['mean_removal_rate_nm_per_min']:6.0f} nm/min   "
            f"even within {figures['wiwnu_sigma_percent']:.2f} % (1 sigma)   "
            f"pad at most {figures['peak_temperature_C']:.0f} °C"
        )
        sources += wafer.sources()
    parts = [motions_part(wafers), wafer_part(wafers["rotary"]), compared_part(sources), traces_part(sources)]
    page = render(
        "planish: one wafer, end to end",
        parts,
        list(dict.fromkeys(sources)),
        lead="Three ways to move the pad, one wafer on each; a measured wafer beside its prediction; and a rate "
        "law fitted to a polisher's own traces. Setups and wafers here are an invented scenario.",
    )
    write_whole(OUT / "index.html", page.encode("utf-8"))
    say(f"wrote {OUT.relative_to(HERE.parent) / 'index.html'} in {time.perf_counter() - start:.0f} s")
    return 0


def say(words: str) -> None:
    """Print one line."""
    sys.stdout.write(words + "\n")


def motions_part(wafers: dict[str, planish.WaferResult]) -> Part:
    """Return the three motions side by side."""
    part = Part("Three motions, side by side")
    keys = (
        "mean_removal_rate_nm_per_min",
        "wiwnu_sigma_percent",
        "wiwnu_range_percent",
        "mean_speed_m_per_s",
        "peak_temperature_C",
        "fresh_fraction_percent",
        "time_s",
    )
    figures = {motion: wafer.summary() for motion, wafer in wafers.items()}
    rows = [[label(key), *(figures[motion][key] for motion in MOTIONS)] for key in keys]
    part.table(
        ["", *MOTIONS], rows, "Setups invented for this demo; the same film and target on each machine."
    )
    part.figure(
        side_by_side_figure(wafers), "Rate, shape of the rate, and pad temperature on the three machines."
    )
    rigs = {motion: wafer.rig for motion, wafer in wafers.items()}
    words = "; ".join(f"{motion}: {speeds_text(rig, rig.steps[1])}" for motion, rig in rigs.items())
    return part.figure(
        machines_side_by_side(rigs, 1),
        f"The machines in plan, each to its own scale, with the path of a wafer point on the pad. {words}.",
    )


def wafer_part(wafer: planish.WaferResult) -> Part:
    """Return the rotary wafer in depth."""
    part = Part("One wafer, across its radius")
    part.listing([item.text for item in findings(wafer)])
    part.figure(wafer_figure(wafer), "Pressure, speed, rate and film, step by step; grey: edge exclusion.")
    return part.figure(map_figure(wafer), "Removed and remaining film; dashed: edge exclusion.")


def compared_part(sources: list[str]) -> Part:
    """Return a measured wafer (invented) beside its prediction, and the fit of k_p."""
    against = measured_against(
        planish.load(HERE / "rotary.toml"),
        HERE / "data" / "wafer-before.csv",
        HERE / "data" / "wafer-after.csv",
    )
    part = measured_part(against)
    part.title = "Predicted against measured (invented measurements)"
    fitted = against.fitted()
    sources += fitted.sources()
    say(f"measured wafer (invented): measured / predicted = {fitted.scale:.3f} ± {fitted.scale_error:.1g}")
    return part


def traces_part(sources: list[str]) -> Part:
    """Return the rate law fitted to tool traces: open data where found, else invented ones."""
    folder = Path(os.environ.get("PLANISH_DATA", HERE.parent.parent / "shared" / "data")) / "phm2016"
    if (folder / "training-traces.parquet").exists():
        part = Part("A real polisher's traces")
        part.text(
            "Open data of the PHM Society's 2016 data challenge, read where they lie and not part of this project. "
            "Pressures, speeds and flows were scaled by the publisher, so they are relative; rates are as published."
        )
        wafers = read_measured_wafers(
            folder / "training-traces.parquet",
            folder / "training-rates.parquet",
            "PHM Society data challenge 2016, training part",
        )
    else:
        part = Part("Tool traces (invented)")
        part.note(
            "The open traces (PHM Society, 2016 data challenge) were not found, so this part runs on generated "
            "traces of an invented scenario. Put the open data into a folder phm2016 and name its parent in "
            "PLANISH_DATA to run on real wafers."
        )
        wafers = invented_measured_wafers(seed=11)
        say("open traces not found: using generated ones")
    found = fit_rates(wafers)
    fitted = found.law
    part.table(*errors_table(found))
    part.figure(
        trace_figure(fitted), "Rates in order of time; the model learned left of the dashed line only."
    )
    part.figure(residual_figure(fitted), "What is left, on wafers the model had not seen.")
    for regime in fitted.regimes:
        part.listing([f"{regime.name}: {sentence}" for sentence in regime.sentences])
    sources += [f"traces: {wafers.source}", *fitted.sources()]
    errors = fitted.rmse
    say(
        f"traces ({wafers.source}): RMSE on wafers left out by time {errors['law_and_drift']:.2f}, "
        f"mean of regime {errors['mean']:.2f}, last three wafers {errors['last_three']:.2f}"
    )
    return part


def errors_table(found: RatesFit) -> tuple[list[str], list[list[object]], str]:
    """Return head, rows and caption of the table of errors by regime and model."""
    fitted = found.law
    models = ("mean", "last_three", "law", "law_and_drift")
    words = ["mean of regime", "last three wafers", "law from traces", "law and followed drift"]
    rows: list[list[object]] = [
        [regime.name, regime.n_left_out, *(regime.rmse[model] for model in models)]
        for regime in fitted.regimes
    ]
    rows.append(["all", sum(r.n_left_out for r in fitted.regimes), *(fitted.rmse[model] for model in models)])
    return (
        ["regime", "wafers left out", *words],
        rows,
        "RMSE on wafers left out by time, in the unit of the rates",
    )


if __name__ == "__main__":
    sys.exit(main())
