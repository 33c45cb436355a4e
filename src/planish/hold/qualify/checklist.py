"""The checklist of a qualification: what is looked at in which column, and its limits. Read from TOML, within bounds."""

from __future__ import annotations

import math
import os
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from planish.errors import DataError, refuse

LARGEST, MOST_CHECKS = 200_000, 200  # bytes, checks
# What is looked at, in words.
LOOKS = {
    "mean": "mean of the rows",
    "each": "every row",
    "sum": "sum of the rows",
    "rows": "number of rows with a value",
    "spread": "standard deviation of the rows [% of the mean]",
    "settled": "change over the last rows, along a straight line [% of their mean]",
}
TEXT = """\
# A qualification: what is looked at, in which column of the measured table, and its limits.
# A row of the table is a wafer (or a run). The limits below are invented: put in your own.
title = "New pad"

[[check]]
name = "break-in"
column = "break_in_s"
look = "sum"        # mean, each, sum, rows, spread, settled
low = 1200
unit = "s"

[[check]]
name = "rate"
column = "rate_nm_per_min"
look = "mean"
low = 230
high = 260
unit = "nm/min"

[[check]]
name = "within-wafer nonuniformity"
column = "wiwnu_percent"
look = "each"
high = 4
unit = "%"

[[check]]
name = "particles"
column = "particles"
look = "each"
high = 30

[[check]]
name = "seasoning"
column = "rate_nm_per_min"
look = "settled"
last = 5            # rows
high = 2            # either way
"""
_KEYS = {"name", "column", "look", "low", "high", "unit", "last"}


@dataclass(frozen=True, slots=True)
class Check:
    """One line of a checklist.

    Attributes
    ----------
    name
        Of what is qualified.
    column
        Of the table.
    look
        A key of ``LOOKS``.
    low, high
        Limits, inclusive; None for none.
    unit
        In words.
    last
        Rows that are looked at, from the end; None for all.
    """

    name: str
    column: str
    look: str
    low: float | None
    high: float | None
    unit: str = ""
    last: int | None = None


@dataclass(frozen=True, slots=True)
class Checklist:
    """A checklist: its title, its lines, its text as read."""

    title: str
    checks: tuple[Check, ...]
    text: str
    name: str


def read_checklist(path: str | os.PathLike[str]) -> Checklist:
    """Read a checklist.

    Parameters
    ----------
    path
        Of a TOML file with a ``title`` and a table ``[[check]]`` a line.

    Returns
    -------
    Checklist
        In the order of the file.

    Raises
    ------
    DataError
        Naming the place of what cannot be used.
    """
    file = Path(path)
    try:
        if file.stat().st_size > LARGEST:
            raise DataError(refuse(f"{file}", f"{file.stat().st_size} bytes", f"at most {LARGEST} bytes"))
        text = file.read_text(encoding="utf-8")
        table = tomllib.loads(text)
    except OSError as error:
        raise DataError(
            f"{file}: cannot be read ({error.strerror}); 'planish hold checklist -o {file.name}' writes one"
        ) from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise DataError(f"{file}: is no TOML text ({error})") from None
    unknown = [key for key in table if key not in ("title", "check")]
    if unknown:
        raise DataError(refuse(f"{file}: key", unknown[0], "title or [[check]]"))
    title, lines = table.get("title", ""), table.get("check", [])
    if not isinstance(title, str) or not title.strip():
        raise DataError(refuse(f"{file}: title", title, "a text that says what is qualified"))
    if not isinstance(lines, list) or not 1 <= len(lines) <= MOST_CHECKS:
        count = len(lines) if isinstance(lines, list) else lines
        raise DataError(refuse(f"{file}: [[check]]", count, f"1 to {MOST_CHECKS} of them"))
    checks = tuple(_check(line, f"{file}: check {at}") for at, line in enumerate(lines, 1))
    names = [one.name for one in checks]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise DataError(f"{file}: check {twice!r}: is there twice: must have a name of its own")
    return Checklist(title.strip(), checks, text, file.name)


def _check(line: Any, place: str) -> Check:
    if not isinstance(line, dict):
        raise DataError(refuse(place, line, "a table [[check]]"))
    unknown = [key for key in line if key not in _KEYS]
    if unknown:
        raise DataError(refuse(f"{place}: key", unknown[0], ", ".join(sorted(_KEYS))))
    texts = {}
    for key in ("name", "column", "look"):
        value = line.get(key)
        if not isinstance(value, str) or not value.strip():
            raise DataError(refuse(f"{place}: {key}", value, "a text"))
        texts[key] = value.strip()
    if texts["look"] not in LOOKS:
        raise DataError(refuse(f"{place}: look", texts["look"], f"one of {', '.join(LOOKS)}"))
    limits = {key: _number(line[key], f"{place}: {key}") for key in ("low", "high") if key in line}
    if not limits:
        raise DataError(f"{place}: low and high: neither is given: must be one at least")
    low, high = limits.get("low"), limits.get("high")
    if texts["look"] == "settled" and (low is not None or high is None or high <= 0):
        raise DataError(
            refuse(f"{place}: low and high", f"{low}, {high}", "high alone, above 0 (either way)")
        )
    if low is not None and high is not None and low > high:
        raise DataError(refuse(f"{place}: low", low, f"at most high ({high:g})"))
    last = line.get("last")
    if last is not None and (isinstance(last, bool) or not isinstance(last, int) or not 1 <= last <= 10**6):
        raise DataError(refuse(f"{place}: last", last, "a whole number of rows, 1 or more"))
    unit = line.get("unit", "")
    if not isinstance(unit, str):
        raise DataError(refuse(f"{place}: unit", unit, "a text"))
    return Check(texts["name"], texts["column"], texts["look"], low, high, unit.strip(), last)


def _number(value: Any, place: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise DataError(refuse(place, value, "a number"))
    return float(value)
