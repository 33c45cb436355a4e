"""The balance of liquid and load in each cell under the wafer, and its derivative: what ``film`` brings to nothing."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import isfinite, pi
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dgbsv

from planish.physics.slurry.gap import Gap, mobility, rough_height, shear_factor

Array = NDArray[np.float64]

STEPS = 25  # of Newton's method, at most
TOLERANCE = 1e-6  # of y
_LITTLE = 1e-4  # of the summits' tail: by how much a rigid head is moved to see what it does


class Flow(NamedTuple):
    """How the liquid is driven: its viscosity [Pa s], sliding speed [m/s] and mean turning [rad/s]."""

    viscosity: float
    speed: float
    turning: float


class RigidHead(NamedTuple):
    """What gives way under a head that keeps its shape.

    ``give`` [m/Pa], of pad and backing film, C; ``lever`` [m], friction on summits times the gimbal's height.
    """

    give: float
    lever: float


@dataclass(frozen=True, slots=True)
class Grid:
    """Cells of the unit disk, and the derivative along theta on equally spaced spokes.

    Attributes
    ----------
    faces, middles
        (n+1,) and (n,).
    volumes
        (n,) of the cells, for a radian.
    theta, turn
        Of the spokes (m,), and their derivative (m, m).
    twice
        Products of two derivatives (m, m m): what goes from spoke k to j and comes from l, d_jk d_kl.
    """

    faces: Array
    middles: Array
    volumes: Array
    theta: Array
    turn: Array
    twice: Array


@lru_cache(maxsize=8)
def film_grid(rings: int, spokes: int) -> Grid:
    """Return the cells of the unit disk.

    Parameters
    ----------
    rings, spokes
        How many; an odd number of spokes.

    Returns
    -------
    Grid
        Its faces at the sines of even angles: finer towards the rim.
    """
    faces = np.sin(np.linspace(0.0, 0.5 * pi, rings + 1))
    theta = 2.0 * pi * np.arange(spokes) / spokes
    apart = np.arange(spokes)[:, None] - np.arange(spokes)[None, :]
    with np.errstate(divide="ignore"):
        turn = np.where(apart == 0, 0.0, 0.5 * (-1.0) ** apart / np.sin(pi * apart / spokes))
    low, high = faces[:-1], faces[1:]
    middles = 2.0 / 3.0 * (high**3 - low**3) / (high**2 - low**2)
    twice = (turn.T[:, :, None] * turn[:, None, :]).reshape(spokes, spokes * spokes)
    return Grid(faces, middles, 0.5 * (high**2 - low**2), theta, turn, twice)


class _Cells(NamedTuple):
    """The cells of a wafer [m]: faces (n+1,), middles and widths (n,), volumes (n,) [m^2] for a radian.

    ``apart`` (n, 1): from middle to middle over the outer faces; the last cell looks half a cell on, to the rim.
    """

    faces: Array
    middles: Array
    widths: Array
    volumes: Array
    apart: Array


@lru_cache(maxsize=32)
def _cells(radius: float, rings: int, spokes: int) -> _Cells:
    """Return the cells of a wafer of a radius [m]."""
    grid = film_grid(rings, spokes)
    faces, middles = radius * grid.faces, radius * grid.middles
    apart = np.append(np.diff(middles), faces[-1] - middles[-1])[:, None]
    return _Cells(faces, middles, np.diff(faces), radius**2 * grid.volumes, apart)


class Balance:
    """Residual of the film's balance and its derivative, at any y.

    Parameters
    ----------
    gap, flow
        Between wafer and pad, and what drives the liquid.
    radius
        Of the wafer [m].
    q, rim
        Load on the film's cells (rings, spokes) and at the rim (spokes,) [Pa].
    grid
        The cells.
    held
        How a rigid head holds the wafer; None under a membrane.
    moves
        Mobility of the gap where summits carry the mean pressure [m^3/(Pa s)], where it is known already.
    """

    def __init__(
        self,
        gap: Gap,
        flow: Flow,
        radius: float,
        q: Array,
        rim: Array,
        grid: Grid,
        held: RigidHead | None = None,
        moves: float | None = None,
    ) -> None:
        self.gap, self.flow, self.q, self.rim, self.grid = gap, flow, q, rim, grid
        rings, spokes = q.shape
        self.half = 2 * spokes - 1
        self.mean = float(grid.volumes @ q.mean(axis=1) / grid.volumes.sum())
        self.faces, self.middles, self.widths, self.volumes, self.apart = _cells(radius, rings, spokes)
        self.length = self.faces[1:, None]  # outer faces only: the first has none
        self.along = 0.5 * flow.speed * np.cos(grid.theta)[None, :]
        self.aside = -0.5 * flow.speed * np.sin(grid.theta)[None, :] * self.widths[:, None]
        self.q_slope = np.vstack([np.diff(q, axis=0), rim[None, :] - q[-1:]]) / self.apart
        self.rim_log = np.log(rim / self.mean)[None, :]
        if moves is None:
            moves = float(mobility(gap, flow.viscosity, rough_height(gap.height, gap.roughness)))
        self.scale = self.mean * moves
        self.rings, self.spokes = rings, spokes
        self.head = None if held is None else _Held(held, gap.tail, self)

    def _film(self, y: Array) -> tuple[Array, Array, Array, Array, Array, Array]:
        """Return K, dK/dy, F = h + sigma phi_s, its two derivatives, and h, the open gap, with dh/dy."""
        gap, viscosity = self.gap, self.flow.viscosity
        step = 1e-4
        at = np.stack([y - step, y, y + step])
        h = rough_height(gap.height - gap.tail * at, gap.roughness)
        K = mobility(gap, viscosity, h)
        F = h + gap.roughness * shear_factor(h / gap.roughness)
        d = 0.5 / step
        bend = (F[2] - 2.0 * F[1] + F[0]) / step**2
        return K[1], (K[2] - K[0]) * d, F[1], (F[2] - F[0]) * d, bend, np.stack([h[1], (h[2] - h[0]) * d])

    def at(self, y: Array) -> tuple[Array, Array]:
        """Return the residual (rings, spokes), relative, and its derivative in bands.

        Parameters
        ----------
        y
            (rings, spokes).
        """
        if self.head is not None:
            return self.head.at(y)
        return self.under(y, self.q, self.q_slope, self.rim_log, 0.0)

    def load(self, y: Array) -> Array:
        """Return q (rings, spokes) [Pa].

        Parameters
        ----------
        y
            (rings, spokes).
        """
        return self.q if self.head is None else self.head.load(y)[0]

    def step(self, residual: Array, bands: Array) -> Array:
        """Return Newton's change of y, NaN where there is none.

        Parameters
        ----------
        residual, bands
            As from ``at``; the bands are used up.
        """
        wanted = -residual.reshape(-1, 1)
        if self.head is not None:
            wanted = np.hstack([wanted, self.head.columns])
        _, _, solved, info = dgbsv(self.half, self.half, bands, wanted, overwrite_ab=1, overwrite_b=1)
        if info > 0:
            return np.full((self.rings, self.spokes), np.nan)
        change = solved if self.head is None else self.head.joined(solved)
        return np.asarray(change.reshape(self.rings, self.spokes))

    def under(
        self, y: Array, q: Array, q_slope: Array, rim_log: Array, follows: float
    ) -> tuple[Array, Array]:
        """As ``at``, under any load.

        Parameters
        ----------
        y
            (rings, spokes).
        q
            [Pa], (rings, spokes).
        q_slope
            [Pa/m], from middle to middle and on to the rim.
        rim_log
            y at the rim (1, spokes).
        follows
            Rate at which q follows y where it stands [Pa].

        Returns
        -------
        tuple[Array, Array]
            Residual (rings, spokes), relative, and its derivative in bands.
        """
        full = np.vstack([y, rim_log])
        K, dK, F, dF, ddF, carried = self._film(full)
        flux, by_low, by_high = self._radial(full, K, dK, F, dF, ddF, q_slope, follows)
        per_scale = self.length / self.scale
        flux, by_low, by_high = (per_scale * each for each in (flux, by_low, by_high))
        residual = flux.copy()
        residual[1:] -= flux[:-1]
        own = by_low.copy()
        own[1:] -= by_high[:-1]
        turned, by_turn = self._around(y, q, K[:-1], dK[:-1], F[:-1], dF[:-1], carried[:, :-1], follows)
        residual += turned / self.scale
        by_turn /= self.scale
        if isfinite(self.gap.drainage):
            leak = self.volumes[:, None] / (self.gap.drainage**2 * self.scale)
            load = self.mean * np.exp(y)
            residual += leak * K[:-1] * (q - load)
            own += leak * (dK[:-1] * (q - load) + K[:-1] * (follows - load))
        return residual, self._bands(own, by_turn, by_low, by_high)

    def _radial(
        self, y: Array, K: Array, dK: Array, F: Array, dF: Array, ddF: Array, q_slope: Array, follows: float
    ) -> tuple[Array, Array, Array]:
        """Return the flux outward through the cells' outer faces per length, and its derivatives."""
        low, high, mean = y[:-1], y[1:], self.mean
        load = mean * np.exp(y)
        delta = high - low
        near = np.abs(delta) < 1e-5
        safe = np.where(near, 1.0, delta)
        inner, outer = load[:-1], load[1:]
        level = np.where(near, 0.5 * (inner + outer), (outer - inner) / safe)
        by_y_high = np.where(near, 0.5 * outer, (outer - level) / safe)
        by_y_low = np.where(near, 0.5 * inner, (level - inner) / safe)
        k, k_low, k_high = 0.5 * (K[:-1] + K[1:]), 0.5 * dK[:-1], 0.5 * dK[1:]
        D, D_low, D_high = k * level, k_low * level + k * by_y_low, k_high * level + k * by_y_high
        # Peclet number of the face: convected film against the load it presses down
        slope = 0.5 * (dF[:-1] + dF[1:])
        P = -self.along * slope * self.apart / D
        B, dB = _bernoulli(P)
        rise = delta / self.apart
        flux = -k * q_slope + D * (B * rise) + self.along * F[:-1]
        through = (B - P * dB) * rise  # D stands in P too
        bent = -0.5 * delta * dB * self.along  # through the slope in P
        direct = D * B / self.apart
        by_low = D_low * through - k_low * q_slope - direct + self.along * dF[:-1] + bent * ddF[:-1]
        by_high = D_high * through - k_high * q_slope + direct + bent * ddF[1:]
        if follows:
            moved = k * follows / self.apart
            by_low += moved
            by_high -= moved
        return flux, by_low, by_high

    def _around(
        self, y: Array, q: Array, K: Array, dK: Array, F: Array, dF: Array, carried: Array, follows: float
    ) -> tuple[Array, Array]:
        """Return what leaves the cells along theta, and its derivative (rings, spokes, spokes)."""
        turn, (h, dh) = self.grid.turn, carried
        load = self.mean * np.exp(y)
        omega = self.flow.turning * self.volumes[:, None]
        across = (self.widths / self.middles)[:, None]
        slope = (q - load) @ turn.T
        spread = across * K
        out = (self.aside * F + omega * h - spread * slope) @ turn.T
        by = turn * (self.aside * dF + omega * dh - across * dK * slope)[:, None, :]
        inner = (spread @ self.grid.twice).reshape(by.shape)
        inner *= (follows - load)[:, None, :]
        by -= inner
        return out, by

    def _bands(self, own: Array, by_turn: Array, by_low: Array, by_high: Array) -> Array:
        """Return the matrix as LAPACK keeps bands to solve with them: row l + u + i - j, the first l to work in."""
        n, m = self.rings, self.spokes
        deep = 3 * self.half + 1
        flat = np.zeros(deep * n * m)
        # of ring i from spoke l to j: row 2 half + j - l of column m i + l
        blocks = np.ndarray(
            by_turn.shape, buffer=flat, offset=16 * self.half, strides=(8 * deep * m, 8, 8 * (deep - 1))
        )
        blocks[:] = by_turn
        whole = flat.reshape((deep, n * m), order="F")
        bands = whole[self.half :]
        bands[self.half] += own.ravel()
        bands[self.half - m, m:] = by_high[:-1].ravel()
        bands[self.half + m, :-m] = -by_low[:-1].ravel()
        return whole


