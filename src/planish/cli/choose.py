"""The verb that finds the setups worth choosing among."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from planish.cli import show
from planish.errors import SetupError, refuse

if TYPE_CHECKING:
    from planish.measure.layout.maps import LayoutMaps
    from planish.tuning.tradeoffs.result import TradeOff


@dataclass(frozen=True, slots=True)
class ChooseWords:
    """What the command line asks of a choice, as text and numbers."""

    vary: list[str]
    aims: list[str]
    limits: list[str]
    runs: int
    points: int
    seed: int
    wafers: int
    workers: int | None
    layout: Path | None
    layer: str | None
    cell: str
    pattern: str | None
    place: str
    write: list[str]

    def maps(self, quiet: bool) -> LayoutMaps | None:
        """Return the cell maps of the layout, or of the test pattern; None where neither is given."""
        if self.layout is not None and self.pattern is not None:
            raise SetupError("--layout and --pattern: both given: must be one of them")
        if self.pattern is not None:
            from planish.jobs.choices import pattern_maps

            return pattern_maps(self.pattern)
        if self.layout is None:
            return None
        from planish.cli.die import read_maps

        return read_maps(self.layout, self.layer, self.cell, quiet)

    def which(self, found: TradeOff) -> list[int]:
        """Return the numbers of the points to write."""
        numbers: list[int] = []
        for word in self.write:
            if word == "all":
                numbers += [point.number for point in found.points]
            elif word == "ends":
                numbers += [point.number for point in found.ends.values()]
            elif word == "knee" and found.knee is not None:
                numbers.append(found.knee.number)
            elif word.isdigit() and 1 <= int(word) <= len(found.points):
                numbers.append(int(word))
            else:
                knee = "" if found.knee is None else ", knee"
                raise SetupError(refuse("--write", word, f"1 to {len(found.points)}, ends{knee} or all"))
        return sorted(set(numbers))


def choose(file: Path, settings: list[str], words: ChooseWords, json_out: bool, out: Path | None) -> None:
    """Find the front, print it, and write result, picture and the setups that were asked for."""
    from planish import choose as run
    from planish.cli.die import places
    from planish.engine.execute import CancelledError, stopped_by_interrupt
    from planish.jobs.changed import load_changed, read_ranges
    from planish.jobs.studies import read_varied

    if words.write and out is None:
        raise SetupError("--write: no folder given: must be given with --out DIR")
    setup, vary = load_changed(file, settings), read_varied(words.vary, named="--vary")
    limits = read_ranges(words.limits, "evenness=..3", named="--limit")
    where = places(words.place, setup.rig.wafer.radius)
    if len(where) != 1:
        raise SetupError(refuse("--place", words.place, "one place: centre, mid, edge or a radius"))
    maps = words.maps(json_out)
    try:
        with show.progress("setups tried", quiet=json_out) as tell, stopped_by_interrupt() as cancel:
            found = run(
                setup,
                vary,
                words.aims,
                limits=limits,
                runs=words.runs,
                points=words.points,
                seed=words.seed,
                wafers=words.wafers,
                maps=maps,
                place=where[0],
                folder=out,
                workers=words.workers,
                progress=lambda done, of: tell(done / of),
                cancel=cancel,
            )
    except CancelledError as stopped:
        typer.echo(f"planish: {stopped}", err=True)
        raise typer.Exit(130) from None
    _print(found, json_out)
    show.files(found, out, json_out)
    if out is not None and words.write:
        from planish.jobs.written import write_point

        show.written([write_point(found, number, out) for number in words.which(found)], json_out)


def _print(found: TradeOff, json_out: bool) -> None:
    from planish.explain.words import label

    figures: dict[str, Any] = found.document()
    if json_out:
        show.print_json(figures)
        return
    aims, keys = [row["figure"] for row in figures["aims"]], [row["key"] for row in figures["knobs"]]
    heads = [
        "point",
        "where",
        *(f"{label(row['figure'])}, {row['better']}" for row in figures["aims"]),
        *keys,
    ]
    rows = [
        [
            row["point"],
            row["where"],
            *(row[name] for name in aims),
            *(row["changes"].get(key, "") for key in keys),
        ]
        for row in figures["points"]
    ]
    show.table(heads, rows, title="setups that no other found beats")
    for line in figures["in_words"]:
        typer.echo(line)
    show.summary({key: value for key, value in figures.items() if key != "largest_difference_relative"})
    for point in found.points:
        if point.changes and (point.best or point.knee):
            show.changes(point.changes, f"for point {point.number} ({point.where}), add")
