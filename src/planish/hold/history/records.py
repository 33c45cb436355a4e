"""What a history holds of a wafer, an event and a decision, as rows of its tables."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse
from planish.hold.history.keys import digest_of, key_of
from planish.hold.history.moments import moment
from planish.measure.runs.columns import WORDS
from planish.measure.sites.by_wafer import same_numbers
from planish.measure.sites.pairing import paired
from planish.measure.sites.statistics import wafer_statistics

if TYPE_CHECKING:
    from planish.measure.runs.record import Run
    from planish.measure.sites.read import SiteMap

Row = dict[str, Any]
LONGEST = 1000  # characters of a text that somebody writes


@dataclass(frozen=True, slots=True)
class WaferRecord:
    """A wafer as it is put into the tables.

    Attributes
    ----------
    row
        Of the table of wafers, but for the entry that adds it.
    place
        Where it was read, for refusals.
    settings
        What was set otherwise, as JSON; "" where nothing is told.
    maps
        Plan, and row of the table of maps, of each of its maps.
    """

    row: Row
    place: str
    settings: str = ""
    maps: tuple[tuple[Row, Row], ...] = field(default=())


def wafer_record(run: Run, before: SiteMap | None = None, after: SiteMap | None = None) -> WaferRecord:
    """Return the record of a wafer.

    Parameters
    ----------
    run
        Its row in a table of runs.
    before, after
        Thickness of its sites; or the removal, and None; or neither.

    Raises
    ------
    DataError
        For a wafer without a name or a moment, and sites that do not pair up or of which nothing is removed.
    """
    if run.wafer is None and run.cut is None:
        raise DataError(
            f"{run.place}: the name of the wafer is not given: must be filled in (a column wafer)"
        )
    if "when" not in run.words:
        raise DataError(
            f"{run.place}: the day and time of polishing is not given: must be filled in (a column polished at)"
        )
    at = moment(run.words["when"], f"{run.place}: polished at")
    words = {"wafer": run.wafer or "", "lot": run.lot or ""} | {
        name: run.words.get(name, "") for name in WORDS if name != "when"
    }
    key = key_of(
        "wafer" if run.wafer else "cut", at, *(words[name] for name in ("wafer", "lot", "tool", "platen"))
    )
    settings, settings_key = _settings(tuple(sorted(run.settings.items())))
    figures: Row = {
        "settings": settings_key,
        "pad_wafers": run.pad_wafers,
        "pad_time": run.pad_time,
        "disk_time": run.disk_time,
        "ring_time": run.ring_time,
        "cut": run.cut,
        "told_rate": run.rate,
        "told_error": run.sd,
        "error_of_rate": run.sd_is_rate,
        "kept": json.dumps(dict(sorted(run.kept.items()))) if run.kept else None,
        **_summary(run, before, after),
    }
    maps = tuple(
        _map(at, key, which, each)
        for which, each in (
            ("removal" if after is None else "before", before),
            ("after", after),
        )
        if each is not None
    )
    told = {**words, **figures, "polished": at, "settings": settings}
    digest = digest_of(told, [part for plan, row in maps for part in (plan["key"], row["values"])])
    return WaferRecord(
        {"polished": at, "key": key, "digest": digest, **words, **figures}, run.place, settings, maps
    )


@lru_cache(1024)
def _settings(told: tuple[tuple[str, str], ...]) -> tuple[str, bytes | None]:
    text = json.dumps(dict(told)) if told else ""
    return text, key_of(text) if told else None


def _summary(run: Run, before: SiteMap | None, after: SiteMap | None) -> Row:
    names = ("time", "removed", "rate", "wiwnu_sigma", "wiwnu_range", "sigma", "minimum", "maximum", "sites")
    found: Row = dict.fromkeys(names) | {"time": run.time, "rate": run.rate}
    if run.rate is not None and run.time is not None:
        found["removed"] = run.rate * run.time
    if before is None:
        return found
    try:
        values, stated = _removal(before, after)
        figures = wafer_statistics(values)
    except DataError as error:
        raise DataError(f"{run.place}: {error}") from None
    time = run.time if run.time is not None else stated
    return found | {
        "time": time,
        "removed": figures.mean,
        "rate": None if time is None else figures.mean / time,
        "wiwnu_sigma": figures.wiwnu_sigma_percent,
        "wiwnu_range": figures.wiwnu_range_percent,
        "sigma": figures.sigma,
        "minimum": figures.minimum,
        "maximum": figures.maximum,
        "sites": figures.sites,
    }


def _removal(before: SiteMap, after: SiteMap | None) -> tuple[NDArray[np.float64], float | None]:
    """Return the removal at each site, and the polish time that the files state [s]."""
    if (
        after is not None
        and before.named_sites
        and after.named_sites
        and before.site == after.site
        and before.quantity == after.quantity == "thickness"
        and (before.polish_time, before.wafer_radius) == (after.polish_time, after.wafer_radius)
        and len(before) > 1
        and same_numbers(before.x, after.x)
        and same_numbers(before.y, after.y)
    ):  # nothing to pair up: a month of wafers is paired in a third of the time
        return before.value - after.value, before.polish_time
    removal = paired(before, after).removal
    return removal.value, removal.polish_time


def _map(at: int, key: bytes, which: str, sites: SiteMap) -> tuple[Row, Row]:
    values = _doubles(sites.value)
    plan = _plan(
        sites.site,
        bool(sites.named_sites),
        sites.unit,
        sites.wafer_radius,
        _doubles(sites.x),
        _doubles(sites.y),
    )
    return plan, {"polished": at, "key": key, "which": which, "plan": plan["key"], "values": values}


def _doubles(values: NDArray[np.float64]) -> bytes:
    return np.ascontiguousarray(values, dtype="<f8").tobytes()


@lru_cache(64)  # wafer after wafer has the same
def _plan(
    names: tuple[str, ...], named: bool, unit: str, wafer_radius: float | None, x: bytes, y: bytes
) -> Row:
    text = json.dumps(list(names))
    key = digest_of((text, named, unit, wafer_radius), (x, y))
    return {"key": key, "sites": len(names), "x": x, "y": y, "names": text, "named": named, "unit": unit,
            "wafer_radius": wafer_radius}  # fmt: skip


def event_row(kind: str, at: int, words: Mapping[str, str], place: str) -> Row:
    """Return an event as a row of its table, but for the entry that adds it.

    Parameters
    ----------
    kind
        What happened, as "pad change".
    at
        When [µs since 1970].
    words
        Tool, head, platen, the part that came in, and a note; those that are said.
    place
        For refusals.

    Raises
    ------
    DataError
        For no kind, and for text that is too long.
    """
    told = {name: words.get(name, "").strip() for name in ("tool", "head", "platen", "part", "note")}
    what = " ".join(kind.split()).lower()
    if not what:
        raise DataError(
            refuse(f"{place}: event", kind, "what happened", "as 'pad change', 'disk change' or 'idle'")
        )
    for name, text in {**told, "event": what}.items():
        check_words(text, f"{place}: {name}")
    key = key_of("event", what, at, told["tool"], told["head"], told["platen"])
    return {"key": key, "digest": digest_of([what, at, told]), "at": at, "kind": what, **told}


def check_words(text: str, place: str) -> str:
    """Return a text that somebody wrote, stripped.

    Parameters
    ----------
    text
        As given.
    place
        For the refusal.

    Raises
    ------
    DataError
        Where it is too long, or holds what no text holds.
    """
    if len(text) > LONGEST or "\0" in text:
        raise DataError(f"{place}: {len(text)} characters: must be a text of at most {LONGEST}")
    return text.strip()
