"""The verb that keeps a step's history: ``planish log``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from planish.cli.app import app
from planish.cli.options import (
    Columns,
    Db,
    Head,
    Json,
    Last,
    Month,
    OfLot,
    Out,
    Platen,
    Recipe,
    Since,
    Tool,
    Until,
    WaferId,
)
from planish.cli.verbs.holding import (
    Alpha,
    Arl,
    Baseline,
    Centre,
    HeadStart,
    Limit,
    Model,
    Picture,
    Reference,
    Rules,
    Settling,
    Sigma,
    Weight,
    Widen,
)

log = typer.Typer(
    help="Keep every wafer's record: add tables, show wafers, chart them (3 on an alarm), note events and decisions.",
    no_args_is_help=True,
)
app.add_typer(log, name="log")

Who = Annotated[str | None, typer.Option("--who", help="Who adds it; the user of this machine unless given.")]
Why = Annotated[str, typer.Option("--why", help="Why, in words.")]
At = Annotated[str | None, typer.Option("--at", help="When, as '2026-03-07 14:05' (UTC); now unless given.")]


def _filters(**filters: Any) -> dict[str, Any]:
    return {name: value for name, value in filters.items() if value is not None}


@log.command("add")
def log_add(
    files: Annotated[
        list[Path],
        typer.Argument(
            help="Tables of runs with the wafers' names and 'polished at'; tables of events with 'event' and 'when'.",
            metavar="FILE...",
        ),
    ],
    db: Db = None,
    column: Annotated[
        list[str] | None,
        typer.Option(
            "--column", metavar="ROLE=NAME", help="Which column holds what, as rate='Result'; repeatable."
        ),
    ] = None,
    leave_out: Annotated[
        list[str] | None,
        typer.Option("--leave-out", metavar="NAME", help="A column not to look at; repeatable."),
    ] = None,
    keep: Annotated[
        list[str] | None,
        typer.Option(
            "--keep", metavar="NAME", help="A column of figures kept as they stand, as defects; repeatable."
        ),
    ] = None,
    decimal: Annotated[str | None, typer.Option("--decimal", help="Decimal sign: point or comma.")] = None,
    sheet: Annotated[str | None, typer.Option("--sheet", help="Sheet of a workbook.")] = None,
    columns: Columns = None,
    who: Who = None,
    why: Why = "",
    json_out: Json = False,
) -> None:
    """Add the wafers or events of tables: each file whole or not at all; what is there already changes nothing."""
    from planish.cli import log as verb

    told = (column or [], leave_out or [], keep or [])
    verb.add(files, db, json_out, told, columns, who, why, decimal=decimal, sheet=sheet)


@log.command("show")
def log_show(
    value: Annotated[
        str, typer.Option("--value", metavar="FIGURE", help="The figure that the picture shows.")
    ] = "rate_nm_per_min",
    tool: Tool = None,
    head: Head = None,
    platen: Platen = None,
    recipe: Recipe = None,
    lot: OfLot = None,
    wafer: WaferId = None,
    since: Since = None,
    until: Until = None,
    month: Month = None,
    last: Last = None,
    db: Db = None,
    output: Picture = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Show wafers with their figures, and what happened meanwhile; the newest 40 unless others are asked for."""
    from planish.cli import log as verb

    filters = _filters(
        tool=tool, head=head, platen=platen, recipe=recipe, lot=lot, wafer=wafer, since=since, until=until,
        month=month, last=last,
    )  # fmt: skip
    verb.show_wafers(value, filters, db, output, json_out, out)


