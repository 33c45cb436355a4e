"""What dropped files say: sites as found and as read, and against the prediction; traces cut into wafers; layouts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any

from planish.errors import DataError, PlanishError
from planish.results.plain import clean
from planish.web.answers import setup_of

if TYPE_CHECKING:
    from planish.jobs.site_files import SiteFile

MOST_POINTS = 2000
MOST_LAYERS = 64
MOST_FLAGS = 50


def warm() -> str:
    """Load what reading a table and a layout needs, so that the first file is not charged for it."""
    from planish.jobs.file_kinds import load_readers

    load_readers()
    return "ready"


def look(path: str, name: str, kind: str, kept: Sequence[Mapping[str, Any]] = ()) -> dict[str, Any]:
    """Return what a file is, ``about`` it, and by which of a person's column maps it was read.

    A table that nobody can read by itself, and that may be read once it is told which column is what, is "unread".
    """
    from planish.jobs.file_kinds import layout_told, table_told
    from planish.jobs.site_files import known_by_header, may_be_told

    out: dict[str, Any] = {"about": {}, "told": {}, "wafer": None, "by": ""}
    with named(path, name):
        if kind == "layout":
            told = layout_told(path)
            return {**out, "about": {**told, "layers": told["layers"][:MOST_LAYERS]}}
        at = known_by_header(path, kept)
        if at is not None:
            out |= {"told": kept[at]["told"], "by": kept[at]["id"]}
        try:
            return {**out, "about": dict(clean(table_told(path, out["told"])))}
        except PlanishError as error:
            if not may_be_told(path):
                raise
            refused = str(error).replace(path, name)
    return {**out, "about": {"is": "unread", "refused": refused}}


def looked(path: str, name: str, told: Mapping[str, Any], wafer: str | None) -> dict[str, Any]:
    """Return how a site file stands and how it is read with what is told, for whoever says which column is what."""
    from planish.jobs.site_files import looked as as_found

    with named(path, name):
        found = dict(clean(as_found(path, told, wafer)))
    for key in ("understood", "refused"):
        found[key] = found[key].replace(path, name)
    return found


def read_so(path: str, name: str, told: Mapping[str, Any], wafer: str | None) -> dict[str, Any]:
    """Return what a file is when it is read as told, and the column names that it has.

    Where nothing is told, it is read as if it came anew.
    """
    from planish.jobs.file_kinds import table_told
    from planish.jobs.site_files import looked as as_found
    from planish.jobs.site_files import without_options

    try:
        with named(path, name):
            return {
                "about": dict(clean(table_told(path, told, wafer))),
                "header": as_found(path, told, wafer)["header"],
            }
    except PlanishError as error:
        raise DataError(without_options(str(error))) from None


def read_alike(
    told: Mapping[str, Any], header: Sequence[str], files: Sequence[tuple[str, str, str]]
) -> dict[str, Any]:
    """Return what those of some files are, by id, that have the same column names and can be read as told.

    ``files`` are id, path and name of each.
    """
    from planish.jobs.file_kinds import table_told
    from planish.jobs.site_files import known_by_header

    out = {}
    for one, path, name in files:
        if known_by_header(path, [{"told": told, "header": header}]) is not None:
            with suppress(PlanishError), named(path, name):
                out[one] = dict(clean(table_told(path, told)))
    return out


def map_of_toml(text: str, name: str) -> dict[str, Any]:
    """Return the column map of a TOML text, checked."""
    from planish.jobs.site_files import map_of_toml as read

    try:
        return read(text)
    except PlanishError as error:
        raise DataError(f"{name}: {error}") from None


def map_as_toml(told: Mapping[str, Any]) -> str:
    """Return the TOML text of a column map."""
    from planish.jobs.site_files import map_as_toml as written

    return written(told)


def file_as_told(path: str, told: Mapping[str, Any]) -> SiteFile:
    """Return a person's site file with the ``told`` and the ``wafer`` that it is read with."""
    from planish.jobs.site_files import SiteFile, told_of

    return SiteFile(path, told_of(told.get("told")), told.get("wafer"))


def measured(
    document: Mapping[str, Any],
    names: Mapping[str, str],
    before: str,
    after: str | None,
    time_s: float | None,
    told: Mapping[str, Mapping[str, Any]] | None = None,
) -> dict[str, Any]:
    """Return measured removal at its sites beside the prediction at the same radii, and what a fit says."""
    from planish.jobs.measured import measured_against

    setup = setup_of(document)
    with named(before, names.get(before, "before")), named(after or "", names.get(after or "", "after")):
        first, second = (
            None if path is None else file_as_told(path, (told or {}).get(path, {}))
            for path in (before, after)
        )
        assert first is not None
        against = measured_against(setup, first, second, time_s)
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
