"""Mean widths of lines and spaces from what each cell of a map holds.

The maps may have millions of cells. So the narrow windows are taken band by band and the wide ones on
joined cells, and what is carried from window to window is little: the work takes about 40 bytes a cell.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

SOURCES: tuple[str, ...] = ("mean chord of a set across its lines, 2 A / projected boundary: derived here",)

# A window shows a width truly only if it is clearly wider than the line or space it holds.
_WINDOWS_PER_WIDTH = 3.0
_BAND = 1 << 19  # cells worked on at a time
_WIDEST = 9  # cells of the widest window before cells are joined two by two


def chord_widths(area: Array, edge_x: Array, edge_y: Array, cell: float) -> tuple[Array, Array]:
    """Return mean line width and space from what each cell holds.

    Parameters
    ----------
    area
        Covered area of each cell [m^2], (ny, nx).
    edge_x, edge_y
        Boundary length in each cell projected on the y axis (met by a scan along x) and on the x axis [m].
    cell
        Side of a cell [m].

    Returns
    -------
    line_width, space
        [m], (ny, nx); NaN where a cell holds none of it or where no edge was found within reach.

    Notes
    -----
    A straight scan across a set meets it in chords whose mean length is 2 A / B, with A the area and B the
    length of its boundary projected on the normal of the scan (each chord has two ends). Of the scans along
    x and along y the one with more boundary runs across the lines, so width = 2 A / max(B_x, B_y), and the
    same with the open area for the space. This is exact for lines along x or y and for squares; for lines
    at 45 degrees it is the chord along x, 1.41 times the width.

    A window narrower than a line cannot show its width. So each cell starts from itself and takes in its
    neighbours (triangular weights; 3, 5, 9 ... cells at half height) until the window is three times the
    width found and holds either two whole lines (four edges a scan) or two edges and a width that the next
    wider window confirms.
    """
    full = cell * cell
    solid = full * (1.0 - 1e-12)
    width = _first_settled(area, edge_x, edge_y, cell, None, lambda part: part > 0.0)
    space = _first_settled(area, edge_x, edge_y, cell, full, lambda part: part < solid)
    return width, space


def _first_settled(
    area: Array,
    edge_x: Array,
    edge_y: Array,
    cell: float,
    full: float | None,
    wanted: Callable[[Array], Bools],
) -> Array:
    """Mean chord [m] of each wanted cell from the smallest window that shows it (see above).

    With ``full``, the area of a whole cell, that of what is open. Windows wider than nine cells are taken
    on cells joined two by two, so that the work does not grow with the window.
    """
    ny, nx = area.shape
    out = np.full(area.shape, np.nan)
    waiting, edges = [], []
    band = max(1, _BAND // nx)
    for low in range(0, ny, band):
        index, met = _narrow(area, edge_x, edge_y, cell, full, wanted, slice(low, min(low + band, ny)), out)
        waiting.append(index)
        edges.append(met)
    _wide([area, edge_x, edge_y], cell, full, out, _as_one(waiting), _as_one(edges))
    return out


def _as_one(parts: list[NDArray[Any]]) -> NDArray[Any]:
    """Return the parts one after the other, and empty the list: of millions of cells two copies are not kept."""
    one = np.concatenate(parts)
    parts.clear()
    return one


def _narrow(
    area: Array,
    edge_x: Array,
    edge_y: Array,
    cell: float,
    full: float | None,
    wanted: Callable[[Array], Bools],
    rows_at: slice,
    out: Array,
) -> tuple[NDArray[np.int32], NDArray[np.float32]]:
    """Windows of up to nine cells, for some rows. What they show goes to ``out``.

    Returns the places in ``out`` that have not settled, where the last chord stands for now, and the
    edges met there.
    """
    ny, nx = area.shape
    low, high = max(0, rows_at.start - _WIDEST + 1), min(ny, rows_at.stop + _WIDEST - 1)
    part = area[low:high]
    sums = [part if full is None else full - part, edge_x[low:high], edge_y[low:high], np.ones(part.shape)]
    rows, columns = (v.astype(np.int32) for v in np.nonzero(wanted(area[rows_at])))
    rows += rows_at.start - low
    width = 1
    chord, edges = _chords(sums, 1, width, cell, rows, columns)
    while rows.size and width < _WIDEST and width < 2 * max(area.shape):
        window = width * cell
        width = 3 if width == 1 else 2 * width - 1
        wider, wider_edges = _chords(sums, 1, width, cell, rows, columns)
        good = _settled(chord, edges, wider, window)
        out[rows[good] + low, columns[good]] = chord[good]
        rows, columns, chord, edges = rows[~good], columns[~good], wider[~good], wider_edges[~good]
    out[rows + low, columns] = chord
    return (rows + np.int32(low)) * np.int32(nx) + columns, edges.astype(np.float32)


def _wide(
    sums: list[Array],
    cell: float,
    full: float | None,
    out: Array,
    waiting: NDArray[np.int32],
    edges: NDArray[np.float32],
) -> None:
    """Windows of joined cells for the places in ``out`` that wait; those that none shows become NaN."""
    flat, nx = out.reshape(-1), out.shape[1]
    width, joined = _WIDEST, 1
    known = [np.ones(n) for n in out.shape]
    while waiting.size and joined * width < 2 * max(out.shape):
        window = joined * width * cell
        sums, joined = [_join(v) for v in sums], 2 * joined
        known = [_join(v[None, :])[0] if v.size > 1 else v for v in known]
        cells = np.outer(*known)
        held = sums[0] if full is None else np.maximum(full * cells - sums[0], 0.0)
        chord, met = _chord_maps([held, *sums[1:], cells], joined, width, cell)
        left = 0
        for start in range(0, waiting.size, _BAND):
            index, old_edges = waiting[start : start + _BAND].copy(), edges[start : start + _BAND].copy()
            at = (index // nx // joined, index % nx // joined)
            old, wider = flat[index], chord[at]
            go_on = ~_settled(old, old_edges, wider, window)
            index = index[go_on]
            flat[index] = wider[go_on]
            waiting[left : left + index.size] = index
            edges[left : left + index.size] = met[at][go_on]
            left += index.size
        waiting, edges = waiting[:left], edges[:left]
    never = waiting[~np.isfinite(flat[waiting])]
    flat[never] = np.nan


def _settled(chord: Array, edges: NDArray[np.floating], wider: Array, window: float) -> Bools:
    """Whether a window shows its chord truly, seen from the next wider one."""
    with np.errstate(invalid="ignore"):
        confirmed = (edges >= 1.5) & (wider < 1.5 * chord) & (chord < 1.5 * wider)
        settled: Bools = (chord * _WINDOWS_PER_WIDTH <= window) & ((edges >= 4.0) | confirmed)
    return settled


def _chords(
    sums: list[Array],
    joined: int,
    width: int,
    cell: float,
    rows: NDArray[np.int32],
    columns: NDArray[np.int32],
) -> tuple[Array, Array]:
    """Mean chord [m] and edges met by a scan at some cells, in windows ``width`` joined cells wide at half height."""
    chord, met = _chord_maps(sums, joined, width, cell)
    return chord[rows, columns], met[rows, columns]


def _chord_maps(sums: list[Array], joined: int, width: int, cell: float) -> tuple[Array, Array]:
    # One after the other, so that of a map of millions of cells no more than four are held at a time.
    edge = np.maximum(_window_mean(sums[1], width), _window_mean(sums[2], width))
    known = _window_mean(sums[3], width)
    with np.errstate(divide="ignore", invalid="ignore"):
        chord = np.where(edge > 1e-9 * cell * known, 2.0 * _window_mean(sums[0], width) / edge, np.inf)
        # A scan of length L meets L * (edge length / area) edges.
        met = edge / known * (width * joined / cell)
    return chord, met


def _window_mean(v: Array, width: int) -> Array:
    """Triangular mean. Beyond the map nothing is known; zeros there fall out of the quotients."""
    if width == 1:
        return v
    from scipy.ndimage import uniform_filter

    mean: Array = uniform_filter(uniform_filter(v, width, mode="constant"), width, mode="constant")
    return mean


def _join(v: Array) -> Array:
    """Sums over two by two cells; an odd row or column stays with nothing beside it."""
    ny, nx = v.shape[0] // 2, v.shape[1] // 2
    joined: Array = v[::2, ::2].copy()
    joined[:ny] += v[1::2, ::2]
    joined[:, :nx] += v[::2, 1::2]
    joined[:ny, :nx] += v[1::2, 1::2]
    return joined
