"""Nested figures as plain data: fit for strict JSON, and split into what is flat and what is a table."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, TypeAlias

Figure: TypeAlias = float | int | bool | str | None
"""One entry of a summary, or one cell of a table."""
Columns: TypeAlias = dict[str, list[Figure]]
"""A table: column name, which ends in its unit, to values; all of one length."""


def clean(value: Any) -> Any:
    """Return ``value`` fit for strict JSON: NumPy scalars and arrays unwrapped, NaN and infinity as None."""
    if isinstance(value, Mapping):
        return {str(key): clean(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [clean(item) for item in value]
    if hasattr(value, "tolist"):
        return clean(value.tolist())
    if isinstance(value, float) and (value != value or value in (float("inf"), float("-inf"))):
        return None
    return value


def flat(figures: Mapping[str, Any]) -> dict[str, Figure]:
    """Return the entries of ``figures`` that are one number, truth value or text each."""
    return {key: value for key, value in figures.items() if _single(value)}


def tabled(figures: Mapping[str, Any]) -> dict[str, Columns]:
    """Return everything in ``figures`` that ``flat`` leaves out, as named tables.

    A list of rows is a table; so is a mapping, with its keys in a column ``name``. What is nested in a
    row has a table of its own, ``<table>_<column>``, whose column ``of`` names the row.
    """
    out: dict[str, Columns] = {}
    for key, value in figures.items():
        if not _single(value):
            _put(out, key, value)
    return out


def unique(lines: Iterable[str]) -> list[str]:
    """Return ``lines`` without repeats, in order."""
    return list(dict.fromkeys(lines))


def _single(value: Any) -> bool:
    return value is None or isinstance(value, bool | int | float | str)


def _put(out: dict[str, Columns], name: str, value: Any) -> None:
    if isinstance(value, Mapping):
        nested = {key: item for key, item in value.items() if not _single(item)}
        if nested and len(nested) == len(value) and all(_plain_row(item) for item in nested.values()):
            _rows(out, name, [{"name": key, **item} for key, item in nested.items()])
            return
        single = flat(value)
        if single:
            out[name] = {"name": list(single), name: list(single.values())}
        for key, item in nested.items():
            _put(out, f"{name}_{key}", item)
    elif value and all(isinstance(item, Mapping) for item in value):
        _rows(out, name, value)
    elif value:
        out[name] = {name: [item if _single(item) else str(item) for item in value]}


def _plain_row(item: Any) -> bool:
    return isinstance(item, Mapping) and all(
        _single(cell) or isinstance(cell, list | tuple) for cell in item.values()
    )


def _rows(out: dict[str, Columns], name: str, rows: Sequence[Mapping[str, Any]]) -> None:
    keys = list(dict.fromkeys(key for row in rows for key in row))
    single = [key for key in keys if all(_single(row.get(key)) for row in rows)]
    out[name] = {key: [row.get(key) for row in rows] for key in single}
    for key in keys:
        if key not in single:
            below = [
                {"of": _first(row), **part} for row in rows for part in _parts(key, row.get(key)) if part
            ]
            if below:
                _rows(out, f"{name}_{key}", below)


def _first(row: Mapping[str, Any]) -> Figure:
    return next((item for item in row.values() if _single(item)), None)


def _parts(key: str, value: Any) -> list[dict[str, Any]]:
    """Return what is nested in a row as rows of its own."""
    if _single(value):
        return [{key: value}] if value is not None else []
    if isinstance(value, Mapping):
        return [
            {"name": inner, **item} if isinstance(item, Mapping) else {"name": inner, key: item}
            for inner, item in value.items()
        ]
    return [dict(item) if isinstance(item, Mapping) else {key: item} for item in value]
