"""The verb that predicts many variants of a setup."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from planish.cli import show

if TYPE_CHECKING:
    from planish.tuning.study.result import StudyResult

MOST = 12  # figures and indices that a terminal shows; --json has them all


@dataclass(frozen=True, slots=True)
class StudyWords:
    """What the command line asks of a study, as text and numbers."""

    vary: list[str]
    samples: int | None
    sobol: int | None
    morris: int | None
    seed: int
    wafers: int | None
    workers: int | None
    cluster: str | None


def study(file: Path, settings: list[str], words: StudyWords, json_out: bool, out: Path | None) -> None:
    """Run the study and print how its figures spread; with ``out`` every run is kept there as it comes."""
    from planish import study as run
    from planish.engine.execute import CancelledError, stopped_by_interrupt
    from planish.jobs.changed import load_changed
    from planish.jobs.studies import read_varied

    setup, vary = load_changed(file, settings), read_varied(words.vary, named="--vary")
    try:
        with show.progress("runs", quiet=json_out) as tell, stopped_by_interrupt() as cancel:
            result = run(
                setup,
                vary,
                samples=words.samples,
                sobol=words.sobol,
                morris=words.morris,
                seed=words.seed,
                wafers=words.wafers,
                folder=out,
                workers=words.workers,
                address=words.cluster,
                progress=lambda done, of: tell(done / of),
                cancel=cancel,
            )
    except CancelledError as stopped:
        typer.echo(f"planish: {stopped}", err=True)
        raise typer.Exit(130) from None
    _print(result, json_out)
    show.files(result, out, json_out)


def _print(result: StudyResult, json_out: bool) -> None:
    from planish.explain.words import label

    figures: dict[str, Any] = result.document()
    if json_out:
        show.print_json(figures)
        return
    show.summary(figures)
    columns = ("least", "percentile_5", "median", "percentile_95", "most")
    rows = [[label(row["figure"]), *(row[name] for name in columns)] for row in figures["figures"][:MOST]]
    show.table(["figure", *(name.replace("_", " ") for name in columns)], rows, title="over the runs")
    if figures["indices"]:
        names = [name for name in figures["indices"][0] if name not in ("figure", "key")]
        kept = list(dict.fromkeys(row["figure"] for row in figures["indices"]))[:3]
        rows = [
            [label(row["figure"]), row["key"], *(row[name] for name in names)]
            for row in figures["indices"]
            if row["figure"] in kept
        ]
        show.table(
            ["figure", "key", *(name.replace("_", " ") for name in names)], rows, title="which key matters"
        )
