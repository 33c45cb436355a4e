"""What the user says of a site file: which column is what, in which unit, and where the sites lie.

Kept in a small TOML file, so that a gauge's way of writing is told once.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

import tomlkit

from planish.engine.files import write_whole
from planish.engine.given import as_path
from planish.errors import DataError, refuse
from planish.measure.sites.column_names import MEASURED, ROLES, unit_of
from planish.measure.tables.grid import NAMED
from planish.units import as_si

MAX_BYTES = 64 * 1024
_TABLES = ("columns", "units")
_DECIMALS = ("point", "comma")
#: Further down than this no gauge writes its column names.
MOST_LINES = 1000


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """What is told of a site file; what is left out is found in the file or refused.

    Attributes
    ----------
    columns
        Column by role: x, y, r, theta, die_x, die_y, thickness, removal, rate, site, wafer. A thickness that
        ends in ``*`` is a row of numbered columns.
    units
        Unit by role.
    pitch
        Of the dies, as ``"26 mm, 33 mm"``: with die_x and die_y.
    centre_die
        Indices of the die at the wafer's centre, as ``"0, 0"``; halves lie between two dies.
    site_plan
        Where the sites lie, as ``"49, 300 mm, 3 mm"``: plan, diameter, edge exclusion.
    decimal
        "point" or "comma".
    sheet
        Of a workbook.
    separator
        Of a text file: "comma", "semicolon", "tab", "bar" or "blank".
    names_line
        On which line (row of a workbook) the column names stand.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    pitch: str | None = None
    centre_die: str | None = None
    site_plan: str | None = None
    decimal: str | None = None
    sheet: str | None = None
    separator: str | None = None
    names_line: int | None = None

    def __post_init__(self) -> None:
        for name, given in (("columns", self.columns), ("units", self.units)):
            if not isinstance(given, Mapping):
                raise DataError(
                    f"{name}: a {type(given).__name__} was given: must be texts by role, as x = ..."
                )
            for role, text in given.items():
                if role not in ROLES:
                    raise DataError(refuse(f"{name}: role", role, f"one of {', '.join(ROLES)}"))
                if not isinstance(text, str) or not text.strip():
                    raise DataError(refuse(f"{name}.{role}", text, "text that is not empty"))
        for role, unit in self.units.items():
            if unit_of(unit) is None:
                raise DataError(
                    refuse(
                        f"units.{role}", unit, "a unit: mm, um, in, nm, A, kA, deg, rad or a rate as nm/min"
                    )
                )
        for key in _texts():
            given = getattr(self, key)
            if given is not None and (not isinstance(given, str) or not given.strip()):
                raise DataError(refuse(key, given, "text that is not empty, or left out"))
        if self.decimal not in (None, *_DECIMALS):
            raise DataError(refuse("decimal", self.decimal, "point or comma"))
        if self.separator not in (None, *NAMED):
            raise DataError(refuse("separator", self.separator, f"one of {', '.join(NAMED)}"))
        line = self.names_line
        if line is not None and (
            isinstance(line, bool) or not isinstance(line, int) or not 1 <= line <= MOST_LINES
        ):
            raise DataError(refuse("names_line", line, f"a whole number from 1 to {MOST_LINES}"))
        if sum(role in self.columns for role in MEASURED) > 1:
            raise DataError(
                "columns: thickness, removal and rate: must be one of them, the one that was measured"
            )
        self.die_pitch()
        self.die_at_centre()

    def __bool__(self) -> bool:
        return any(bool(getattr(self, one.name)) for one in fields(self))

    def die_pitch(self) -> tuple[float, float] | None:
        """Return the pitch of the dies [m] along x and y, or None."""
        if self.pitch is None:
            return None
        pieces = self.pitch.split(",")
        if len(pieces) == 2:
            x, y = (as_si(piece.strip(), "length", "pitch") for piece in pieces)
            if 0 < x < 0.5 and 0 < y < 0.5:
                return x, y
        raise DataError(refuse("pitch", self.pitch, "two lengths above zero, below 500 mm", "as 26mm,33mm"))

    def die_at_centre(self) -> tuple[float, float] | None:
        """Return the die indices at the wafer's centre, or None."""
        if self.centre_die is None:
            return None
        try:
            x, y = (float(piece) for piece in self.centre_die.split(","))
        except ValueError:
            x = y = 1e9
        if abs(x) <= 1e4 and abs(y) <= 1e4:
            return x, y
        raise DataError(
            refuse("centre_die", self.centre_die, "two numbers", "as 0,0; or 5.5,4 between two dies")
        )

    def merged(self, over: ColumnMap) -> ColumnMap:
        """Return this with what another says in place of the same.

        Parameters
        ----------
        over
            The other.
        """
        columns = dict(self.columns)
        if any(role in over.columns for role in MEASURED):  # what was measured is one thing
            columns = {role: text for role, text in columns.items() if role not in MEASURED}
        out = replace(self, columns={**columns, **over.columns}, units={**self.units, **over.units})
        told = {key: getattr(over, key) for key in _singles() if getattr(over, key) is not None}
        return replace(out, **told)

    def document(self) -> dict[str, Any]:
        """Return what is told, as its file has it."""
        told = {key: getattr(self, key) for key in _singles() if getattr(self, key) is not None}
        return {**told, **{name: dict(table) for name in _TABLES if (table := getattr(self, name))}}

    def to_toml(self) -> str:
        """Return the text of a file that :func:`read_column_map` reads."""
        document = tomlkit.document()
        document.add(tomlkit.comment("How a gauge writes its site files, for planish measure --columns"))
        for key, told in self.document().items():
            document.add(key, tomlkit.item(told))
        return tomlkit.dumps(document)

    def save(self, path: str | os.PathLike[str]) -> None:
        """Write the file that :func:`read_column_map` reads.

        Parameters
        ----------
        path
            Where to; written whole or not at all.
        """
        write_whole(Path(path), self.to_toml())


