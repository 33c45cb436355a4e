"""The words of ``planish hold`` that move settings: try a control, begin one, ask it, approve, tell it, switch it off."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from planish.cli.options import Json, Out, Settings, SetupFile
from planish.cli.verbs.holding import Picture, hold

Folder = Annotated[
    Path, typer.Option("--in", metavar="FOLDER", help="Folder of the controlled step.", show_default=True)
]
CONTROL = Path("control")
By = Annotated[str, typer.Option("--by", metavar="NAME", help="Who says so.")]
Why = Annotated[str, typer.Option("--why", metavar="TEXT", help="For what reason; it is kept.")]
Head = Annotated[str | None, typer.Option("--head", help="Which head, where there are several.")]
Platen = Annotated[str | None, typer.Option("--platen", help="Which platen, where there are several.")]
Incoming = Annotated[
    list[str] | None,
    typer.Option(
        "--incoming",
        metavar="THICKNESS",
        help="Thickness of all films that comes in, as '1012 nm'; with zones once for each, in order.",
    ),
]
Zones = Annotated[
    bool, typer.Option("--zones", help="Hold what is removed under each zone, by zone pressures too.")
]
Target = Annotated[
    str | None,
    typer.Option("--target", help="Mean to be removed, as '500 nm'; as the setup does unless given."),
]
Spread = Annotated[
    list[str] | None,
    typer.Option(
        "--spread",
        metavar="NAME=SIZE",
        help="Spread of chance as the control is told: process, measurement, wander, start, pad, disk, slurry, ageing; repeatable.",
    ),
]
Weight = Annotated[float, typer.Option("--weight", help="Of the newest wafer in a weighted average, to 1.")]
DriftWeight = Annotated[
    float, typer.Option("--drift-weight", help="Double EWMA: of the newest step of the level in the drift.")
]
TimeLimit = Annotated[
    str | None, typer.Option("--time", metavar="RANGE", help="Limits of the time, as '40..70 s'.")
]
PressureLimit = Annotated[
    str | None, typer.Option("--pressure", metavar="RANGE", help="Limits of each zone, as '1..3 psi'.")
]
TimeChange = Annotated[
    str | None,
    typer.Option("--time-change", help="Most change of the time from wafer to wafer; 10 % unless given."),
]
PressureChange = Annotated[
    str | None,
    typer.Option(
        "--pressure-change", help="Most change of a pressure from wafer to wafer; 0.2 psi unless given."
    ),
]


@hold.command("try")
def hold_try(
    file: SetupFile,
    wafers: Annotated[int, typer.Option("--wafers", help="Wafers of a course.")] = 1000,
    seeds: Annotated[int, typer.Option("--seeds", help="Courses, each with its own chance.")] = 20,
    seed: Annotated[int, typer.Option("--seed", help="Of all chance.")] = 0,
    delay: Annotated[int, typer.Option("--delay", help="Wafers by which metrology is late.")] = 2,
    pad_every: Annotated[int, typer.Option("--pad-every", help="Wafers from one new pad to the next.")] = 250,
    disk_every: Annotated[
        int, typer.Option("--disk-every", help="Wafers from one new disk to the next.")
    ] = 400,
    slurry_every: Annotated[
        int | None, typer.Option("--slurry-every", help="Wafers from one batch of slurry to the next.")
    ] = None,
    zones: Zones = False,
    target: Target = None,
    weight: Weight = 0.3,
    drift_weight: DriftWeight = 0.1,
    spread: Spread = None,
    true_spread: Annotated[
        list[str] | None,
        typer.Option(
            "--true-spread", metavar="NAME=SIZE", help="Spread in truth, where it is another one; repeatable."
        ),
    ] = None,
    gain_ratio: Annotated[
        float, typer.Option("--gain-ratio", help="What a move does in truth over what it is reckoned to do.")
    ] = 1.0,
    incoming: Annotated[
        str, typer.Option("--incoming", help="Spread of the thickness that comes in, fed forward, as '1 %'.")
    ] = "0 %",
    missing: Annotated[str, typer.Option("--missing", help="Share of wafers that are not measured.")] = "0 %",
    wrong: Annotated[str, typer.Option("--wrong", help="Share that is measured a tenth off.")] = "0 %",
    time: TimeLimit = None,
    pressure: PressureLimit = None,
    time_change: TimeChange = None,
    pressure_change: PressureChange = None,
    settings: Settings = None,
    output: Picture = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Try run-to-run control on a simulated step: a fixed time, EWMA, double EWMA and Kalman beside the least spread."""
    from planish.cli import control as verb

    verb.tried(
        file,
        settings or [],
        output,
        json_out,
        out,
        wafers=wafers,
        seeds=seeds,
        seed=seed,
        delay=delay,
        pad_every=pad_every,
        disk_every=disk_every,
        slurry_every=slurry_every,
        zones=zones,
        target=target,
        weight=weight,
        drift_weight=drift_weight,
        spreads=spread,
        true_spreads=true_spread,
        gain_ratio=gain_ratio,
        incoming=incoming,
        missing=missing,
        wrong=wrong,
        limits=verb.limits(
            time=time, pressure=pressure, time_change=time_change, pressure_change=pressure_change
        ),
    )


