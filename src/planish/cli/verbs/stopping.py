"""The verb that says when to stop, from what a trace shows."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from planish.cli.app import app
from planish.cli.options import Json, Out, Settings, SetupFile

endpoint = typer.Typer(
    help="When to stop: follow a film by its light, watch friction or eddy currents for a change, or invent a trace.",
    no_args_is_help=True,
)
app.add_typer(endpoint, name="endpoint")

TraceFile = Annotated[
    Path, typer.Argument(help="Trace (CSV or Parquet): 'time [s]' and the signal.", metavar="TRACE")
]
Column = Annotated[
    str | None, typer.Option("--column", help="Column of the signal, where there are several.")
]
Film = Annotated[
    str | None,
    typer.Option("--film", help="Film that is polished, as silica, or a table of wavelength, n and k."),
]
Light = Annotated[
    str | None,
    typer.Option("--light", help="One wavelength, as '632.8 nm', or '450..750 nm/30' for white light."),
]
Under = Annotated[str | None, typer.Option("--under", help="What the films lie on, as silicon.")]
Ambient = Annotated[str | None, typer.Option("--ambient", help="What the light comes through, as water.")]
Angle = Annotated[str | None, typer.Option("--angle", help="Of the light in the ambient, from the normal.")]
Polarization = Annotated[str | None, typer.Option("--polarization", help="s, p or mean.")]
Below = Annotated[
    str | None,
    typer.Option("--below", help="Films between, from the top, as 'silicon nitride 100 nm + silica 20 nm'."),
]
Share = Annotated[
    str | None, typer.Option("--share", help="Of the spot that shows the film; the rest stays as it is.")
]
Clear = Annotated[
    str | None, typer.Option("--clear", help="Share of the wafer to clear, for the over-polish, as '99.9 %'.")
]
RateSpread = Annotated[
    str | None,
    typer.Option("--rate-spread", help="Of the rate over the wafer, one standard deviation, as '3 %'."),
]
FilmSpread = Annotated[
    str | None,
    typer.Option("--film-spread", help="Of the film over the wafer, one standard deviation, as '2 %'."),
]


@endpoint.command("follow")
def endpoint_follow(
    trace: TraceFile,
    target: Annotated[str, typer.Option("--target", help="Thickness to stop at, as '500 nm'.")],
    start: Annotated[
        str | None, typer.Option("--start", help="Thickness at the first sample, as '940..1060 nm'.")
    ] = None,
    rate: Annotated[str | None, typer.Option("--rate", help="Removal rate, as '150..250 nm/min'.")] = None,
    film: Film = None,
    light: Light = None,
    under: Under = None,
    ambient: Ambient = None,
    angle: Angle = None,
    polarization: Polarization = None,
    below: Below = None,
    share: Share = None,
    lead: Annotated[
        str | None, typer.Option("--lead", help="From the call to the stop of the removal, as '1 s'.")
    ] = None,
    wander: Annotated[
        str | None,
        typer.Option(
            "--wander", help="By how much the rate wanders in a minute, one standard deviation; 5 %."
        ),
    ] = None,
    column: Column = None,
    clear: Clear = None,
    rate_spread: RateSpread = None,
    film_spread: FilmSpread = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Follow a film by the light that it sends back, and call when the target is reached. What is not told, the trace's notes say."""
    from planish.cli import endpoint as verb

    verb.follow(
        trace,
        target,
        json_out,
        out,
        start=start,
        rate=rate,
        film=film,
        light=light,
        under=under,
        ambient=ambient,
        angle=angle,
        polarization=polarization,
        below=below,
        share=share,
        lead=lead,
        wander=wander,
        column=column,
        clear=clear,
        rate_spread=rate_spread,
        film_spread=film_spread,
    )


@endpoint.command("watch")
def endpoint_watch(
    trace: TraceFile,
    change: Annotated[
        float | None,
        typer.Option(
            "--change",
            help="Smallest change to find, in units of the signal (by slope: a second); 4 standard deviations unless given.",
        ),
    ] = None,
    by: Annotated[
        str | None, typer.Option("--by", help="level (friction, torque) or slope (eddy currents).")
    ] = None,
    direction: Annotated[str | None, typer.Option("--direction", help="up, down or either.")] = None,
    baseline: Annotated[
        str | None, typer.Option("--baseline", help="Time at the start in which nothing happens; 20 s.")
    ] = None,
    block: Annotated[
        str | None,
        typer.Option("--block", help="Time whose samples are taken together, as turns of the platen; 1 s."),
    ] = None,
    false_alarms: Annotated[
        str | None,
        typer.Option("--false-alarms", help="Share of traces without a change that may be called; 0.5 %."),
    ] = None,
    longest: Annotated[
        str | None, typer.Option("--longest", help="Time for which that share is promised; 600 s.")
    ] = None,
    column: Column = None,
    clear: Clear = None,
    rate_spread: RateSpread = None,
    film_spread: FilmSpread = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Watch friction, motor torque or eddy currents for a change, at a promised share of false alarms."""
    from planish.cli import endpoint as verb

    verb.watch(
        trace,
        json_out,
        out,
        change=change,
        by=by,
        direction=direction,
        baseline=baseline,
        block=block,
        false_alarms=false_alarms,
        longest=longest,
        column=column,
        clear=clear,
        rate_spread=rate_spread,
        film_spread=film_spread,
    )


@endpoint.command("invent")
def endpoint_invent(
    file: SetupFile,
    output: Annotated[Path, typer.Option("-o", "--output", help="Trace to write (CSV).")],
    kind: Annotated[str, typer.Option("--kind", help="light, friction or eddy.")] = "light",
    seed: Annotated[int, typer.Option("--seed", help="Seed of noise and wander.")] = 0,
    signal_to_noise: Annotated[
        float,
        typer.Option("--signal-to-noise", help="Half the swing of the fringes over the noise, or the step."),
    ] = 20.0,
    interval: Annotated[str | None, typer.Option("--interval", help="From sample to sample; 0.2 s.")] = None,
    until: Annotated[
        str | None, typer.Option("--until", help="Mean thickness at which the trace ends, as '400 nm'.")
    ] = None,
    spot: Annotated[
        str | None, typer.Option("--spot", help="Radii that the light looks at, as '0..20 mm'.")
    ] = None,
    wander: Annotated[
        str | None, typer.Option("--wander", help="By how much the rate wanders in a minute; 3 %.")
    ] = None,
    step: Annotated[
        str | None, typer.Option("--step", help="By how much friction changes when all is clear; 10 %.")
    ] = None,
    film: Film = None,
    light: Light = None,
    under: Under = None,
    ambient: Ambient = None,
    angle: Angle = None,
    polarization: Polarization = None,
    below: Below = None,
    share: Share = None,
    settings: Settings = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Write the trace that a wafer of a setup would give while its top film is polished: for teaching, and to try things on."""
    from planish.cli import endpoint as verb

    verb.invent(
        file,
        settings or [],
        output,
        json_out,
        out,
        kind=kind,
        seed=seed,
        signal_to_noise=signal_to_noise,
        interval=interval,
        until=until,
        spot=spot,
        wander=wander,
        step=step,
        film=film,
        light=light,
        under=under,
        ambient=ambient,
        angle=angle,
        polarization=polarization,
        below=below,
        share=share,
    )