@log.command("chart")
def log_chart(
    value: Annotated[
        list[str], typer.Option("--value", metavar="FIGURE", help="As rate_nm_per_min; repeat for t2.")
    ],
    chart: Annotated[str, typer.Option("--chart", help="individuals, ewma, cusum or t2.")] = "individuals",
    phase: Annotated[
        str | None,
        typer.Option(
            "--phase",
            metavar="WHAT",
            help="Limits anew where pad, disk, ring, tool or recipe changes, or at each event of a kind, as 'pad change'.",
        ),
    ] = None,
    tool: Tool = None,
    head: Head = None,
    platen: Platen = None,
    recipe: Recipe = None,
    lot: OfLot = None,
    since: Since = None,
    until: Until = None,
    month: Month = None,
    last: Last = None,
    db: Db = None,
    baseline: Baseline = None,
    centre: Centre = None,
    sigma: Sigma = None,
    limit: Limit = None,
    arl: Arl = None,
    weight: Weight = None,
    settling: Settling = False,
    reference: Reference = None,
    head_start: HeadStart = None,
    rule: Rules = None,
    alpha: Alpha = None,
    widen: Widen = False,
    model: Model = None,
    output: Picture = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Chart wafers in the order of time, as 'hold' charts a table: each alarm with its wafer. Ends with 3 on an alarm."""
    from planish.cli import log as verb

    filters = _filters(
        tool=tool,
        head=head,
        platen=platen,
        recipe=recipe,
        lot=lot,
        since=since,
        until=until,
        month=month,
        last=last,
    )
    verb.chart(
        value,
        filters,
        db,
        output,
        json_out,
        out,
        chart=chart,
        phase=phase,
        baseline=baseline,
        centre=centre,
        sigma=sigma,
        limit=limit,
        arl=arl,
        weight=weight,
        settling=settling,
        reference=reference,
        head_start=head_start,
        rules=rule or [],
        alpha=alpha,
        widen=widen,
        model=model,
        age=None if model is None else "pad_wafers",
    )


@log.command("note")
def log_note(
    event: Annotated[str, typer.Argument(help="What happened, as 'pad change', 'disk change' or idle.")],
    at: At = None,
    tool: Annotated[str, typer.Option("--tool", help="On which tool; on all unless given.")] = "",
    head: Annotated[str, typer.Option("--head", help="On which head.")] = "",
    platen: Annotated[str, typer.Option("--platen", help="On which platen.")] = "",
    part: Annotated[str, typer.Option("--part", help="The part that came in.")] = "",
    words: Annotated[str, typer.Option("--note", help="Whatever else.")] = "",
    who: Who = None,
    why: Why = "",
    db: Db = None,
    json_out: Json = False,
) -> None:
    """Note an event, so that charts can take limits anew there."""
    from planish.cli import log as verb

    verb.note(
        event,
        db,
        json_out,
        at=at,
        tool=tool,
        head=head,
        platen=platen,
        part=part,
        note=words,
        who=who,
        why=why,
    )


@log.command("decide")
def log_decide(
    what: Annotated[str, typer.Argument(help="proposed, approved or declined.")],
    why: Annotated[str, typer.Option("--why", help="The reason, in words.")],
    change: Annotated[
        list[str] | None,
        typer.Option(
            "--change", metavar="PATH=VALUE", help="What is proposed, as 'recipe.step.main.time=62 s'."
        ),
    ] = None,
    answers: Annotated[
        int | None, typer.Option("--answers", help="Number of the proposal that is approved or declined.")
    ] = None,
    tool: Annotated[str, typer.Option("--tool", help="For which tool.")] = "",
    recipe: Annotated[str, typer.Option("--recipe", help="For which recipe.")] = "",
    at: At = None,
    who: Who = None,
    db: Db = None,
    json_out: Json = False,
) -> None:
    """Record what was proposed, approved or declined, by whom and why. A record only: it sets nothing on a machine."""
    from planish.cli import log as verb

    verb.decide(
        what, change or [], db, json_out, why=why, answers=answers, tool=tool, recipe=recipe, at=at, who=who
    )


@log.command("decisions")
def log_decisions(
    last: Annotated[int, typer.Option("--last", min=1, max=10_000, help="The newest so many.")] = 40,
    db: Db = None,
    json_out: Json = False,
) -> None:
    """List what was decided: number, when, what, who, why."""
    from planish.cli import log as verb

    verb.listed("decisions", last, db, json_out)


@log.command("audit")
def log_audit(
    last: Annotated[int, typer.Option("--last", min=1, max=10_000, help="The newest so many.")] = 40,
    db: Db = None,
    json_out: Json = False,
) -> None:
    """List what was added: when, what, who, why, from which file."""
    from planish.cli import log as verb

    verb.listed("audit", last, db, json_out)
