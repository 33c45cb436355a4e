"""Traces and nested variance: the figures asked for, and how long the whole real-data fit takes.

Run: ``python benchmarks/bench_traces.py``. Needs the open data (PLANISH_DATA or ../shared/data);
without them the invented traces stand in and the table says so.
"""

from __future__ import annotations

import os
import time
from pathlib import Path

import numpy as np


def row(what: str, measured: str, bar: str) -> None:
    print(f"| {what} | {measured} | {bar} |")


def main() -> None:
    from planish.fit.consumables import fit_consumables
    from planish.fit.forest import learn_rates
    from planish.fit.traces import fit_rate_law
    from planish.fit.unseen_check import check_unseen
    from planish.measure.nested import read_nested
    from planish.measure.traces.invented import invented_traces
    from planish.measure.traces.read import read_rates, read_traces
    from planish.measure.traces.wafers import cut_wafers

    root = Path(os.environ.get("PLANISH_DATA") or Path(__file__).resolve().parents[2] / "shared" / "data")
    print("| what | measured | bar |\n|---|---|---|")
    oxide = root / "wafers" / "oxide-lots.csv"
    if oxide.exists():
        sd = read_nested(oxide, ["lot", "wafer", "site"], "thickness").document()["sd"]
        row(
            "Oxide lots: sd of lot, wafer, site",
            ", ".join(f"{v:.6f}" for v in sd.values()),
            "11.397683, 5.988801, 3.545341",
        )
    else:
        row("Oxide lots", "not run: open data absent", "all digits")
    begin, spent = time.perf_counter(), time.process_time()
    folder = root / "phm2016"
    if folder.exists():
        samples = read_traces(folder / "training-traces.parquet")
        rates, name = read_rates(folder / "training-rates.parquet"), "open traces, training part"
    else:
        samples, rates = invented_traces(1)
        name = "INVENTED traces (open data absent)"
    read = time.perf_counter() - begin
    wafers = cut_wafers(samples, rates, name)
    cut = time.perf_counter() - begin - read
    law = fit_rate_law(wafers)
    fitted = time.perf_counter() - begin
    learned = learn_rates(wafers)
    grown = time.perf_counter() - begin - fitted
    ages = fit_consumables(wafers)
    total = time.perf_counter() - begin
    used = time.process_time() - spent
    row(
        f"{name}: {samples.height} samples read, cut, fitted, forest and ages",
        f"{total:.1f} s (processor {used:.1f} s)",
        "20 s",
    )
    row(
        "of it: read, cut, law, forest",
        f"{read:.1f}, {cut:.1f}, {fitted - read - cut:.1f}, {grown:.1f} s",
        "no bar",
    )
    for r in law.regimes:
        forest = learned.rmse[r.name]
        figures = {**r.rmse, **forest}
        text = ", ".join(f"{k} {v:.2f}" for k, v in figures.items() if v is not None)
        row(f"RMSE left out by time, {r.name} ({r.n_left_out} wafers)", text, "none yet")
    pooled = {**law.rmse, **learned.rmse["all"]}
    row(
        "RMSE left out by time, all regimes", ", ".join(f"{k} {v:.2f}" for k, v in pooled.items()), "none yet"
    )
    best = max((a for r in ages.regimes.values() for a in r), key=lambda a: a.skill)
    row("best skill of a usage counter ahead of time", f"{best.counter} {best.skill:+.2f}", "none yet")
    for retrospective in (True, False):
        begin = time.perf_counter()
        check = check_unseen(wafers, retrospective=retrospective, folds=5, seed=7)
        spent_here = (time.perf_counter() - begin) / 5
        text = ", ".join(f"{k} {v:.2f}" for k, v in check.rmse.items())
        less = 1 - check.rmse["guess"] / check.rmse["plain_trees"]
        row(
            f"RMSE of {check.wafers} unseen wafers, five random folds, {check.mode.split(':')[0]}",
            f"{text} ({100 * less:+.0f} % less than plain trees; band holds {100 * check.coverage:.0f} %)",
            "below plain trees" if retrospective else "none yet",
        )
        every, few = check.guessed, check.from_few
        row(
            "of it: guessed at all, RMSE, mean width of the band",
            f"{every['guessed']} of {every['wafers']}, {every['rmse']:.2f}, {every['mean_width_of_band']:.1f}",
            "look-back 2.45" if retrospective else "3.1, at most 4 % unguessed",
        )
        if few["wafers"]:
            row(
                "of it: from few wafers",
                f"{few['wafers']}, RMSE {few['guess']:.2f}, last three {few['last_three']:.2f}",
                "none yet",
            )
        row("of it: one fold, rivals too", f"{spent_here:.1f} s", "60 s")
    rng = np.random.default_rng(0)
    row("sites of one wafer: profile, map and flags", f"{_map_time(rng):.0f} ms", "no bar")


def _map_time(rng: np.random.Generator) -> float:
    from planish.measure.sites.outliers import flag
    from planish.measure.sites.profile import radial_profile, smooth_map
    from planish.measure.sites.read import SiteMap
    from planish.measure.sites.site_plan import site_plan

    x, y = site_plan("49", 0.15, 0.003)
    m = SiteMap(
        x, y, 2.5e-7 + 1e-9 * rng.normal(size=49), tuple(map(str, range(49))), "removal", "nm", "made"
    )
    times = []
    for _ in range(5):
        begin = time.perf_counter()
        radial_profile(m), smooth_map(m), flag(m)
        times.append(time.perf_counter() - begin)
    return float(np.median(times)) * 1e3


if __name__ == "__main__":
    main()