@hold.command("begin")
def hold_begin(
    file: SetupFile,
    by: By,
    folder: Folder = CONTROL,
    why: Why = "",
    estimator: Annotated[str, typer.Option("--estimator", help="kalman, ewma or 'double ewma'.")] = "kalman",
    weight: Weight = 0.3,
    drift_weight: DriftWeight = 0.1,
    spread: Spread = None,
    physics: Annotated[
        bool, typer.Option("--physics/--no-physics", help="Count what the lot model foretells, or not.")
    ] = True,
    zones: Zones = False,
    target: Target = None,
    pad_life: Annotated[
        int, typer.Option("--pad-life", help="Most wafers that a pad sees: so far it is foretold.")
    ] = 600,
    disk_life: Annotated[int, typer.Option("--disk-life", help="Most wafers that a disk sees.")] = 600,
    suspect: Annotated[
        float, typer.Option("--suspect", help="Standard deviations beyond which a measurement is held off.")
    ] = 4.0,
    time: TimeLimit = None,
    pressure: PressureLimit = None,
    time_change: TimeChange = None,
    pressure_change: PressureChange = None,
    settings: Settings = None,
    json_out: Json = False,
) -> None:
    """Put the longest step of a setup under control, in advice: a person approves each move."""
    from planish.cli import control as verb

    verb.begin(
        file,
        settings or [],
        folder,
        json_out,
        by=by,
        why=why,
        estimator=estimator,
        weight=weight,
        drift_weight=drift_weight,
        spreads=spread,
        physics=physics,
        zones=zones,
        target=target,
        pad_life=pad_life,
        disk_life=disk_life,
        suspect=suspect,
        limits=verb.limits(
            time=time, pressure=pressure, time_change=time_change, pressure_change=pressure_change
        ),
    )


@hold.command("advise")
def hold_advise(
    by: By = "not said",
    folder: Folder = CONTROL,
    head: Head = None,
    platen: Platen = None,
    incoming: Incoming = None,
    json_out: Json = False,
) -> None:
    """Say what to set for the next wafer; it waits for a person, unless the step is switched to automatic."""
    from planish.cli import control as verb

    verb.advise(folder, json_out, incoming, by=by, head=head, platen=platen)


@hold.command("approve")
def hold_approve(
    number: Annotated[int, typer.Argument(help="Of the advice.")],
    by: By,
    why: Why = "",
    folder: Folder = CONTROL,
    json_out: Json = False,
) -> None:
    """Put an advice in force."""
    from planish.cli import control as verb

    verb.decide(folder, number, True, json_out, by, why)


@hold.command("decline")
def hold_decline(
    number: Annotated[int, typer.Argument(help="Of the advice.")],
    by: By,
    why: Why = "",
    folder: Folder = CONTROL,
    json_out: Json = False,
) -> None:
    """Turn an advice down; the settings in force stay."""
    from planish.cli import control as verb

    verb.decide(folder, number, False, json_out, by, why)


@hold.command("ran")
def hold_ran(
    wafer: Annotated[str, typer.Argument(help="Its name.")],
    by: By = "not said",
    folder: Folder = CONTROL,
    head: Head = None,
    platen: Platen = None,
    time: Annotated[
        str | None, typer.Option("--time", help="Time it really had, where that is not the one in force.")
    ] = None,
    incoming: Incoming = None,
    json_out: Json = False,
) -> None:
    """Tell that a wafer was polished, with the settings in force or with another time."""
    from planish.cli import control as verb

    verb.ran(folder, wafer, json_out, incoming, by=by, head=head, platen=platen, time=time)


@hold.command("learn")
def hold_learn(
    wafer: Annotated[str, typer.Argument(help="Its name.")],
    removed: Annotated[
        list[str] | None,
        typer.Option("--removed", metavar="AMOUNT", help="As '498 nm'; with zones once for each, in order."),
    ] = None,
    missing: Annotated[bool, typer.Option("--missing", help="Its measurement is missing.")] = False,
    by: By = "not said",
    folder: Folder = CONTROL,
    head: Head = None,
    platen: Platen = None,
    json_out: Json = False,
) -> None:
    """Tell what a wafer measured, however late; a suspect value is held off and told."""
    from planish.cli import control as verb

    verb.learn(folder, wafer, removed, missing, json_out, by=by, head=head, platen=platen)


@hold.command("changed")
def hold_changed(
    part: Annotated[str, typer.Argument(help="pad, disk or slurry.")],
    by: By,
    why: Why = "",
    folder: Folder = CONTROL,
    platen: Platen = None,
    json_out: Json = False,
) -> None:
    """Tell that the pad, the disk or the batch of slurry of a platen was changed."""
    from planish.cli import control as verb

    verb.changed(folder, part, json_out, by=by, why=why, platen=platen)


@hold.command("on")
def hold_on(
    by: By,
    why: Why,
    folder: Folder = CONTROL,
    automatic: Annotated[
        bool,
        typer.Option("--automatic", help="Each advice counts as approved at once; else a person approves."),
    ] = False,
    json_out: Json = False,
) -> None:
    """Switch the control of a step on."""
    from planish.cli import control as verb

    verb.switch_on(folder, json_out, by=by, why=why, mode="automatic" if automatic else "advice")


@hold.command("off")
def hold_off(
    by: By = "not said",
    why: Why = "",
    folder: Folder = CONTROL,
    json_out: Json = False,
) -> None:
    """Switch the control of a step off at once: no advice, no move; the settings in force stay."""
    from planish.cli import control as verb

    verb.switch_off(folder, json_out, by, why)


@hold.command("state")
def hold_state(folder: Folder = CONTROL, json_out: Json = False) -> None:
    """Say where the control of each head and platen stands, and whether it is on."""
    from planish.cli import control as verb

    verb.state(folder, json_out)
