"""The index of a material at wavelengths: of a known one by its name, or of one's own by a table."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import DataError, ModelError, refuse
from planish.measure.optics import read_index_table
from planish.physics.optics.materials import MATERIALS

TABLES = (".csv", ".txt", ".tsv", ".parquet", ".pq")


def optical_index(material: str | Path, wavelength_nm: ArrayLike) -> NDArray[np.complex128]:
    """Return the complex index of a material.

    Parameters
    ----------
    material
        A known one (``air``, ``water``, ``silica``, ``silicon nitride``, ``silicon``, ``copper``), or the path of a
        table with columns ``wavelength`` (with its unit), ``n`` and, where it absorbs, ``k``; between its rows n and k
        are interpolated linearly, and beyond them nothing is guessed.
    wavelength_nm
        In vacuum [nm].

    Returns
    -------
    NDArray[np.complex128]
        n + i k, of the shape of ``wavelength_nm``.

    Raises
    ------
    DataError
        For a material that is not known, and a table that cannot be read.
    ModelError
        For a wavelength at which the index is not known.

    Examples
    --------
    >>> import planish
    >>> round(float(planish.optical_index("silica", 632.8).real), 6)
    1.457018
    """
    try:
        wavelength = 1e-9 * np.asarray(wavelength_nm, dtype=np.float64)
    except (TypeError, ValueError):
        raise ModelError(
            refuse("wavelength [nm]", wavelength_nm, "a number or an array of numbers")
        ) from None
    name = str(material).strip()
    if name.casefold() in MATERIALS:
        return MATERIALS[name.casefold()].index(wavelength)
    if Path(name).suffix.lower() in TABLES:
        return read_index_table(name).index(wavelength)
    known = ", ".join(MATERIALS)
    raise DataError(
        refuse("optical material", name, known, "or a table of wavelength, n and k, as my-film.csv")
    )


def index_source(material: str | Path) -> str:
    """Return where the index of a material is from, in a line."""
    known = MATERIALS.get(str(material).strip().casefold())
    return known.source if known is not None else f"Index table {Path(str(material)).name} (your own)"
