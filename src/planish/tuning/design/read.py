"""A run sheet with its results, read back: settings as they were run, in coded numbers, and what came of them."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse
from planish.measure.tables.read import Table, number, read_table
from planish.tuning.design.factors import Factor
from planish.tuning.design.sheet import RunSheet

Array = NDArray[np.float64]
_FACTOR = re.compile(r"factor ([a-z])")
_RANGE = re.compile(r"(?P<low>[^.\s]\S*?)\.\.(?P<high>\S+)(?:\s.*)?")
OWN = ("run", "kind")  # columns that are neither setting nor result


@dataclass(frozen=True, slots=True)
class Measured:
    """Runs with one result.

    ``coded`` settings (runs, factors) as they were run; ``result`` (runs,) with its name; ``left_out`` counts runs without
    one; ``plan`` and ``model`` as the sheet says.
    """

    factors: tuple[Factor, ...]
    coded: Array
    result: Array
    name: str
    left_out: int
    plan: str
    model: str
    source: str


def measured_runs(sheet: str | os.PathLike[str] | RunSheet, result: str | None) -> Measured:
    """Return the runs of a sheet with one of its results.

    Parameters
    ----------
    sheet
        A file that `RunSheet.write` wrote, filled in; or a sheet with what planish predicts.
    result
        The column; may be left out where there is but one.

    Returns
    -------
    Measured
        Runs without a result left out.

    Raises
    ------
    DataError
        For a file that is no run sheet, a column that there is not, a cell that is no number.
    """
    if isinstance(sheet, RunSheet):
        return _predicted(sheet, result)
    table = read_table(sheet)
    factors = _factors(table)
    for factor in factors:
        table.index(factor.heading, f"factor {factor.letter}")
    settings = [factor.heading.casefold() for factor in factors]
    results = [name for name in table.header if name.casefold() not in (*OWN, *settings)]
    own = [name for name in results if name not in _note(table, "predicted").split(" | ")]
    name = _named(result, own if result is None and own else results, str(table.path))
    column = table.index(name, "result")
    filled = [bool(cell) for cell in table.columns[column]]
    coded = np.array([_coded(table, factor, filled) for factor in factors]).T
    values = _numbers(table, table.header[column], filled)
    return Measured(
        factors,
        coded.reshape(len(values), len(factors)),
        values,
        table.header[column],
        filled.count(False),
        _note(table, "plan"),
        _note(table, "model"),
        str(table.path),
    )


def _note(table: Table, key: str) -> str:
    """Return a note of the file, without the separators that a spreadsheet puts behind it; "" where there is none."""
    return table.notes.get(key, "").rstrip(",;\t ")


def _predicted(sheet: RunSheet, result: str | None) -> Measured:
    name = _named(result, list(sheet.predicted), "the sheet")
    values = sheet.predicted[name]
    kept = [at for at, value in enumerate(values) if value is not None]
    rows = sheet.rows()
    coded = [
        [
            run if factor.texts else factor.coded(float(str(rows[at][factor.heading])))
            for factor, run in zip(sheet.factors, sheet.runs[at].coded, strict=True)
        ]
        for at in kept
    ]
    found = np.array([value for value in values if value is not None], dtype=np.float64)
    return Measured(
        sheet.factors,
        np.array(coded).reshape(len(kept), len(sheet.factors)),
        found,
        name,
        len(values) - len(kept),
        sheet.plan,
        sheet.model,
        "predicted by planish",
    )


def _named(result: str | None, results: list[str], where: str) -> str:
    if not results:
        raise DataError(f"{where}: no column holds a result: must have one beside the settings")
    if result is None:
        if len(results) > 1:
            raise DataError(f"{where}: several results: must be told which, of {', '.join(results)}")
        return results[0]
    hits = [name for name in results if name.casefold() == result.strip().casefold()]
    if not hits:
        raise DataError(refuse(f"{where}: result", result, f"one of {', '.join(results)}"))
    return hits[0]


def _factors(table: Table) -> tuple[Factor, ...]:
    """Return the factors that the notes of the file name."""
    found = []
    for key, told in table.notes.items():
        letter = _FACTOR.fullmatch(key)
        heading, _, span = told.rstrip(",;\t ").partition(" | ")
        if letter is None:
            continue
        if not span:
            raise DataError(
                refuse(
                    f"{table.path}: note '{key}'", told, "column | range", "as planish design write has it"
                )
            )
        found.append(_factor(table, letter[1], heading, span))
    if not found:
        raise DataError(
            f"{table.path}: no note names a factor: must be a run sheet as planish design write makes it, its notes (# at the "
            "top) kept"
        )
    return tuple(found)


def _factor(table: Table, letter: str, heading: str, span: str) -> Factor:
    path, _, unit = heading.partition(" [")
    ends = _RANGE.fullmatch(span)
    if ends is None:
        texts = span.split(" | ")
        if len(texts) == 2:
            return Factor(
                letter, path, unit=unit.removesuffix("]"), texts=(texts[0].strip(), texts[1].strip())
            )
    else:
        low, high = (_finite(ends[end]) for end in ("low", "high"))
        if low is not None and high is not None and low < high:
            return Factor(letter, path, low, high, unit.removesuffix("]"))
    raise DataError(
        refuse(f"{table.path}: range of factor {letter}", span, "low..high with the unit, or text | text")
    )


def _finite(text: str) -> float | None:
    """Return the number of a text; None where it is none."""
    try:
        value = number(text)
    except ValueError:
        return None
    return value if np.isfinite(value) else None


def _coded(table: Table, factor: Factor, filled: list[bool]) -> Array:
    if not factor.texts:
        return np.array([factor.coded(value) for value in _numbers(table, factor.heading, filled)])
    column = table.index(factor.heading, f"factor {factor.letter}")
    coded = []
    for row, cell in enumerate(table.columns[column]):
        if not filled[row]:
            continue
        if cell not in factor.texts:
            raise DataError(refuse(table.at(row, factor.heading), cell, f"{' or '.join(factor.texts)}"))
        coded.append(-1.0 if cell == factor.texts[0] else 1.0)
    return np.array(coded)


def _numbers(table: Table, name: str, filled: list[bool]) -> Array:
    """Return the numbers of a column in the rows that have a result."""
    column = table.index(name)
    found = []
    for row, cell in enumerate(table.columns[column]):
        if filled[row]:
            value = _finite(cell)
            if value is None:
                raise DataError(refuse(table.at(row, name), cell, "a number"))
            found.append(value)
    return np.array(found, dtype=np.float64)
