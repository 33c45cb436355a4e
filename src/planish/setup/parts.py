"""The catalogue of generic parts: named by what they are, every value with its source.

A part file (``parts/*.toml``) holds a table a part; in it each dotted key has
``value``, ``source`` and, where one is known, ``spread``. Part files of packages and of the user
(`planish.setup.part_folders`) are written alike.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Iterable, Mapping
from copy import deepcopy
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any, NamedTuple

from planish.engine.fixed import FixedDict
from planish.engine.record import Record, counted
from planish.errors import SetupError, refuse
from planish.setup.part_folders import FILES, PartFile, part_files, part_folders

OURS = "planish"
# The sections of a setup that a part may stand in; a film stands in for one table of removal.
KINDS: tuple[str, ...] = ("wafer", "polisher", "head", "pad", "conditioner", "slurry")
PART_KINDS: tuple[str, ...] = tuple(FILES)


@dataclass(frozen=True, slots=True)
class PartValue:
    """One value of a part: as text or number, its spread ("" if unknown) and its source."""

    value: Any
    source: str
    spread: str = ""


@dataclass(frozen=True, slots=True, repr=False)
class Part(Record):
    """A catalogue part: its values by dotted key; ``origin`` is planish, a package, or the file it stands in."""

    kind: str
    name: str
    summary: str
    values: Mapping[str, PartValue]
    origin: str = OURS

    def _told(self) -> str:
        return f"{self.kind} {self.name}: {self.summary} ({counted(len(self.values), 'value')})"

    def tree(self) -> dict[str, Any]:
        """Return the values as nested tables, as they would stand in a setup file (a fresh copy)."""
        out: dict[str, Any] = {}
        for key, entry in self.values.items():
            table = out
            *heads, last = key.split(".")
            for step in heads:
                table = table.setdefault(step, {})
            table[last] = deepcopy(entry.value)
        return out


def catalogue(kind: str, folders: tuple[Path, ...] = ()) -> Mapping[str, Part]:
    """Return the parts of a kind ("pad", "conditioner", ...) by name.

    planish's own come first, then those of installed packages and of ``$PLANISH_PARTS``, then those of
    ``folders``.

    Raises
    ------
    SetupError
        For a kind that there is not, a part file that cannot be used, or a name that two places give.
    PluginError
        For an installed package whose parts cannot be found.
    """
    if kind not in PART_KINDS:
        raise SetupError(f"part kind = {kind!r}: must be one of {', '.join(PART_KINDS)}")
    others = part_files(kind, folders)
    return _with_others(kind, tuple(others)) if others else _own(kind)


@lru_cache(maxsize=8)
def _own(kind: str) -> FixedDict[str, Part]:
    file = files("planish.setup") / "parts" / f"{FILES[kind]}.toml"
    if kind not in KINDS:
        return FixedDict()  # films come with planish's slurries
    return FixedDict(_parts(kind, tomllib.loads(file.read_text(encoding="utf-8")), OURS))


@lru_cache(maxsize=64)
def _with_others(kind: str, others: tuple[PartFile, ...]) -> FixedDict[str, Part]:
    from planish.setup.part_files import check_part, read_tables

    out = dict(_own(kind))
    places = dict.fromkeys(out, OURS)
    for file in others:
        for name, part in _parts(kind, read_tables(file), file.origin).items():
            if name in out:
                raise SetupError(
                    refuse(
                        f"{file.path}: name of a {kind}",
                        name,
                        f"one that {places[name]} has not given",
                        "give the part another name",
                    )
                )
            check_part(file.path, kind, name, part.tree())
            out[name], places[name] = part, str(file.path)
    return FixedDict(out)


def _parts(kind: str, tables: dict[str, dict[str, Any]], origin: str) -> dict[str, Part]:
    out: dict[str, Part] = {}
    for name, table in tables.items():
        values = {
            key: PartValue(entry["value"], entry["source"], entry.get("spread", ""))
            for key, entry in table.items()
            if key != "summary"
        }
        out[name] = Part(kind, name, table["summary"], values, origin)
    return out


class PartRow(NamedTuple):
    """One line of the catalogue as listed: ``value`` is the number as text, ``unit`` its unit or ""."""

    kind: str
    part: str
    key: str
    value: str
    unit: str
    spread: str
    source: str
    origin: str


def list_parts(
    kind: str | None = None, name: str | None = None, folders: Iterable[str | os.PathLike[str]] = ()
) -> list[PartRow]:
    """Return the catalogue, one row a value; all of it, or one kind, or the parts of one name.

    Parameters
    ----------
    kind, name
        What to keep of it.
    folders
        With the parts in these folders too, as ``parts_folders`` of a setup names them.

    Raises
    ------
    SetupError
        For a kind or a name that the catalogue does not hold.
    """
    kinds = PART_KINDS if kind is None else (kind,)
    places = part_folders({"parts_folders": [os.fspath(each) for each in folders]}, Path())
    rows: list[PartRow] = []
    names: list[str] = []
    for each in kinds:
        for part in catalogue(each, places).values():
            names.append(part.name)
            if name is not None and part.name != name:
                continue
            for key, entry in part.values.items():
                value, unit = _split(entry.value)
                rows.append(
                    PartRow(each, part.name, key, value, unit, entry.spread, entry.source, part.origin)
                )
    if name is not None and not rows:
        raise SetupError(f"part = {name!r}: must be one of {', '.join(names)}")
    return rows


def _split(value: Any) -> tuple[str, str]:
    """Split ``"800 mm"`` into ("800", "mm"); anything else is a value without unit."""
    if isinstance(value, list):
        return "; ".join(", ".join(f"{k} {v}" for k, v in item.items()) for item in value), ""
    if not isinstance(value, str):
        return str(value), ""
    number, _, unit = value.partition(" ")
    try:
        float(number)
    except ValueError:
        return value, ""
    return number, unit
