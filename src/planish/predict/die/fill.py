"""Dummy fill: where to add how much to even out the effective density.

Adding raises the density only, up to a ceiling in each tile and not where it is
kept out. The least range of effective density that this allows, and the least
fill that reaches it, are a linear programme:

    minimize  high - low + weight * sum(fill)
    such that low <= rho_eff + w * fill <= high in every tile, 0 <= fill <= room.

It is solved on tiles of a fraction of the planarization length (finer fill than
that cannot change the range) and checked on the cells.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import counted, figure
from planish.errors import ModelError, refuse
from planish.physics.pattern.effective_density import Edges, effective_density
from planish.physics.pattern.kernels import Kernel
from planish.results.result import Result

if TYPE_CHECKING:
    import xarray as xr

Array = NDArray[np.float64]
MOST_TILES = 900
SOURCES: tuple[str, ...] = (
    "dummy fill within bounds on the density of all windows: Kahng, Robins, Singh & Zelikovsky 1999, IEEE Trans. CAD 18,"
    " 445 (read as quoted in an open process handbook); as a linear programme on tiles of the effective density:"
    " formulation of our own",
)


@dataclass(frozen=True, slots=True, repr=False)
class FillProposal(Result):
    """What to add.

    Attributes
    ----------
    fill
        Density to add per cell, (ny, nx).
    tiles
        Rows (x, y [m] of the tile's centre, side [m], density to add), most first.
    before, after
        Effective density range on the cells.
    least_range
        That the programme found on tiles.
    added
        Mean density added.
    cell, origin
        Side of a cell, and lower left corner of the map [m].
    density
        Of the layout, (ny, nx).
    effective_before, effective_after
        Maps of the effective density, (ny, nx).
    """

    kind: ClassVar[str] = "dummy fill"
    notes: ClassVar[tuple[str, ...]] = ()  # its figures say it all

    fill: Array
    tiles: Array
    before: float
    after: float
    least_range: float
    added: float
    cell: float
    origin: tuple[float, float]
    density: Array
    effective_before: Array
    effective_after: Array

    def _told(self) -> str:
        return (
            f"{figure(100 * self.added, '%', 3)} of the area to add on {counted(len(self.tiles), 'tile')}: effective "
            f"density range {figure(100 * self.after, '%', 3)}, {figure(100 * self.before, '%', 3)} before"
        )

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(SOURCES)

    def dataset(self) -> xr.Dataset:
        """Return the figures, and the maps over (y, x)."""
        maps = {
            "fill": (self.fill, "density to add"),
            "density": (self.density, "layout density"),
            "effective_density_before": (self.effective_before, "effective density before"),
            "effective_density_after": (self.effective_after, "effective density with the fill"),
        }
        return (
            Result.dataset(self)
            .assign(
                {
                    name: (("y", "x"), values, {"units": "1", "long_name": words})
                    for name, (values, words) in maps.items()
                }
            )
            .assign_attrs(cell=self.cell, origin=list(self.origin))
        )

    def _content(self) -> dict[str, Any]:
        """Return the figures; each key ends in its unit where it has one."""
        return {
            "fill_added_percent": 100 * self.added,
            "fill_tiles": len(self.tiles),
            "effective_density_range_before_percent": 100 * self.before,
            "effective_density_range_after_percent": 100 * self.after,
        }


def propose_fill(
    density: Array,
    cell: float,
    length: float,
    *,
    ceiling: float = 0.8,
    keep_out: Array | None = None,
    kernel: Kernel = "elliptic",
    edges: Edges = "periodic",
    outside: float = 0.0,
    origin: tuple[float, float] = (0.0, 0.0),
    thrift: float = 1e-3,
) -> FillProposal:
    """Return the fill that brings the effective density range down the most.

    Parameters
    ----------
    density
        Layout density, (ny, nx).
    cell
        Side of a cell [m].
    length
        Planarization length [m].
    ceiling
        Density that no cell may exceed by filling.
    keep_out
        Share of each cell in which nothing may be added (ny, nx), default 0.
    kernel, edges, outside
        As for :func:`~planish.physics.pattern.effective_density.effective_density`.
    origin
        Lower left corner of the map [m].
    thrift
        Range given up per unit of mean fill saved; 0 fills regardless of amount.

    Returns
    -------
    FillProposal
        What to add, and what it does.

    Raises
    ------
    ModelError
        For a ceiling outside 0..1 or a keep-out map of another shape.
    """
    from scipy.optimize import linprog
    from scipy.sparse import bmat, csr_array

    rho = np.asarray(density, dtype=np.float64)
    if not 0 < ceiling <= 1:
        raise ModelError(refuse("fill ceiling", ceiling, "above 0 and at most 1"))
    closed = np.zeros_like(rho) if keep_out is None else np.asarray(keep_out, dtype=np.float64)
    if closed.shape != rho.shape:
        raise ModelError(refuse("keep-out map shape", closed.shape, f"that of the density {rho.shape}"))
    room = np.maximum(np.minimum(ceiling - rho, 1 - rho - closed), 0.0)
    around: dict[str, Any] = {"kernel": kernel, "edges": edges, "outside": outside}
    start = effective_density(rho, cell, length, **around)
    step = _tile(rho.shape, cell, length)
    tile_room, tile_start = _pooled(room, step), _pooled(start, step)
    shape = tile_room.shape
    spread = csr_array(_response(shape, rho.shape, step, cell, length, around))
    n = tile_room.size
    one = np.ones((n, 1))
    upper = bmat([[spread, -one, None], [-spread, None, one]], format="csr")
    answer = linprog(
        np.concatenate([np.full(n, thrift / n), [1.0, -1.0]]),
        A_ub=upper,
        b_ub=np.concatenate([-tile_start.ravel(), tile_start.ravel()]),
        bounds=[*((0.0, r) for r in tile_room.ravel()), (0, 1), (0, 1)],
        method="highs-ipm",
    )
    if answer.status != 0:
        raise ModelError(f"fill: no proposal was found ({answer.message})")
    tile_fill = answer.x[:n].reshape(shape)
    fill = _poured(tile_fill, rho, room, step)
    end = effective_density(np.minimum(rho + fill, 1.0), cell, length, **around)
    j, i = np.indices(shape)
    rows = np.stack(
        [
            origin[0] + (i.ravel() + 0.5) * step * cell,
            origin[1] + (j.ravel() + 0.5) * step * cell,
            np.full(n, step * cell),
            tile_fill.ravel(),
        ],
        axis=1,
    )
    rows = rows[rows[:, 3] > 1e-4]
    return FillProposal(
        fill=fill,
        tiles=rows[np.argsort(-rows[:, 3], kind="stable")],
        before=float(np.ptp(start)),
        after=float(np.ptp(end)),
        least_range=float(answer.x[n] - answer.x[n + 1]),
        added=float(fill.mean()),
        cell=cell,
        origin=origin,
        density=rho,
        effective_before=start,
        effective_after=end,
    )


def _poured(tile_fill: Array, density: Array, room: Array, step: int) -> Array:
    """Fill inside each tile as water would: the emptiest cells first, up to one density, within each one's room."""
    low, high = np.zeros(tile_fill.shape), np.full(tile_fill.shape, 1.0)
    for _ in range(50):
        middle = 0.5 * (low + high)
        fill = np.clip(_spread_out(middle, step, density.shape) - density, 0.0, room)
        enough = _pooled(fill, step) >= tile_fill
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    return np.asarray(np.clip(_spread_out(high, step, density.shape) - density, 0.0, room))


def _tile(shape: tuple[int, ...], cell: float, length: float) -> int:
    """Cells along a tile's side: an eighth of the length, but no more than MOST_TILES tiles."""
    step = max(int(length / 8 / cell), 1)
    while np.ceil(shape[0] / step) * np.ceil(shape[1] / step) > MOST_TILES:
        step += 1
    return step


def _pooled(values: Array, step: int) -> Array:
    """Mean over tiles of ``step`` cells; the last tiles may be smaller."""
    rows = np.add.reduceat(values, np.arange(0, values.shape[0], step), axis=0)
    both = np.add.reduceat(rows, np.arange(0, values.shape[1], step), axis=1)
    return np.asarray(both / _counts(values.shape, step))


def _counts(shape: tuple[int, ...], step: int) -> Array:
    sizes = [np.diff(np.append(np.arange(0, size, step), size)) for size in shape]
    return np.asarray(np.outer(*sizes).astype(float))


def _spread_out(tiles: Array, step: int, shape: tuple[int, ...]) -> Array:
    return np.repeat(np.repeat(tiles, step, axis=0), step, axis=1)[: shape[0], : shape[1]]


def _response(
    tiles: tuple[int, ...],
    shape: tuple[int, ...],
    step: int,
    cell: float,
    length: float,
    around: dict[str, Any],
) -> Array:
    """Effective density in each tile (rows) of one unit of fill in each tile (columns)."""
    count = tiles[0] * tiles[1]
    out = np.empty((count, count))
    bare = around | {"outside": 0.0}
    # On a field of whole tiles that repeats, all columns are shifts of the first.
    whole = shape[0] % step == 0 and shape[1] % step == 0 and around["edges"] == "periodic"
    for k in range(count):
        if whole and k > 0:
            shifted = np.roll(out[:, 0].reshape(tiles), (k // tiles[1], k % tiles[1]), axis=(0, 1))
            out[:, k] = shifted.ravel()
            continue
        unit = np.zeros(tiles)
        unit.flat[k] = 1.0
        seen = effective_density(_spread_out(unit, step, shape), cell, length, **bare)
        out[:, k] = _pooled(seen, step).ravel()
    return np.where(out > 1e-7, out, 0.0)
