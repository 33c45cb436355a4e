"""The verb that fits rate laws to traces, checks them, and guesses the rates of other wafers."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import typer

from planish.cli import show

#: Warnings printed; the others are counted.
SHOWN = 12


def fit(traces: Path, rates: Path, folds: int, json_out: bool, out: Path | None) -> None:
    """Fit the rate law and what the consumables explain; with ``folds``, guess wafers left out."""
    from planish.jobs.rates import fit_rates, read_measured_wafers

    wafers = read_measured_wafers(traces, rates)
    with show.progress("guessing wafers left out", quiet=json_out or not folds) as tell:
        found = fit_rates(wafers, folds=folds, tell=tell)
    figures: dict[str, Any] = found.document()
    if json_out:
        show.print_json(figures)
    else:
        _print_law(figures)
        _print_consumables(figures["consumables"])
        if folds:
            _print_check("in between", figures["check"]["interspersed"])
            _print_check("ahead", figures["check"]["ahead"])
    show.files(found, out, json_out)


def _print_law(figures: dict[str, Any]) -> None:
    models = list(figures["models"])
    learned = figures["check"]["by_time"]["rmse_by_regime"] if "check" in figures else {}
    more = list(learned.get("all", ()))
    rows = [
        [
            r["name"],
            r["wafers_training"],
            r["wafers_left_out"],
            *(r["rmse_left_out"].get(m) for m in models),
            *(learned.get(r["name"], {}).get(m) for m in more),
        ]
        for r in figures["regimes"]
    ]
    overall = [*(figures["rmse_left_out"][m] for m in models), *(learned["all"][m] for m in more)]
    rows.append(["all", None, None, *overall])
    head = ["regime", "learned from", "left out", *(m.replace("_", " ") for m in (*models, *more))]
    show.table(head, rows, title="RMSE on wafers left out by time")
    for regime in figures["regimes"]:
        for sentence in regime["findings"]:
            typer.echo(f"- {regime['name']}: {sentence}")
    notes = [*figures["notes"], *(figures["check"]["by_time"]["notes"] if "check" in figures else ())]
    for note in notes:
        typer.echo(f"note: {note}")


def _print_consumables(told: dict[str, Any] | None) -> None:
    if told is None:
        typer.echo("note: no usage counters among the traces, so nothing is said of the consumables' age")
        return
    rows = []
    for regime, counters in told["regimes"].items():
        for name, age in counters.items():
            steady = age["percent_per_life_drift_followed"] or (None, None)
            rows.append(
                [regime, name.removeprefix("use_").replace("_", " "), age["skill"], *steady, age["changes"]]
            )
    if rows:
        show.table(
            ["regime", "counter", "skill", "change [%]", "±", "fell back"],
            rows,
            title="What the age of consumables explains of the rate",
        )
        typer.echo(
            "skill: share of the later wafers' squared error that the counter saves, below 0 where it misleads; "
            "change: of the rate over the counter's range, with the drift followed"
        )
    for note in told["notes"]:
        typer.echo(f"note: {note}")


def _print_check(what: str, check: dict[str, Any]) -> None:
    models = list(check["rmse"])
    rows = [[name, *(errors[m] for m in models)] for name, errors in check["rmse_by_regime"].items()]
    rows.append(["all", *(check["rmse"][m] for m in models)])
    title = f"RMSE of guesses {what} ({check['wafers_judged']} wafers)"
    show.table(["regime", *(m.replace("_", " ") for m in models)], rows, title=title)
    typer.echo(f"{check['mode']}; the band held {check['band_coverage_percent']:.0f} % of them")
    every, few = check["guessed"], check["guessed_from_few"]
    line = f"guessed: {every['guessed']} of {every['wafers']}, RMSE {every['rmse']:.3g}"
    if few["wafers"]:
        line += f"; {few['wafers']} of them from few wafers: {few['guess']:.3g}, last three {few['last_three']:.3g}"
    typer.echo(line)


def predict_rates(
    traces: Path, rates: Path, other: Path, ahead: bool, json_out: bool, out: Path | None
) -> None:
    """Guess the rates of the wafers in ``other``; one row a polish."""
    from planish.jobs.rates import guess_rates, read_measured_wafers

    found = guess_rates(read_measured_wafers(traces, rates), other, ahead=ahead)
    figures: dict[str, Any] = found.document()
    if json_out:
        show.print_json(figures)
    else:
        columns = list(figures["wafers"][0])
        show.table(columns, [[row[c] for c in columns] for row in figures["wafers"]], title=figures["mode"])
        typer.echo(f"band: {figures['band']}")
        for effect in figures["told_of_effects"]:
            typer.echo(f"- {effect}")
        warned = figures["warnings"]
        for warning in warned[:SHOWN]:
            typer.echo(f"warning: {warning}")
        if len(warned) > SHOWN:
            typer.echo(f"warning: {len(warned) - SHOWN} more such wafers (all of them with --json)")
        for note in figures["notes"]:
            typer.echo(f"note: {note}")
    show.files(found, out, json_out)
