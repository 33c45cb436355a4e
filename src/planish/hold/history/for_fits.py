"""Wafers of a history as a table of runs, with their maps: what fits are made from."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from planish.errors import DataError, refuse
from planish.hold.history import ask
from planish.hold.history.keys import digest_of
from planish.hold.history.moments import told
from planish.measure.runs.read import MOST_RUNS
from planish.measure.runs.record import Run, RunTable
from planish.measure.sites.pairing import Paired, paired

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from planish.hold.history.chosen import Chosen
    from planish.measure.sites.read import SiteMap

_PLACES = ("tool", "head", "platen", "recipe", "pad", "disk", "ring")
_FIGURES = ("time", "cut", "pad_wafers", "pad_time", "disk_time", "ring_time")


def run_table(connection: Connection, which: Chosen, place: str) -> RunTable:
    """Return wafers as a table of runs.

    Parameters
    ----------
    connection
        To a history.
    which
        Wafers.
    place
        What the history is called.

    Raises
    ------
    DataError
        Where no wafer is meant, or more than a fit takes.
    """
    columns = (
        "polished",
        "key",
        "digest",
        "wafer",
        "lot",
        "settings",
        "told_rate",
        "told_error",
        "error_of_rate",
        "kept",
    )
    rows = ask.wafer_rows(connection, which, [*columns, *_PLACES, *_FIGURES])
    if not 0 < len(rows) <= MOST_RUNS:
        raise DataError(
            refuse(
                f"{place}: wafers that are meant by {which.told()}",
                len(rows),
                f"1 to {MOST_RUNS} for a fit",
                "planish log show lists them",
            )
        )
    settings = ask.settings(connection, {bytes(row.settings) for row in rows if row.settings is not None})
    maps = ask.maps(connection, [(row.polished, bytes(row.key)) for row in rows])
    runs = tuple(
        _run(row, settings.get(bytes(row.settings or b""), {}), maps.get((row.polished, bytes(row.key))))
        for row in rows
    )
    digest = digest_of([], (bytes(row.digest) for row in rows)).hex()
    count = f"{len(runs)} {'wafer' if len(runs) == 1 else 'wafers'} of the history ({which.told()})"
    return RunTable(place, runs, f"{place}: {count}", ((f"history: {which.told()}", digest),))


def _run(row: Any, settings: dict[str, str], maps: dict[str, SiteMap] | None) -> Run:
    words = {name: text for name in _PLACES if (text := row._mapping[name])}
    return Run(
        place=f"history: wafer {row.wafer!r} of {told(row.polished)}",
        wafer=row.wafer or None,
        lot=row.lot or None,
        rate=row.told_rate,
        sd=row.told_error,
        sd_is_rate=bool(row.error_of_rate),
        settings=settings,
        words={**words, "when": told(row.polished)},
        kept=json.loads(row.kept) if row.kept else {},
        measured=_removal(maps),
        **{name: row._mapping[name] for name in _FIGURES},
    )


def _removal(maps: dict[str, SiteMap] | None) -> Paired | None:
    if not maps:
        return None
    return paired(maps["removal"], None) if "removal" in maps else paired(maps["before"], maps["after"])