def _singles() -> tuple[str, ...]:
    return tuple(one.name for one in fields(ColumnMap) if one.name not in _TABLES)


def _texts() -> tuple[str, ...]:
    return tuple(key for key in _singles() if key != "names_line")


def column_map(given: ColumnMap | Mapping[str, Any] | str | os.PathLike[str] | None) -> ColumnMap:
    """Return a column map from what was given.

    Parameters
    ----------
    given
        A map, the path of its file, a mapping of column by role, or one as the file has it.

    Returns
    -------
    ColumnMap
        Empty for None.

    Raises
    ------
    DataError
        For what is none.
    """
    if given is None:
        return ColumnMap()
    if isinstance(given, ColumnMap):
        return given
    if not isinstance(given, Mapping):
        return read_column_map(as_path(given, "columns"))
    if given and all(key in ROLES for key in given):
        return ColumnMap(columns=dict(given))
    return _from_document(given, "columns")


def read_column_map(path: str | os.PathLike[str]) -> ColumnMap:
    """Read a column map from its TOML file.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    ColumnMap
        As told.

    Raises
    ------
    DataError
        If the file cannot be read, or says what no column map has.
    """
    file = as_path(path, "columns")
    if not file.is_file():
        raise DataError(f"{path}: no such file (give the TOML file that --remember wrote)")
    if file.stat().st_size > MAX_BYTES:
        raise DataError(
            f"{path}: more than {MAX_BYTES} bytes are no column map (give the file that --remember wrote)"
        )
    try:
        return column_map_of(file.read_text(encoding="utf-8"))
    except UnicodeDecodeError as error:
        raise DataError(f"{path}: is no TOML: {str(error)[:120]}") from None
    except DataError as error:
        raise DataError(f"{path}: {error}") from None


def column_map_of(text: str) -> ColumnMap:
    """Return the column map of a TOML text.

    Parameters
    ----------
    text
        As :meth:`ColumnMap.to_toml` writes it.

    Raises
    ------
    DataError
        For what is no TOML, is too long, or says what no column map has.
    """
    if len(text) > MAX_BYTES:
        raise DataError(f"more than {MAX_BYTES} characters are no column map")
    try:
        return _from_document(tomllib.loads(text), "columns")
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise DataError(f"is no TOML: {str(error)[:120]}") from None


def _from_document(told: Mapping[str, Any], place: str) -> ColumnMap:
    known = tuple(one.name for one in fields(ColumnMap))
    for key in told:
        if key not in known:
            raise DataError(refuse(f"{place}: key", key, f"one of {', '.join(known)}, or a role as x"))
    return ColumnMap(**told)
