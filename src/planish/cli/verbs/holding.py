"""The verb that holds a step where it is: ``planish hold FILE`` and the questions beside it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from planish.cli.app import app
from planish.cli.options import Json, Out, writable_file


class ChartUnlessNamed(TyperGroup):
    """A group whose first word is a file unless it names one of its commands: ``hold FILE`` is ``hold chart FILE``."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Put the command in where it is not said."""
        if args and args[0] not in (*self.commands, "-h", "--help"):
            args = ["chart", *args]
        return list(super().parse_args(ctx, args))


hold = typer.Typer(
    cls=ChartUnlessNamed,
    help="Keep a step centred: 'hold FILE' charts it (3 on an alarm); run lengths, limits, capability, gauges; what changed; run-to-run control.",
    no_args_is_help=True,
)
app.add_typer(hold, name="hold")


def _picture(path: Path | None) -> Path | None:
    """Refuse a picture that cannot be written, before anything is computed."""
    if path is None:
        return None
    from planish.jobs.held_pictures import check_picture

    return writable_file(check_picture(path), option="-o", as_in="chart.png")


Picture = Annotated[
    Path | None,
    typer.Option("-o", "--output", help="Picture or page to write: .png, .svg or .html.", callback=_picture),
]
Table = Annotated[
    Path, typer.Argument(help="Table with a row a measurement: text, Parquet or a workbook.", metavar="FILE")
]
Sheet = Annotated[str | None, typer.Option("--sheet", help="Sheet of a workbook.")]
DecimalSign = Annotated[str | None, typer.Option("--decimal", help="Decimal sign: point or comma.")]
Baseline = Annotated[
    int | None,
    typer.Option("--baseline", help="Points of each phase that limits are taken from; all unless given."),
]
Centre = Annotated[float | None, typer.Option("--centre", help="Of the process, where known.")]
Sigma = Annotated[float | None, typer.Option("--sigma", help="Of the process, where known.")]
Limit = Annotated[
    float | None, typer.Option("--limit", help="Limits [sigma]: 3, or 5 for cusum, unless given.")
]
Arl = Annotated[
    float | None,
    typer.Option("--arl", help="In place of --limit: samples on average before a false alarm."),
]
Alpha = Annotated[
    float | None, typer.Option("--alpha", help="t2: share of false alarms; 0.0027 unless given.")
]
Widen = Annotated[bool, typer.Option("--widen", help="Limits from few rows wide enough for their own doubt.")]
Model = Annotated[
    Path | None,
    typer.Option(
        "--model", metavar="SETUP", help="Judge rates without what the lot of this setup foretells by ageing."
    ),
]
Weight = Annotated[float | None, typer.Option("--weight", help="EWMA: weight of the newest sample, to 1.")]
Reference = Annotated[
    float | None,
    typer.Option("--reference", help="CUSUM: its k [sigma], half the shift to be found; 0.5 unless given."),
]
HeadStart = Annotated[
    float | None, typer.Option("--head-start", help="CUSUM: where its sums start, as a share of the limit.")
]
Settling = Annotated[
    bool, typer.Option("--settling", help="EWMA: limits start narrow, as its own spread does.")
]
OneSided = Annotated[bool, typer.Option("--one-sided", help="Only a rise alarms (individuals, cusum).")]
Rules = Annotated[
    list[str] | None,
    typer.Option(
        "--rule",
        metavar="RULE",
        help="Run rule beside the limits, as '2 of 3 beyond 2 sigma', '8 on one side', '6 rising or falling', '14 alternating', "
        "'15 within 1 sigma'; or a set: handbook, eight; repeatable.",
    ),
]


