"""What is taken of a gauge's table: units, one wafer, plain numbers; and what is not taken, told."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from planish.engine.record import counted
from planish.errors import DataError, refuse
from planish.measure.sites.column_map import ColumnMap
from planish.measure.sites.column_names import unit_of
from planish.measure.sites.heads import Head
from planish.measure.sites.preamble import Preamble
from planish.measure.sites.sorting import Sorted
from planish.measure.sites.which import SeveralWafersError
from planish.measure.tables.columns import ANGLES, LENGTHS, parse_units_note, rate_unit, split_name
from planish.measure.tables.decimals import Decimal, decimal_sign, plain_number
from planish.measure.tables.read import Table
from planish.measure.tables.workbook import Row

_REACH = (0.015, 0.226)


@dataclass(frozen=True, slots=True)
class Understood:
    """A site file made plain.

    Attributes
    ----------
    table
        Columns named by role; numbers with a decimal point.
    units
        By role.
    told
        What was understood, in one line.
    """

    table: Table
    units: Mapping[str, str]
    told: str


def unit(head: Head, role: str, column: int, rows: Sorted, before: Preamble, told: ColumnMap) -> str:
    """Return the unit of a column.

    Parameters
    ----------
    head, role, column
        Whose.
    rows, before, told
        Where it may be said.

    Returns
    -------
    str
        As tables name it.

    Raises
    ------
    DataError
        If nobody says it, two places say two, or it is none of the quantity.
    """
    name = head.names[column]
    note = before.notes.get("units") or before.notes.get("unit") or ""
    noted = parse_units_note(note, f"{head.grid.path}: the line '# units:'") if note else {}
    by_note = noted.get(split_name(name.header)[0]) or noted.get(role)
    said = {
        "in its name": name.unit,
        "under its name": rows.units.get(column),
        "in the line '# units:'": unit_of(by_note) if by_note else None,
        "above the table": before.units.get(role),
    }
    stated = {where: text for where, text in said.items() if text}
    if role in told.units:
        found = unit_of(told.units[role]) or ""
    elif not stated and name.header.endswith(("]", ")")) and (other_unit := split_name(name.header)[1]):
        raise DataError(_no_such_unit(head, role, column, other_unit))
    elif not stated:
        raise DataError(_no_unit(head, role, column, rows.sites))
    else:
        found = next(iter(stated.values()))
        other = next(((where, text) for where, text in stated.items() if _size(text) != _size(found)), None)
        if other:
            first = next(iter(stated))
            raise DataError(
                f"{head.place}: column {head.header(column)} is in {found} {first} and in {other[1]} {other[0]}: must be "
                f"one (say which: --unit {role}={found})"
            )
    kinds: dict[str, Callable[[str], object]] = {"theta": ANGLES.get, "rate": rate_unit}
    if kinds.get(role, LENGTHS.get)(found) is None:
        raise DataError(_no_such_unit(head, role, column, found))
    return found


def _no_such_unit(head: Head, role: str, column: int, text: str) -> str:
    wanted = {"theta": "deg or rad", "rate": "a length over a time, as nm/min"}.get(
        role, "a length unit: m, cm, mm, um, nm, A (angstrom), kA or in"
    )
    return refuse(
        f"{head.place}: unit of column {head.header(column)}", text, wanted, f"or say it: --unit {role}=UNIT"
    )


def _size(text: str) -> object:
    return LENGTHS.get(text) or ANGLES.get(text) or rate_unit(text)


def _no_unit(head: Head, role: str, column: int, sites: Sequence[Row]) -> str:
    example = {"theta": "deg", "thickness": "nm", "removal": "nm", "rate": "nm/min"}.get(role, "mm")
    hint = ""
    if role in ("x", "y", "r"):
        try:
            most = max(abs(float(cells[column].replace(",", "."))) for _, cells in sites)
        except ValueError:
            most = 0.0
        fits = [name for name in ("um", "mm", "cm", "in") if _REACH[0] <= most * LENGTHS[name] <= _REACH[1]]
        if fits:
            hint = f"; its largest is {most:g}, which fits a wafer in {' or '.join(fits)}"
            example = fits[0]
    return (
        f"{head.place}: column {head.header(column)} has no unit: must be told, in its name or --unit {role}={example} "
        f"(in Python columns={{'units': {{'{role}': '{example}'}}}}){hint}"
    )


def one_wafer(
    head: Head, sites: Sequence[Row], column: int | None, before: Preamble, wafer: str | None
) -> tuple[Sequence[Row], list[str]]:
    """Return the rows of one wafer, and what to tell of it.

    Parameters
    ----------
    head
        The column names.
    sites
        Rows of sites.
    column
        That names the wafer, or None.
    before
        What stands above the names.
    wafer
        As asked for.

    Raises
    ------
    DataError
        If there are several and none is asked for, or the one asked for is not there.
    """
    if column is None:
        return sites, _wafer_of_file(head, before, wafer)
    for line, cells in sites:
        if not cells[column]:
            raise DataError(
                f"{head.grid.path}: {head.grid.place} {line}, column {head.header(column)} is empty: must name the wafer "
                "(fill it in on every row)"
            )
    ids = list(dict.fromkeys(cells[column] for _, cells in sites))
    if wafer is None and len(ids) == 1:
        return sites, [f"wafer {ids[0][:40]}"]
    shown = ", ".join(name[:40] for name in ids[:12]) + (
        f" and {len(ids) - 12} more" if len(ids) > 12 else ""
    )
    if wafer is None:
        raise SeveralWafersError(
            f"{head.grid.path}: holds {len(ids)} wafers: {shown} (say which: --wafer {ids[0][:40]}, in Python wafer={ids[0][:40]!r})",
            ids,
        )
    if wafer not in ids:
        raise DataError(refuse(f"{head.grid.path}: wafer", wafer, f"one of {shown}"))
    return [row for row in sites if row[1][column] == wafer], [f"wafer {wafer[:40]}, one of {len(ids)}"]


def _wafer_of_file(head: Head, before: Preamble, wafer: str | None) -> list[str]:
    stem = Path(head.grid.path).stem
    if wafer is None:
        return [f"wafer {before.wafer[:40]}"] if before.wafer else []
    if before.wafer:
        if wafer == before.wafer:
            return [f"wafer {wafer[:40]}"]
        raise DataError(
            refuse(f"{head.grid.path}: wafer", wafer, f"{before.wafer[:40]}, the wafer of this file")
        )
    parts = stem.replace("-", "_").replace(" ", "_").replace(".", "_").casefold().split("_")
    if wafer.casefold() in (*parts, stem.casefold()):
        return [f"wafer {wafer[:40]} by the name of the file"]
    raise DataError(
        refuse(
            f"{head.grid.path}: wafer",
            wafer,
            "in a column of wafers (the file has none), above the table or in the name of the file",
        )
    )


def plain_columns(
    head: Head, rows: Sequence[Row], used: Mapping[str, int], told: ColumnMap
) -> tuple[dict[str, tuple[str, ...]], list[str]]:
    """Return the numbers of columns with a decimal point, and what to tell of how they are written.

    Parameters
    ----------
    head
        The column names.
    rows
        Of sites.
    used
        Columns by role.
    told
        Which may say the decimal sign.

    Raises
    ------
    DataError
        If the sign cannot be told, or a cell has another one.
    """
    cells = (row[i] for _, row in rows for i in used.values())
    sign: Decimal
    if told.decimal is None:
        sign, grouped = decimal_sign(cells, head.grid.path)
    else:
        sign, grouped = ("comma" if told.decimal == "comma" else "point"), False
    out = {}
    for role, i in used.items():
        column = []
        for line, row in rows:
            try:
                column.append(plain_number(row[i], sign))
            except ValueError:
                raise DataError(
                    f"{head.grid.path}: {head.grid.place} {line}, column {head.header(i)} = {row[i][:40]!r}: must have a "
                    "decimal comma as the others (or say --decimal point)"
                ) from None
        out[role] = tuple(column)
    return out, ["decimal commas"] * (sign == "comma") + ["digits in groups of three"] * grouped


def left_out(head: Head, rows: Sorted, before: Preamble, used: set[int]) -> list[str]:
    """Return what of a file was not used, and why.

    Parameters
    ----------
    head, rows, before
        The file.
    used
        Its columns that were.
    """
    out = []
    if before.rows:
        out.append(f"{counted(before.rows, 'line')} above the names")
    if rows.units_line:
        out.append(f"units on {head.grid.place} {rows.units_line}")
    names = [name.header[:24] or "without a name" for i, name in enumerate(head.names) if i not in used]
    if names:
        more = f" and {len(names) - 8} more" if len(names) > 8 else ""
        out.append(f"columns left out: {', '.join(names[:8])}{more}")
    for what, lines in (
        ("without a value", [line for line, _ in rows.without]),
        (f"of summary ({', '.join(dict.fromkeys(word[:12] for _, word in rows.summary))[:80]})",
         [line for line, _ in rows.summary]),
        ("of names again", rows.again),
        ("of text", rows.text),
    ):  # fmt: skip
        if lines:
            shown = ", ".join(str(line) for line in lines[:6]) + (", ..." if len(lines) > 6 else "")
            signs = "" if what != "without a value" else _signs([sign for _, sign in rows.without])
            place = head.grid.place if len(lines) == 1 else f"{head.grid.place}s"
            out.append(f"{counted(len(lines), 'row')} {what}{signs} left out ({place} {shown})")
    return out


def _signs(signs: Sequence[str]) -> str:
    return f" [{', '.join(dict.fromkeys(sign[:10] for sign in signs))[:40]}]"
