"""The catalogue of generic parts: named by what they are, every value with its source.

A part file (``parts/*.toml``) holds a table a part; in it each dotted key has
``value``, ``source`` and, where one is known, ``spread``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any, NamedTuple

from planish.engine.fixed import FixedDict
from planish.engine.record import Record, counted
from planish.errors import SetupError

# section of a setup: file of its parts
KINDS: dict[str, str] = {
    "wafer": "wafers",
    "polisher": "polishers",
    "head": "heads",
    "pad": "pads",
    "conditioner": "conditioners",
    "slurry": "slurries",
}


@dataclass(frozen=True, slots=True)
class PartValue:
    """One value of a part: as text or number, its spread ("" if unknown) and its source."""

    value: Any
    source: str
    spread: str = ""


@dataclass(frozen=True, slots=True, repr=False)
class Part(Record):
    """A catalogue part: its values by dotted key."""

    kind: str
    name: str
    summary: str
    values: Mapping[str, PartValue]

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


@lru_cache(maxsize=8)
def catalogue(kind: str) -> dict[str, Part]:
    """Return the parts of a kind ("pad", "conditioner", ...) by name."""
    if kind not in KINDS:
        raise SetupError(f"part kind = {kind!r}: must be one of {', '.join(KINDS)}")
    text = (files("planish.setup") / "parts" / f"{KINDS[kind]}.toml").read_text(encoding="utf-8")
    out: dict[str, Part] = {}
    for name, table in tomllib.loads(text).items():
        summary = table.pop("summary")
        values = {k: PartValue(v["value"], v["source"], v.get("spread", "")) for k, v in table.items()}
        out[name] = Part(kind, name, summary, values)
    return FixedDict(out)


class PartRow(NamedTuple):
    """One line of the catalogue as listed: ``value`` is the number as text, ``unit`` its unit or ""."""

    kind: str
    part: str
    key: str
    value: str
    unit: str
    spread: str
    source: str


def list_parts(kind: str | None = None, name: str | None = None) -> list[PartRow]:
    """Return the catalogue, one row a value; all of it, or one kind, or the parts of one name.

    Raises
    ------
    SetupError
        For a kind or a name that the catalogue does not hold.
    """
    kinds = tuple(KINDS) if kind is None else (kind,)
    rows: list[PartRow] = []
    names: list[str] = []
    for each in kinds:
        for part in catalogue(each).values():
            names.append(part.name)
            if name is not None and part.name != name:
                continue
            for key, entry in part.values.items():
                value, unit = _split(entry.value)
                rows.append(PartRow(each, part.name, key, value, unit, entry.spread, entry.source))
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
