"""The verbs that qualify a step, beside the others of ``planish hold``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from planish.cli.options import Json, Out, writable_file
from planish.cli.verbs.holding import DecimalSign, Picture, Sheet, Table, hold


def _record(path: Path | None) -> Path | None:
    return writable_file(path, option="--record", as_in="record.json")


def _new(path: Path | None) -> Path | None:
    return writable_file(path, option="-o", as_in="checklist.toml")


Key = Annotated[
    Path | None,
    typer.Option("--key", help="File whose bytes are the key of the seal, 16 or more.", metavar="FILE"),
]
Alpha = Annotated[float, typer.Option("--alpha", help="Level of each of the two one-sided tests.")]
Power = Annotated[float, typer.Option("--power", help="Power that rows are worked out for.")]


@hold.command("checklist")
def checklist(
    output: Annotated[Path, typer.Option("-o", "--output", help="Checklist to write (TOML).", callback=_new)],
) -> None:
    """Write a checklist of a qualification to fill in."""
    from planish.cli import qualify as verb

    verb.checklist(output)


@hold.command("qualify")
def hold_qualify(
    file: Table,
    checklist: Annotated[
        Path,
        typer.Option("--checklist", help="Checklist (TOML); 'hold checklist' writes one.", metavar="FILE"),
    ],
    by: Annotated[str, typer.Option("--by", help="Who signs.", metavar="NAME")],
    record: Annotated[
        Path | None,
        typer.Option("--record", help="Record to write (JSON), signed.", callback=_record, metavar="FILE"),
    ] = None,
    key: Key = None,
    when: Annotated[
        str | None, typer.Option("--when", help="Time of signing (ISO 8601 with zone); now unless given.")
    ] = None,
    remark: Annotated[str, typer.Option("--remark", help="Remark of who signs.")] = "",
    sheet: Sheet = None,
    decimal: DecimalSign = None,
    output: Picture = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Judge measured rows by a checklist and sign the record; 3 where a check is missed."""
    from planish.cli import qualify as verb

    verb.qualify(
        file,
        record,
        key,
        output,
        json_out,
        out,
        checklist=checklist,
        by=by,
        when=when,
        remark=remark,
        sheet=sheet,
        decimal=decimal,
    )


@hold.command("qualified")
def hold_qualified(
    record: Annotated[Path, typer.Argument(help="Record that 'hold qualify' wrote.", metavar="RECORD")],
    key: Key = None,
    output: Picture = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Show a signed record; one that was changed is refused; 3 where a check was missed."""
    from planish.cli import qualify as verb

    verb.qualified(record, key, output, json_out, out)


@hold.command("equivalence")
def hold_equivalence(
    file: Table,
    value: Annotated[str, typer.Option("--value", metavar="COLUMN", help="Measured column.")],
    part: Annotated[str, typer.Option("--part", metavar="COLUMN", help="Which part a row is of.")],
    old: Annotated[str, typer.Option("--old", metavar="LABEL", help="Label of the old part.")],
    new: Annotated[str, typer.Option("--new", metavar="LABEL", help="Label of the new part.")],
    margin: Annotated[
        str,
        typer.Option("--margin", help="By which the means may differ: as 12 (unit of the column) or '5 %'."),
    ],
    alpha: Alpha = 0.05,
    power: Power = 0.9,
    unequal: Annotated[
        bool, typer.Option("--unequal", help="Each part has a spread of its own (Welch).")
    ] = False,
    sheet: Sheet = None,
    decimal: DecimalSign = None,
    output: Picture = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Say whether a new part does as the old one did (two one-sided t tests); 3 where that is not shown."""
    from planish.cli import qualify as verb

    verb.equivalence(
        file,
        output,
        json_out,
        out,
        value=value,
        part=part,
        old=old,
        new=new,
        margin=margin,
        alpha=alpha,
        power=power,
        unequal=unequal,
        sheet=sheet,
        decimal=decimal,
    )


@hold.command("equivalence-size")
def hold_equivalence_size(
    sd: Annotated[float, typer.Option("--sd", help="Standard deviation of one row.")],
    margin: Annotated[float, typer.Option("--margin", help="By which the means may differ, same unit.")],
    difference: Annotated[
        float, typer.Option("--difference", help="True difference that there may be, within the margin.")
    ] = 0.0,
    alpha: Alpha = 0.05,
    power: Power = 0.9,
    samples: Annotated[
        int, typer.Option("--samples", help="2: new part against old; 1: one sample against a value.")
    ] = 2,
    output: Picture = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Say how many rows a test of equivalence needs, by its exact power."""
    from planish.cli import qualify as verb

    verb.equivalence_size(
        output,
        json_out,
        out,
        sd=sd,
        margin=margin,
        difference=difference,
        alpha=alpha,
        power=power,
        samples=samples,
    )