class _Held:
    """The load under a rigid head, and what its height and its two tilts add to Newton's matrix."""

    def __init__(self, held: RigidHead, tail: float, problem: Balance) -> None:
        self.held, self.tail, self.problem = held, tail, problem
        theta, middles = problem.grid.theta[None, :], problem.middles[:, None]
        at = [np.ones((problem.rings, problem.spokes)), middles * np.cos(theta), middles * np.sin(theta)]
        edge = problem.faces[-1]
        self.modes = np.stack(at)  # of height and tilts, over the cells
        self.at_rim = np.stack([np.ones(problem.spokes), edge * np.cos(theta[0]), edge * np.sin(theta[0])])
        self.weights = np.repeat(problem.volumes[:, None], problem.spokes, axis=1)
        self.weights = self.weights / self.weights.sum()
        self.sizes = np.einsum("kij,kij,ij->k", self.modes, self.modes, self.weights)
        self.dry = np.log(problem.q / problem.mean)
        self.columns = np.zeros((problem.q.size, 3))
        self.rows = np.zeros((3, problem.q.size))

    def placed(self, y: Array) -> Array:
        """Return height and tilts, (3,), at which the load and its moments are what they must be."""
        opened = self.tail * (y - self.dry)
        out = -np.einsum("kij,ij,ij->k", self.modes, opened, self.weights)
        solid = self.problem.mean * np.exp(y)
        out[1] += self.held.give * self.held.lever * float((self.weights * solid).sum())
        return np.asarray(out / self.sizes)

    def load(self, y: Array, placed: Array | None = None) -> tuple[Array, Array, Array]:
        """Return q (rings, spokes) [Pa], its slope on the way out, and y at the rim, where q is all on summits."""
        problem, give = self.problem, self.held.give
        placed = self.placed(y) if placed is None else placed
        opened = self.tail * (y - self.dry) + np.tensordot(placed, self.modes, 1)
        q = problem.q - opened / give
        standing = placed @ self.at_rim
        rim = problem.rim_log[0].copy()
        for _ in range(STEPS):
            solid = problem.mean * np.exp(rim)
            off = solid - problem.rim + (self.tail * (rim - problem.rim_log[0]) + standing) / give
            change = np.clip(off / (solid + self.tail / give), -1.0, 1.0)
            rim -= change
            if float(np.abs(change).max()) < TOLERANCE**2:
                break
        at_rim = problem.mean * np.exp(rim)
        slope = np.vstack([np.diff(q, axis=0), at_rim[None, :] - q[-1:]]) / problem.apart
        return q, slope, rim[None, :]

    def at(self, y: Array) -> tuple[Array, Array]:
        """Return the residual, and its derivative in bands but for height and tilts, which are kept for ``joined``."""
        follows = -self.tail / self.held.give
        placed = self.placed(y)
        residual, bands = self.problem.under(y, *self.load(y, placed), follows)
        for k in range(3):
            little = placed.copy()
            step = _LITTLE * self.tail / self.modes[k].max()
            little[k] += step
            moved, _ = self.problem.under(y, *self.load(y, little), follows)
            self.columns[:, k] = (moved - residual).ravel() / step
        by = -self.tail * self.modes * self.weights
        solid = self.problem.mean * np.exp(y)
        by[1] += self.held.give * self.held.lever * self.weights * solid
        self.rows[:] = (by / self.sizes[:, None, None]).reshape(3, -1)
        return residual, bands

    def joined(self, solved: Array) -> Array:
        """Return Newton's change from that at fixed height and tilts and from what each of the three does (Woodbury)."""
        alone, through = solved[:, 0], solved[:, 1:]
        inner = np.eye(3) + self.rows @ through
        return np.asarray(alone - through @ np.linalg.solve(inner, self.rows @ alone))


def _bernoulli(x: Array) -> tuple[Array, Array]:
    """Return x/(e^x - 1) and its derivative, by their series about 0."""
    small = np.abs(x) < 1e-3
    safe = np.minimum(x, 700.0)  # beyond, e^x is past all numbers; far below 0 the first is -x
    safe[small] = 1.0
    grown = np.expm1(safe)
    B = np.where(small, 1.0 - x / 2.0 + x * x / 12.0, safe / grown)
    dB = np.where(small, -0.5 + x / 6.0, (1.0 - B * (grown + 1.0)) / grown)
    return B, dB
