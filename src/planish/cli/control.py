"""The verb that holds a step by moving its settings: run-to-run control, tried and for real."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from planish.cli import show
from planish.errors import DataError, refuse

if TYPE_CHECKING:
    from planish import ControlledStep

MOST_SHOWN = 60


def tried(
    file: Path, settings: list[str], output: Path | None, json_out: bool, out: Path | None, **options: Any
) -> None:
    """Try controls on a simulated step, and print them side by side."""
    from planish import try_control
    from planish.jobs.changed import load_changed

    setup = load_changed(file, settings)
    for name in ("spreads", "true_spreads"):
        if options.get(name) is not None:
            options[name] = pairs(options[name], "--spread" if name == "spreads" else "--true-spread")
    with show.progress("trying", json_out) as told:
        found = try_control(setup, progress=told, **options)
    document: dict[str, Any] = found.document()
    if json_out:
        show.print_json(document)
    else:
        from planish.explain.words import label

        rows = document["controls"]
        show.table([label(key) for key in rows[0]], [list(row.values()) for row in rows])
        show.summary(document)
    if output is not None:
        from planish.jobs.held_pictures import write_picture

        show.written([write_picture(found, output)], json_out)
    show.files(found, out, json_out)


def begin(file: Path, settings: list[str], folder: Path, json_out: bool, **options: Any) -> None:
    """Put a step under control, in advice."""
    from planish import begin_control
    from planish.jobs.changed import load_changed

    setup = load_changed(file, settings)
    if options.get("spreads") is not None:
        options["spreads"] = pairs(options["spreads"], "--spread")
    given = {name: value for name, value in options.items() if value is not None}
    with show.progress("foretelling", json_out) as told:
        step = begin_control(setup, folder, when=now(), progress=told, **given)
    _news(step.status(), json_out)


def advise(folder: Path, json_out: bool, incoming: list[str] | None, **options: Any) -> None:
    """Say what to set for the next wafer."""
    found = _open(folder).advise(when=now(), incoming=incoming or None, **_given(options))
    document: dict[str, Any] = found.document()
    if json_out:
        show.print_json(document)
        return
    if found.off:
        typer.echo(found.why)
        return
    state = "in force" if found.approved else "waits: 'hold approve' or 'hold decline'"
    typer.echo(f"advice {found.number} for head {document['head']}, platen {document['platen']}: {state}")
    from planish.explain.words import label

    rows = [["time of the step", f"{document['time_s']:.4g} s", f"{document['time_now_s']:.4g} s"]]
    pressures = zip(document["pressures_psi"], found.now.pressures, strict=True)
    from planish.units import PSI

    rows += [
        [f"pressure of zone {number}", f"{psi:.4g} psi", f"{then / PSI:.4g} psi"]
        for number, (psi, then) in enumerate(pressures, 1)
    ]
    show.table(["setting", "advised", "in force"], rows)
    held = document["held"]
    show.table([label(key) for key in held[0]], [list(row.values()) for row in held])
    typer.echo(found.why)
    for limit in found.limits:
        typer.echo(f"held by a limit: {limit}")
    for note in document["notes"]:
        typer.echo(f"note: {note}")


def decide(folder: Path, number: int, approved: bool, json_out: bool, by: str, why: str) -> None:
    """Approve or decline an advice."""
    step = _open(folder)
    made = step.approve if approved else step.decline
    _news(made(number, by=by, when=now(), why=why), json_out)


def ran(folder: Path, wafer: str, json_out: bool, incoming: list[str] | None, **options: Any) -> None:
    """Tell that a wafer was polished."""
    _news(_open(folder).ran(wafer, when=now(), incoming=incoming or None, **_given(options)), json_out)


def learn(
    folder: Path, wafer: str, removed: list[str] | None, missing: bool, json_out: bool, **options: Any
) -> None:
    """Tell what a wafer measured."""
    if bool(removed) == missing:
        given = "both" if missing else "neither"
        raise DataError(refuse("--removed, --missing", given, "one of the two", "as --removed '500 nm'"))
    amounts = None if missing else removed
    _news(_open(folder).measured(wafer, amounts, when=now(), **_given(options)), json_out)


def changed(folder: Path, part: str, json_out: bool, **options: Any) -> None:
    """Tell that a consumable was changed."""
    _news(_open(folder).changed(part, when=now(), **_given(options)), json_out)


def switch_on(folder: Path, json_out: bool, **options: Any) -> None:
    """Switch on."""
    _news(_open(folder).switch_on(when=now(), **options), json_out)


def switch_off(folder: Path, json_out: bool, by: str, why: str) -> None:
    """Switch off, at once and whatever else is broken."""
    from planish import stop_control

    text = stop_control(folder, when=now(), by=by, why=why)
    if json_out:
        show.print_json({"text": text, "mode": "off"})
    else:
        typer.echo(text)


def state(folder: Path, json_out: bool) -> None:
    """Say where heads and platens stand."""
    _news(_open(folder).status(), json_out)


def now() -> str:
    """Return the time as text, with its zone."""
    return datetime.datetime.now().astimezone().isoformat(timespec="seconds")


def pairs(given: list[str], option: str) -> dict[str, str]:
    """Return ``NAME=SIZE`` texts as a table."""
    found = {}
    for text in given:
        name, sign, value = text.partition("=")
        if not sign or not name.strip() or not value.strip():
            raise DataError(refuse(option, text, "NAME=SIZE", f"as {option} 'pad=2 %'"))
        found[name.strip()] = value.strip()
    return found


def limits(**given: str | None) -> dict[str, str] | None:
    """Return the limits that were given."""
    return {name: text for name, text in given.items() if text is not None} or None


def _open(folder: Path) -> ControlledStep:
    from planish import ControlledStep

    return ControlledStep.open(folder)


def _given(options: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in options.items() if value is not None}


def _news(found: Any, json_out: bool) -> None:
    document: dict[str, Any] = found.document()
    if json_out:
        show.print_json(document)
        return
    typer.echo(found.text)
    rows = document.get("places") or ()
    if rows:
        from planish.explain.words import label

        shown = rows[:MOST_SHOWN]
        cells = [
            [
                " ".join(f"{one:g}" for one in cell) if isinstance(cell, list | tuple) else cell
                for cell in row.values()
            ]
            for row in shown
        ]
        show.table([label(key) for key in shown[0]], cells)
    for note in document.get("notes", ()):
        typer.echo(f"note: {note}")
