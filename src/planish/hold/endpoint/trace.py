"""A recorded or invented trace: times, signals, and what its file says of itself."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.csv_text import csv_text
from planish.engine.files import write_asked
from planish.engine.given import as_path
from planish.engine.record import counted
from planish.errors import DataError, refuse
from planish.measure.tables.columns import LENGTHS, TIMES, split_name
from planish.measure.tables.read import Table, number, read_table
from planish.results.result import Result

Array = NDArray[np.float64]
TRUE = "true_thickness"
TOLD = ("film", "under", "ambient", "light", "angle", "polarization", "below", "share", "start", "rate")
DRAWN = 400  # rows at most that the answer's table holds; the file holds all


@dataclass(frozen=True, slots=True, repr=False)
class Trace(Result):
    """A signal over time.

    Attributes
    ----------
    source
        The file, or what made it.
    times
        [s], (samples,), rising.
    signals
        (samples, colours), in units of the file's own.
    wavelengths
        Of the colours [m], (colours,); empty where no columns are named by them.
    told
        What the file says of film and light, as options are written: ``{"film": "silica"}``.
    truth
        Thickness that the film really had [m], (samples,), of an invented trace; empty otherwise.
    notes
        What was assumed, a line each.
    """

    kind: ClassVar[str] = "trace"

    source: str
    times: Array
    signals: Array
    wavelengths: Array
    told: dict[str, str]
    truth: Array
    notes: tuple[str, ...] = ()

    def _told(self) -> str:
        span = self.times[-1] - self.times[0]
        return f"{Path(self.source).name}, {counted(len(self.times), 'sample')} in {span:.4g} s"

    def sources(self) -> list[str]:
        """Return what the trace is from."""
        return [f"Trace {Path(self.source).name}"]

    def _content(self) -> dict[str, Any]:
        thin = slice(None, None, max(1, -(-len(self.times) // DRAWN)))
        names = self._names()
        rows = [
            {"time_s": float(t), **{name: float(y) for name, y in zip(names, ys, strict=True)}}
            for t, ys in zip(self.times[thin], self.signals[thin], strict=True)
        ]
        if self.truth.size:
            for row, d in zip(rows, self.truth[thin], strict=True):
                row["true_thickness_nm"] = 1e9 * float(d)
        return {
            "samples": len(self.times),
            "colours": self.signals.shape[1],
            "time_s": float(self.times[-1] - self.times[0]),
            "told": dict(self.told),
            "signals": rows,
        }

    def _names(self) -> list[str]:
        if not self.wavelengths.size:
            return (
                ["signal"]
                if self.signals.shape[1] == 1
                else [f"signal_{k}" for k in range(self.signals.shape[1])]
            )
        return [f"{1e9 * wave:.9g}_nm" for wave in self.wavelengths]

    def write(self, path: str | os.PathLike[str]) -> Path:
        """Write the trace as a CSV table that :func:`read_trace` reads.

        Parameters
        ----------
        path
            Of the file; written whole or not at all.

        Returns
        -------
        Path
            The same.

        Raises
        ------
        DataError
            Where it cannot be written.
        """
        truth = self.truth.size > 0
        header = ["time [s]", *self._names(), *(["true_thickness_nm"] if truth else [])]
        rows = [
            [
                f"{t:.9g}",
                *(f"{y:.9g}" for y in ys),
                *([f"{1e9 * self.truth[at]:.9g}"] if truth else []),
            ]
            for at, (t, ys) in enumerate(zip(self.times, self.signals, strict=True))
        ]
        notes = [f"{key}: {value}" for key, value in self.told.items()]
        notes += [f"note {at + 1}: {text}" for at, text in enumerate(self.notes)]
        return write_asked(as_path(path, "trace"), csv_text(header, rows, notes))


def read_trace(path: str | os.PathLike[str] | Trace, column: str | None = None) -> Trace:
    """Read a trace.

    Parameters
    ----------
    path
        CSV or Parquet with a column ``time [s]`` (or min) and the signal: one column, or for white light one a colour,
        named by its wavelength as ``450_nm``. Lines ``# film: silica`` at the top say what an option would.
    column
        Of the signal, where there are several.

    Returns
    -------
    Trace
        By rising time; a trace is returned as it is.

    Raises
    ------
    DataError
        For a file that cannot be read, columns that are missing or of no unit, and times that do not rise.
    """
    if isinstance(path, Trace):
        return path
    table = read_table(path)
    time = _time_column(table)
    times = table.numbers(table.header[time]) * TIMES[str(split_name(table.header[time])[1]).lower()]
    if times.size < 3:
        raise DataError(refuse(f"{table.path}: samples", int(times.size), "three or more"))
    stuck = np.flatnonzero(np.diff(times) <= 0)
    if stuck.size:
        row = int(stuck[0]) + 1
        raise DataError(
            refuse(
                table.at(row, table.header[time]),
                float(times[row]),
                f"above {times[row - 1]:g} s, the one before",
            )
        )
    truth = [head for head in table.header if split_name(head)[0] == TRUE]
    left = [head for at, head in enumerate(table.header) if at != time and head not in truth]
    colours = {head: wave for head in left if (wave := _wavelength(head)) is not None}
    if column is not None:
        names, waves = [table.header[table.index(column, "signal")]], []
        waves = [colours[names[0]]] if names[0] in colours else []
    elif colours:
        names = sorted(colours, key=lambda head: colours[head])
        waves = [colours[head] for head in names]
    else:
        names, waves = [_only(table, left)], []
    signals = np.stack([table.numbers(name) for name in names], axis=1)
    if np.abs(signals).max() > 1e15:
        raise DataError(
            refuse(f"{table.path}: signal", float(np.abs(signals).max()), "at most 1e15 either way")
        )
    told = {key: table.notes[key].rstrip(",;\t ") for key in TOLD if table.notes.get(key, "").strip()}
    said = tuple(text for key, text in table.notes.items() if key.startswith("note "))
    real = 1e-9 * table.numbers(truth[0]) if truth else np.empty(0)
    return Trace(table.path, times, signals, np.array(waves), told, real, said)


def _time_column(table: Table) -> int:
    for at, head in enumerate(table.header):
        name, unit = split_name(head)
        base = name.removesuffix("_s") if unit is None else name
        if base in ("time", "t"):
            if unit is not None and unit.lower() in TIMES:
                return at
            raise DataError(refuse(f"{table.path}: column", head, "named with its unit", "as 'time [s]'"))
    have = ", ".join(table.header[:12])
    raise DataError(refuse(f"{table.path}: columns", have, "one of them 'time [s]'"))


def _wavelength(head: str) -> float | None:
    """Return the wavelength [m] that names a column: ``450_nm``, ``450 nm``, ``R [450 nm]``."""
    name, unit = split_name(head)
    if unit is not None and unit.lower() not in LENGTHS:
        name, unit = split_name(unit.replace(" ", "_"))
    if unit is None or unit.lower() not in LENGTHS:
        return None
    try:
        value = number(name)
    except ValueError:
        return None
    return value * LENGTHS[unit.lower()] if np.isfinite(value) and value > 0 else None


def _only(table: Table, left: list[str]) -> str:
    named = [head for head in left if split_name(head)[0] == "signal"]
    if len(named) == 1:
        return named[0]
    if len(left) == 1:
        return left[0]
    if not left:
        raise DataError(f"{table.path}: has times but no signal: must have a column beside the time")
    raise DataError(
        refuse(f"{table.path}: columns", ", ".join(left[:12]), "one signal", "name it with --column")
    )
