"""A generic part, named by what it is, every value with its source; and those that planish brings.

A part file (``parts/*.toml``) holds a table a part; in it each dotted key has
``value``, ``source`` and, where one is known, ``spread``. Part files of packages and of the user
(`planish.setup.part_folders`) are written alike.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

from planish.engine.fixed import FixedDict
from planish.engine.record import Record, counted
from planish.setup.part_folders import FILES

OURS = "planish"
# The sections of a setup that a part may stand in; a film stands in for one table of removal.
KINDS: tuple[str, ...] = ("wafer", "polisher", "head", "pad", "conditioner", "slurry")


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


@lru_cache(maxsize=8)
def own_parts(kind: str) -> FixedDict[str, Part]:
    """Return the parts of a kind that planish brings, by name; films come with its slurries.

    Parameters
    ----------
    kind
        "pad", "conditioner", ...
    """
    if kind not in KINDS:
        return FixedDict()
    file = files("planish.setup") / "parts" / f"{FILES[kind]}.toml"
    return FixedDict(parts_in(kind, tomllib.loads(file.read_text(encoding="utf-8")), OURS))


def parts_in(kind: str, tables: dict[str, dict[str, Any]], origin: str) -> dict[str, Part]:
    """Return the parts that a file holds, by name.

    Parameters
    ----------
    kind
        Of all of them.
    tables
        One a part, by name.
    origin
        Where the file is from.

    Returns
    -------
    dict[str, Part]
        In the file's order.
    """
    out: dict[str, Part] = {}
    for name, table in tables.items():
        values = {
            key: PartValue(entry["value"], entry["source"], entry.get("spread", ""))
            for key, entry in table.items()
            if key != "summary"
        }
        out[name] = Part(kind, name, table["summary"], values, origin)
    return out
