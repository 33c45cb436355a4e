"""The verb that polishes all fields of a wafer."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from planish.cli import show
from planish.errors import DataError

if TYPE_CHECKING:
    from planish.cli.die import DieWords
    from planish.predict.die.fields_result import FieldsResult


def fields(
    file: Path,
    words: DieWords,
    workers: int | None,
    cluster: str | None,
    json_out: bool,
    out: Path | None,
    units: str,
) -> None:
    """Polish the layout in every field of the wafer and print how its figures spread."""
    show.check_units(units)
    if words.place != "centre":
        raise DataError(f"die --place {words.place}: must stand without --fields, which polishes all of them")
    if words.from_die is not None:
        raise DataError(
            "die --from-die: must stand without --fields (each field would need its own topography)"
        )
    from planish import polish_fields
    from planish.engine.execute import CancelledError, stopped_by_interrupt
    from planish.jobs.dies import asked_options

    setups, maps = words.setups(file), words.maps(json_out)
    options = asked_options(setups[0], words.asked(), show.stages(json_out))
    try:
        with show.progress("fields", quiet=json_out) as tell, stopped_by_interrupt() as cancel:
            result = polish_fields(
                setups,
                maps,
                workers=workers,
                address=cluster,
                progress=lambda done, of: tell(done / of),
                cancel=cancel,
                **options,
            )
    except CancelledError as stopped:
        typer.echo(f"planish: {stopped}", err=True)
        raise typer.Exit(130) from None
    _print(result, json_out, units)
    show.files(result, out, json_out)


def _print(result: FieldsResult, json_out: bool, units: str) -> None:
    figures: dict[str, Any] = result.document()
    if json_out:
        show.print_json(figures)
        return
    spread = [key.removesuffix("_least_nm") for key in figures if key.endswith("_least_nm")]
    keys = {f"{name}_{side}_nm" for name in spread for side in ("least", "mean", "most")}
    show.summary({key: value for key, value in figures.items() if key not in keys}, units)
    scale, unit = (1e-9, "m") if units == "si" else (1.0, "nm")
    rows = [
        [
            name.replace("_", " "),
            *(figures[f"{name}_{side}_nm"] * scale for side in ("least", "mean", "most")),
        ]
        for name in spread
    ]
    show.table([f"over the fields [{unit}]", "least", "mean", "most"], rows, title="each field's worst value")
