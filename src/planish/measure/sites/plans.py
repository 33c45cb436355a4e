"""Where the sites of a gauge's table lie: by columns, by dies, or by a plan."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Literal, cast

import numpy as np

from planish.errors import DataError, refuse
from planish.measure.sites.column_map import ColumnMap
from planish.measure.sites.heads import Head
from planish.measure.sites.preamble import Preamble
from planish.measure.sites.site_plan import site_plan
from planish.units import as_si

Columns = dict[str, tuple[str, ...]]
PLANS = ("9", "49", "121-line")
ORDER = "in the order of the plan: centre first, each ring from +x anticlockwise"


def placed(
    head: Head,
    way: tuple[str, str] | None,
    columns: Mapping[str, tuple[str, ...]],
    units: Mapping[str, str],
    told: ColumnMap,
    before: Preamble,
    *,
    missing: int,
) -> tuple[Columns, dict[str, str], str]:
    """Return the columns with places, their units, and what to tell of the places.

    Parameters
    ----------
    head
        The column names.
    way
        Which columns say the places, or None.
    columns, units
        By role.
    told
        Pitch, die at the centre, plan.
    before
        May say the wafer's size.
    missing
        How many rows had no value.

    Raises
    ------
    DataError
        If dies have no pitch or no centre, or the sites are not those of the plan.
    """
    out, found = dict(columns), dict(units)
    if way is None:
        x, y, which = plan(told.site_plan or "", before, head.place)
        rows = _rows_of_plan(head, out.get("site"), len(next(iter(out.values()))), len(x), missing)
        out["x"], out["y"] = (tuple(repr(float(v[i])) for i in rows) for v in (x, y))
        return out, {**found, "x": "m", "y": "m"}, which
    if told.site_plan is not None:
        raise DataError(
            f"{head.place}: site_plan = {told.site_plan!r}: must be left out: columns {way[0]} and {way[1]} say the places"
        )
    if way != ("die_x", "die_y"):
        if told.pitch is not None:
            raise DataError(
                f"{head.place}: pitch = {told.pitch!r}: must be left out: columns {way[0]} and {way[1]} say the places "
                "(or say --column die_x=NAME --column die_y=NAME)"
            )
        return out, found, ""
    pitch = told.die_pitch()
    if pitch is None:
        raise DataError(
            f"{head.place}: the sites are named by dies, whose pitch is not known: must be told (--pitch 26mm,33mm)"
        )
    dies = [np.array([_index(head, cell) for cell in out.pop(role)]) for role in way]
    centre = told.die_at_centre()
    how = "as told"
    if centre is None:
        if any(die.min() != -die.max() for die in dies):
            raise DataError(
                f"{head.place}: die indices from {_span(dies[0])} along x and {_span(dies[1])} along y: which lies at the "
                "wafer's centre must be told (--centre-die 0,0; halves, as 5.5,4, lie between two dies)"
            )
        centre, how = (0.0, 0.0), "their middle"
    for name, die, at, step in zip("xy", dies, centre, pitch, strict=True):
        out[name] = tuple(repr(float(v)) for v in (die - at) * step)
        found[name] = "m"
    told_pitch = f"{1e3 * pitch[0]:g} mm by {1e3 * pitch[1]:g} mm"
    return (
        out,
        found,
        f"sites at the middle of dies of {told_pitch}, die {centre[0]:g},{centre[1]:g} at the centre ({how})",
    )


def plan(text: str, before: Preamble, place: str) -> tuple[np.ndarray, np.ndarray, str]:
    """Return the places of a plan [m] and what to tell of it.

    Parameters
    ----------
    text
        As ``49, 300 mm, 3 mm``; the diameter may be left out where the file says it.
    before
        May say the wafer's size.
    place
        For the refusal.

    Raises
    ------
    DataError
        If plan, diameter or edge exclusion is not known.
    """
    kind, *lengths = (piece.strip() for piece in text.split(","))
    if kind not in PLANS or len(lengths) > 2:
        raise DataError(
            refuse(
                "site_plan",
                text,
                f"{', '.join(PLANS)}, then diameter and edge exclusion",
                "as '49, 300 mm, 3 mm'",
            )
        )
    size = before.notes.get("wafer", "")
    if len(lengths) == 1 and size:
        lengths = [size, lengths[0]]
    if len(lengths) != 2:
        raise DataError(
            f"{place}: site_plan = {text!r}: must say the wafer's diameter and the edge exclusion (as '{kind}, 300 mm, 3 mm')"
        )
    diameter, edge = (as_si(length, "length", "site_plan") for length in lengths)
    x, y = site_plan(cast('Literal["9", "49", "121-line"]', kind), diameter / 2, edge)
    order = ORDER if kind != "121-line" else "in the order of the plan: from -x to +x"
    return x, y, f"sites of plan {kind} on {1e3 * diameter:g} mm less {1e3 * edge:g} mm edge, {order}"


def _rows_of_plan(
    head: Head, sites: tuple[str, ...] | None, rows: int, count: int, missing: int
) -> list[int]:
    """Which site of the plan each row is: by its number, else by its order where none is missing."""
    if sites is not None and all(re.fullmatch(r"\d{1,6}", site) for site in sites):
        numbers = [int(site) for site in sites]
        if rows + missing == count and all(1 <= number <= count for number in numbers):
            return [number - 1 for number in numbers]
    elif rows == count:
        return list(range(count))
    raise DataError(
        f"{head.place}: {rows} sites and {missing} without a value where the plan has {count}: must be the sites of the plan, "
        f"numbered from 1 to {count} (say another plan, or give columns of x and y)"
    )


def _index(head: Head, text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise DataError(f"{head.place}: die index {text[:20]!r}: must be a number") from None


def _span(die: np.ndarray) -> str:
    return f"{die.min():g} to {die.max():g}"
