"""Data files that a setup names: measured film sites and summit heights."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from planish.engine.fixed import sealed
from planish.errors import DataError, refuse

Array = NDArray[np.float64]


def locate(name: str, folder: Path | None, place: str) -> Path:
    """Return the file that a setup names.

    Parameters
    ----------
    name
        As the setup gives it.
    folder
        Of the setup; None where it did not come from a file.
    place
        Where the name stands, for the refusal.

    Returns
    -------
    Path
        An existing file.

    Raises
    ------
    DataError
        Where the setup has no folder, or the path leaves it, or no file is there.
    """
    if folder is None:
        raise DataError(refuse(place, name, "left out here", "this setup did not come from a file"))
    if not name.strip() or "\0" in name:
        raise DataError(refuse(place, name, "the name of a file beside the setup"))
    path = (folder / name).resolve()
    if not path.is_relative_to(folder.resolve()):
        raise DataError(refuse(place, name, "a file in the folder of the setup or below it"))
    if not path.is_file():
        raise DataError(refuse(place, name, "a file that exists", f"looked in {folder}"))
    return path


def film_sites(name: str, folder: Path | None, place: str) -> tuple[Array, Array, Array]:
    """Return a measured film.

    Parameters
    ----------
    name, folder, place
        As for :func:`locate`.

    Returns
    -------
    tuple[Array, Array, Array]
        (x [m], y [m], thickness [m]).

    Raises
    ------
    DataError
        As :func:`locate`, and where the file cannot be used.
    """
    path = locate(name, folder, place)
    stat = path.stat()
    return _film_sites(str(path), stat.st_mtime_ns, stat.st_size, place)


@lru_cache(maxsize=16)
def _film_sites(path: str, changed: int, size: int, place: str) -> tuple[Array, Array, Array]:
    from planish.measure.sites.read import read_plain_sites

    sites = read_plain_sites(path)  # a setup has no place to say how a file was understood
    if sites.quantity != "thickness":
        raise DataError(refuse(f"{place}: {Path(path).name}", sites.quantity, "a map of thickness"))
    return sealed(sites.x), sealed(sites.y), sealed(sites.value)


def summit_heights(name: str, folder: Path | None, place: str) -> Array:
    """Return measured summit heights: one column named ``height`` with its unit.

    Parameters
    ----------
    name, folder, place
        As for :func:`locate`.

    Returns
    -------
    Array
        [m], (n,).

    Raises
    ------
    DataError
        As :func:`locate`, and where the file cannot be used.
    """
    path = locate(name, folder, place)
    stat = path.stat()
    return _summit_heights(str(path), stat.st_mtime_ns, stat.st_size)


@lru_cache(maxsize=16)
def _summit_heights(path: str, changed: int, size: int) -> Array:
    from planish.measure.tables.columns import length_factor, parse_units_note, split_name
    from planish.measure.tables.read import read_table

    table = read_table(path)
    column = next((h for h in table.header if split_name(h)[0] == "height"), table.header[0])
    name, unit = split_name(column)
    if unit is None:
        note = table.notes.get("units") or table.notes.get("unit") or ""
        unit = parse_units_note(note, f"{table.path}: # units").get(name)
    if unit is None:
        raise DataError(
            f"{table.path}: column {column!r} has no unit: write it in the name, such as height_um"
        )
    heights = np.asarray(table.numbers(column) * length_factor(unit, f"{table.path}: column {column!r}"))
    if heights.size < 30:
        raise DataError(refuse(f"{table.path}: number of heights", heights.size, "30 or more"))
    return sealed(heights)