@hold.command("chart")
def hold_chart(
    file: Table,
    value: Annotated[
        list[str], typer.Option("--value", metavar="COLUMN", help="Measured column; repeat for t2.")
    ],
    chart: Annotated[
        str, typer.Option("--chart", help="individuals, xbar, ewma, cusum or t2.")
    ] = "individuals",
    group: Annotated[
        str | None, typer.Option("--group", metavar="COLUMN", help="xbar: which rows are one group.")
    ] = None,
    phase: Annotated[
        str | None,
        typer.Option(
            "--phase", metavar="COLUMN", help="Limits anew where this column changes, as pad or disk."
        ),
    ] = None,
    new_phase: Annotated[
        list[int] | None,
        typer.Option(
            "--new-phase", metavar="ROW", help="Limits anew from this row on, counted from 1; repeatable."
        ),
    ] = None,
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
    age: Annotated[
        str | None,
        typer.Option(
            "--age", metavar="COLUMN", help="With --model: wafers that the pad had polished before the row's."
        ),
    ] = None,
    name: Annotated[
        str | None,
        typer.Option(
            "--name", metavar="COLUMN", help="What each row is called, as the wafer: told with its alarms."
        ),
    ] = None,
    sheet: Sheet = None,
    decimal: DecimalSign = None,
    output: Picture = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Chart measured rows: limits, alarms, what changed at each. Ends with 3 on an alarm. The word chart may be left out."""
    from planish.cli import hold as verb

    verb.chart(
        file,
        output,
        json_out,
        out,
        value=value,
        chart=chart,
        group=group,
        phase=phase,
        new_phase=new_phase or [],
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
        age=age,
        name=name,
        sheet=sheet,
        decimal=decimal,
    )


@hold.command("arl")
def hold_arl(
    chart: Annotated[str, typer.Option("--chart", help="individuals, ewma or cusum.")],
    limit: Limit = None,
    weight: Weight = None,
    settling: Settling = False,
    reference: Reference = None,
    head_start: HeadStart = None,
    one_sided: OneSided = False,
    rule: Rules = None,
    shift: Annotated[
        float, typer.Option("--shift", help="Of the mean from the first sample on [sigma].")
    ] = 0.0,
    drift: Annotated[float, typer.Option("--drift", help="What the mean gains a sample [sigma].")] = 0.0,
    drift_from: Annotated[
        int, typer.Option("--drift-from", help="Steps of the drift that the first sample carries: 0 or 1.")
    ] = 1,
    output: Picture = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Say how many samples a chart runs on average before it alarms (its ARL), solved by integral equation."""
    from planish.cli import hold as verb

    verb.run_length(
        output,
        json_out,
        out,
        chart=chart,
        limit=limit,
        weight=weight,
        settling=settling,
        reference=reference,
        head_start=head_start,
        one_sided=one_sided,
        rules=rule or [],
        shift=shift,
        drift=drift,
        drift_from=drift_from,
    )


@hold.command("limit")
def hold_limit(
    chart: Annotated[str, typer.Option("--chart", help="individuals, ewma or cusum.")],
    arl: Annotated[float, typer.Option("--arl", help="Samples on average before a false alarm.")],
    weight: Weight = None,
    settling: Settling = False,
    reference: Reference = None,
    head_start: HeadStart = None,
    one_sided: OneSided = False,
    output: Picture = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Solve for the limit at which a chart runs so many samples on average before a false alarm."""
    from planish.cli import hold as verb

    verb.limit(
        output,
        json_out,
        out,
        chart=chart,
        arl=arl,
        weight=weight,
        settling=settling,
        reference=reference,
        head_start=head_start,
        one_sided=one_sided,
    )


@hold.command("capability")
def hold_capability(
    file: Table,
    value: Annotated[str, typer.Option("--value", metavar="COLUMN", help="Measured column.")],
    lsl: Annotated[float | None, typer.Option("--lsl", help="Lower specification limit.")] = None,
    usl: Annotated[float | None, typer.Option("--usl", help="Upper specification limit.")] = None,
    group: Annotated[
        str | None,
        typer.Option("--group", metavar="COLUMN", help="Groups within which the short spread is taken."),
    ] = None,
    confidence: Annotated[float, typer.Option("--confidence", help="Of the intervals.")] = 0.95,
    coverage: Annotated[
        float, typer.Option("--coverage", help="Share of all values in the tolerance interval.")
    ] = 0.9973,
    sheet: Sheet = None,
    decimal: DecimalSign = None,
    output: Picture = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Say how measured rows fit between specification limits: Cp, Cpk, Pp, Ppk with intervals."""
    from planish.cli import hold as verb

    verb.capability(
        file,
        output,
        json_out,
        out,
        value=value,
        lsl=lsl,
        usl=usl,
        group=group,
        confidence=confidence,
        coverage=coverage,
        sheet=sheet,
        decimal=decimal,
    )


@hold.command("gauge")
def hold_gauge(
    file: Table,
    value: Annotated[str, typer.Option("--value", metavar="COLUMN", help="Measured column.")],
    part: Annotated[str, typer.Option("--part", metavar="COLUMN", help="Which part or wafer.")],
    appraiser: Annotated[
        str | None,
        typer.Option("--appraiser", metavar="COLUMN", help="By whom, or by which tool: a crossed study."),
    ] = None,
    pool: Annotated[
        bool, typer.Option("--pool", help="Crossed: pool the interaction with the error.")
    ] = False,
    tolerance: Annotated[
        float | None, typer.Option("--tolerance", help="Crossed: width between specification limits.")
    ] = None,
    run: Annotated[
        str | None,
        typer.Option(
            "--run", metavar="COLUMN", help="In which run: a study of levels, rows being days' averages."
        ),
    ] = None,
    sd: Annotated[
        str | None,
        typer.Option("--sd", metavar="COLUMN", help="Levels: standard deviation behind each average."),
    ] = None,
    repeats: Annotated[
        int | None, typer.Option("--repeats", help="Levels: repeats behind each average.")
    ] = None,
    sheet: Sheet = None,
    decimal: DecimalSign = None,
    output: Picture = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Say how much of the spread is the gauge: repeatability and reproducibility by analysis of variance."""
    from planish.cli import hold as verb

    verb.gauge(
        file,
        output,
        json_out,
        out,
        value=value,
        part=part,
        appraiser=appraiser,
        pool=pool,
        tolerance=tolerance,
        run=run,
        sd=sd,
        repeats=repeats,
        sheet=sheet,
        decimal=decimal,
    )
