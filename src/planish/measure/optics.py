"""A table of a film's index: wavelength, n and k."""

from __future__ import annotations

import os
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.errors import DataError, ModelError, refuse
from planish.measure.tables.columns import length_factor, split_name
from planish.measure.tables.read import Table, read_table

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, repr=False)
class IndexTable(Record):
    """The index of a film as somebody measured it: rising ``wavelength`` [m], ``n`` and ``k``, each (rows,)."""

    path: str
    wavelength: Array
    n: Array
    k: Array

    def index(self, wavelength: Array) -> NDArray[np.complex128]:
        """Return n + i k, linear between the rows.

        Parameters
        ----------
        wavelength
            In vacuum [m].

        Returns
        -------
        NDArray[np.complex128]
            Of the same shape.

        Raises
        ------
        ModelError
            For a wavelength that the table does not span.
        """
        low, high = self.wavelength[0], self.wavelength[-1]
        out = (wavelength < low * (1 - 1e-12)) | (wavelength > high * (1 + 1e-12))
        if np.any(out):
            worst = 1e9 * float(np.ravel(np.asarray(wavelength)[out])[0])
            span = f"from {1e9 * low:.6g} to {1e9 * high:.6g} nm"
            raise ModelError(
                refuse(f"{self.path}: wavelength [nm]", worst, span, "as the table has rows for")
            )
        n, k = (np.interp(wavelength, self.wavelength, one) for one in (self.n, self.k))
        return np.asarray(n + 1j * k, dtype=np.complex128)


def read_index_table(path: str | os.PathLike[str]) -> IndexTable:
    """Read a table of a film's index.

    Parameters
    ----------
    path
        CSV or Parquet with the columns ``wavelength`` (its unit in the name, as ``wavelength_nm``), ``n``, and ``k``
        where the film absorbs, in any order; rows in any order.

    Returns
    -------
    IndexTable
        In SI, by rising wavelength.

    Raises
    ------
    DataError
        For a file that cannot be read, a column that is missing or without a unit, two rows at one wavelength, and an
        index that cannot be.
    """
    table = read_table(path)
    names = {split_name(head)[0]: head for head in table.header}
    if "wavelength" not in names or "n" not in names:
        have = ", ".join(table.header[:12])
        raise DataError(
            refuse(f"{table.path}: columns", have, "wavelength with its unit, n, and k where it absorbs")
        )
    unit = split_name(names["wavelength"])[1]
    if unit is None:
        raise DataError(
            refuse(f"{table.path}: column", names["wavelength"], "named with its unit", "as wavelength_nm")
        )
    at = table.numbers(names["wavelength"]) * length_factor(unit, f"{table.path}: unit of the wavelength")
    n = table.numbers(names["n"])
    k = table.numbers(names["k"]) if "k" in names else np.zeros(n.size)
    _check(table, at, n, k)
    order = np.argsort(at)
    return IndexTable(table.path, at[order], n[order], k[order])


def _check(table: Table, at: Array, n: Array, k: Array) -> None:
    rules = (
        ("wavelength", at, at <= 0, "above 0"),
        ("n", n, (n <= 0) | (n > 100), "above 0 and up to 100"),
        ("k", k, (k < 0) | (k > 100), "from 0 to 100"),
    )
    for name, values, wrong, allowed in rules:
        if wrong.any():
            row = int(np.argmax(wrong))
            raise DataError(refuse(table.at(row, name), float(values[row]), allowed))
    order = np.argsort(at, kind="stable")
    same = np.flatnonzero(np.diff(at[order]) == 0)
    if same.size:
        row = int(order[same[0] + 1])
        raise DataError(
            refuse(table.at(row, "wavelength"), float(at[row]), "a row of its own", "it stands twice")
        )
