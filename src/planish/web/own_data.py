"""What dropped files say: site maps against the prediction, traces cut into wafers, layouts by layer."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from planish.errors import DataError, PlanishError
from planish.results.plain import clean
from planish.web.answers import setup_of

MOST_POINTS = 2000
MOST_LAYERS = 64
MOST_FLAGS = 50


def warm() -> str:
    """Load what reading a table and a layout needs, so that the first file is not charged for it."""
    from planish.jobs.file_kinds import load_readers

    load_readers()
    return "ready"


def look(path: str, name: str, kind: str) -> dict[str, Any]:
    """Return what a file is: sites, traces, rates or layout, with its main figures."""
    from planish.jobs.file_kinds import layout_told, table_told

    with named(path, name):
        if kind != "layout":
            return dict(clean(table_told(path)))
        told = layout_told(path)
    return {**told, "layers": told["layers"][:MOST_LAYERS]}


def measured(
    document: Mapping[str, Any],
    names: Mapping[str, str],
    before: str,
    after: str | None,
    time_s: float | None,
) -> dict[str, Any]:
    """Return measured removal at its sites beside the prediction at the same radii, and what a fit says."""
    from planish.jobs.measured import measured_against

    setup = setup_of(document)
    with named(before, names.get(before, "before")), named(after or "", names.get(after or "", "after")):
        against = measured_against(setup, before, after, time_s)
    removal, wafer = against.paired.removal, against.wafer
    pick = slice(None, None, max(1, -(-len(removal) // MOST_POINTS)))
    return dict(
        clean(
            {
                "figures": against.rows(),
                "x": removal.x[pick],
                "y": removal.y[pick],
                "r": removal.r[pick],
                "measured": removal.value[pick],
                "predicted": against.at_sites[pick],
                "profile_r": wafer.radius,
                "profile": wafer.removed,
                "time_s": against.time,
                "rms_nm": against.rms * 1e9,
                "findings": against.sentences(),
                "flags": against.figures["flags"],
                "fit": against.fit.document() if against.fit is not None else {},
            }
        )
    )


def traces(path: str, name: str, rates: str | None) -> dict[str, Any]:
    """Return traces cut into wafers: how long each was under pressure, its pressure x speed, and its rate."""
    from planish.jobs.rates import rate_sentences, read_measured_wafers

    with named(path, name):
        wafers = read_measured_wafers(path, rates or None, source=name)
    table = wafers.table
    pick = table[:: max(1, -(-table.height // MOST_POINTS))]
    answer: dict[str, Any] = {
        "polishes": table.height,
        "flags": list(wafers.flags)[:MOST_FLAGS],
        "flagged": len(wafers.flags),
        "notes": list(wafers.notes),
        "seconds": pick["seconds"].to_list(),
        "pressure_speed": pick["pressure_speed"].to_list(),
        "wafer": [str(value) for value in pick["wafer"].to_list()],
    }
    if "rate" in table.columns:
        answer["rate"] = pick["rate"].to_list()
        answer["findings"] = rate_sentences(wafers)
    return dict(clean(answer))


@contextmanager
def named(path: str, name: str) -> Iterator[None]:
    """Put the name that a person knows in place of the path on the server, in what is refused."""
    try:
        yield
    except PlanishError as error:
        raise DataError(str(error).replace(path, name) if path else str(error)) from None
