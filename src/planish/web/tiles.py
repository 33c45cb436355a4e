"""Large maps as pyramids of tiles: each level halves the one below, each tile is 256 cells a side."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from planish.engine.files import write_whole
from planish.errors import DataError

TILE = 256


def write_pyramid(folder: Path, name: str, field: NDArray[Any]) -> None:
    """Write a map (ny, nx) and its halved levels beside each other as ``name-LEVEL.npy``, with ``name.json``.

    The last row of the map comes first, as on a screen.
    """
    from io import BytesIO

    level = np.asarray(field[::-1], dtype=np.float32)
    shapes: list[list[int]] = []
    while True:
        buffer = BytesIO()
        np.save(buffer, level, allow_pickle=False)
        write_whole(folder / f"{name}-{len(shapes)}.npy", buffer.getvalue())
        shapes.append(list(level.shape))
        if max(level.shape) <= TILE:
            break
        level = halved(level)
    known = field[np.isfinite(field)]
    limits = [float(known.min()), float(known.max())] if known.size else [0.0, 1.0]
    low, high = np.percentile(known, [1, 99]) if known.size else (0.0, 1.0)
    told = {"shapes": shapes, "limits": limits, "usual": [float(low), float(high)], "tile": TILE}
    write_whole(folder / f"{name}.json", json.dumps(told).encode())


def halved(level: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the means over 2 x 2 cells; an odd last row or column stands for itself."""
    ny, nx = level.shape
    padded = np.pad(level, ((0, ny % 2), (0, nx % 2)), mode="edge")
    grouped = padded.reshape((ny + ny % 2) // 2, 2, (nx + nx % 2) // 2, 2)
    return np.asarray(grouped.mean(axis=(1, 3)), dtype=np.float32)


def read_about(folder: Path, name: str) -> dict[str, Any]:
    """Return the shapes of the levels and the limits of a map."""
    path = folder / f"{name}.json"
    if not path.is_file():
        raise DataError(f"map = {name!r}: this result has no such map")
    told: dict[str, Any] = json.loads(path.read_text())
    return told


def read_tile(folder: Path, name: str, level: int, row: int, column: int) -> tuple[NDArray[Any], int, int]:
    """Return one tile and its size (rows, columns).

    Raises
    ------
    DataError
        Where there is no such map, level or tile.
    """
    about = read_about(folder, name)
    if not 0 <= level < len(about["shapes"]):
        raise DataError(f"level = {level}: must be from 0 to {len(about['shapes']) - 1}")
    ny, nx = about["shapes"][level]
    if row * TILE >= ny or column * TILE >= nx or row < 0 or column < 0:
        raise DataError(f"tile {row}, {column}: outside the map")
    stored = np.load(folder / f"{name}-{level}.npy", mmap_mode="r", allow_pickle=False)
    part = np.ascontiguousarray(
        stored[row * TILE : (row + 1) * TILE, column * TILE : (column + 1) * TILE], dtype="<f4"
    )
    return part, part.shape[0], part.shape[1]
