"""The fluid pressure under the wafer: Reynolds' equation on the disk, with the pad's summits and grooves.

The head presses with q on the wafer's back; summits carry p_s of it and the slurry the rest, p_f = q - p_s,
which is suction where it is below 0. Summits have an exponential tail of length s, so a gap that is wider by
s carries 1/e: the gap follows from the load on the summits, h = h0 - s y with y = ln(p_s/p_mean), and y is
what is solved for on a polar grid (x along the pad's velocity, theta = 0 where the wafer trails):

    div(K grad p_f) - K p_f/L^2 = div[ U/2 x (h + sigma phi_s) + omega z x r h ]

Under a rigid head q is not given: head and wafer keep their shape, so where the gap opens the pad (and the film
behind the wafer) is pressed less, q = q0 - [s (y - y0) + Z + alpha x + beta y]/C from the dry q0, y0. The head
finds its height Z and its two tilts so that q carries the same load, and so that its moments are those of
friction about the gimbal, a height h_g above the pad: the sum of q x is -h_g mu times the load on summits.

In both, p_f = 0 at the wafer's edge, where the gap to the ring is open. U is the sliding speed of the pad under
the wafer's centre, omega the mean of the two speeds of turning (both faces drag liquid along), K the mobility
of the gap with its grooves, phi_s the shear that the summits carry along, and L how far fluid pressure
reaches before open pores let it out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import exp, isfinite, log, pi
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import solve_banded
from scipy.special import ndtr

from planish.errors import ModelError, refuse
from planish.physics.checks import above_zero, zero_or_more

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Film between rough faces: Patir & Cheng 1978, J. Lubr. Technol., its flow factor (read as quoted in a "
    "piston-machine gap solver)",
    "Film between rough faces: Patir & Cheng 1979, J. Lubr. Technol., its shear factor (from memory)",
    "Flow along a rectangular groove, 1 - 0.63 of the narrow over the wide side (read as quoted in a channel-flow "
    "code), its small term that of torsion (read as quoted in a bar-frequency code), one problem: derived here",
    "Load on summits as the unknown of Reynolds' equation, grooves as a mean of the two directions of a "
    "trace: derivation of our own",
)

RINGS, SPOKES = 32, 9  # share of the load good to 0.003; an odd number of spokes, for their derivative
_STEPS = 25
_PARTS = np.geomspace(0.01, 1.0, 9)  # of the speed, where the film is not found at once
_TOLERANCE = 1e-6  # of y
_LEFT = 2e-4
"""Of a change of y, the most that the next one is besides the square's part: the film's derivatives are differences
(1,500 films over their whole range: at most 0.6 of the square of changes from 1e-4 up, 1.4e-4 of smaller ones)."""
_LITTLE = 1e-4  # of the summits' tail: by how much a rigid head is moved to see what it does
CLOSED = 1e-10  # [m]: no gap between solids is smaller
_MOST_SHEARED = 0.5506  # gap over roughness at which Phi^2 over the mean open gap is greatest
VACUUM = -95e3
"""Least pressure of the liquid against ambient [Pa]: below it would boil or draw air (an assumption)."""


@dataclass(frozen=True, slots=True)
class Gap:
    """The gap between wafer and pad as the film sees it.

    Attributes
    ----------
    height
        Mean gap where summits carry the mean pressure, h0 [m].
    roughness
        Standard deviation of the pad's heights, sigma [m].
    tail
        Length over which summits' load falls to 1/e, s [m].
    groove_width, groove_depth, groove_pitch
        [m]; a depth of 0 is a pad without grooves.
    groove_share
        Share of the area that is groove [1].
    crossed
        Whether grooves run both ways, so that the flow finds one along it wherever it goes.
    drainage
        Length over which open pores let the pressure out [m]; infinite for none.
    """

    height: float
    roughness: float
    tail: float
    groove_width: float = 0.0
    groove_depth: float = 0.0
    groove_pitch: float = 1.0
    groove_share: float = 0.0
    crossed: bool = False
    drainage: float = float("inf")


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
class Pressed:
    """The load as summits and film share it, on the film's own cells.

    Attributes
    ----------
    radius
        Of the cells' middles [m], (n,).
    solid, fluid
        Pressure on summits and of the liquid [Pa], (n, spokes); suction is below 0.
    height
        Gap over the cells [m], (n, spokes).
    log_solid
        y, to start the next solution from, (n, spokes).
    share
        Of the load that summits carry [1], above 1 under suction.
    steps
        Newton steps that it took.
    torn
        Whether liquid pressure somewhere fell below what liquid can bear; it is not cut off there.
    followed
        Up to which share of the speed the film was found [1]; what is here is the film at that speed. Below 1
        where the liquid lifts the wafer off its summits, or sucks it down too hard.
    """

    radius: Array
    solid: Array
    fluid: Array
    height: Array
    log_solid: Array
    share: float
    steps: int
    torn: bool
    followed: float


def regime(solid_share: ArrayLike) -> NDArray[np.str_]:
    """Name the regime by the share of load on summits.

    Parameters
    ----------
    solid_share
        [1], any shape.

    Returns
    -------
    NDArray[np.str_]
        "boundary" from 0.9 up, "hydrodynamic" to 0.1, "mixed" between (borders are a convention of our own).
    """
    share = np.asarray(solid_share, dtype=np.float64)
    return np.where(share >= 0.9, "boundary", np.where(share <= 0.1, "hydrodynamic", "mixed"))


def groove_height(share: float, depth: float, tail: float) -> float:
    """Return how much closer the wafer comes because grooves take land from the summits.

    Parameters
    ----------
    share
        Of the area that is groove [1].
    depth, tail
        Of the groove, and of the summits [m].

    Returns
    -------
    float
        s ln[(1 - f) + f exp(-d/s)] [m], 0 or less: nothing jumps where a groove is worn away.
    """
    return tail * log((1.0 - share) + share * exp(-depth / tail))


def rough_height(height: ArrayLike, roughness: float) -> Array:
    """Return the mean of the open gap of a rough pad: what is above its surface.

    Parameters
    ----------
    height
        Between the mean planes [m], any shape, also below 0.
    roughness
        sigma of Gaussian heights [m], above 0.

    Returns
    -------
    Array
        sigma [z Phi(z) + phi(z)], z = h/sigma [m].
    """
    z = np.asarray(height, dtype=np.float64) / roughness
    bell = np.exp(-0.5 * z * z) / np.sqrt(2.0 * pi)
    far = np.minimum(z, -8.0)  # there z Phi + phi loses its digits: bell/z^2 is its limit
    open_gap = roughness * np.where(z > -8.0, z * ndtr(z) + bell, bell / (far * far))
    return np.asarray(np.maximum(open_gap, CLOSED))


def tip_relief(density: float, tip_radius: float) -> float:
    """Return how deep the pad lies below the tips of its summits on average, by their roundness alone.

    Parameters
    ----------
    density
        Of the summits [1/m^2].
    tip_radius
        [m].

    Returns
    -------
    float
        1/(4 pi n R) [m]: a paraboloid of tip radius R falls by r^2/2R, averaged over the area 1/n that is its own.
    """
    return 1.0 / (4.0 * pi * density * tip_radius)


def rough_shear(height: ArrayLike, roughness: float, relief: float) -> Array:
    """Return the shear rate over the sliding speed in the open part of the gap, over the whole area.

    Parameters
    ----------
    height
        Between the mean planes [m], any shape, also below 0.
    roughness
        sigma of Gaussian heights [m], above 0.
    relief
        Mean depth below the tips (:func:`tip_relief`) [m], above 0.

    Returns
    -------
    Array
        Phi(z)^2 over the mean open gap, z = h/sigma [1/m]: 1/h where all of it is open; at most 1/relief, and never
        less in a closer gap.

    Notes
    -----
    Phi is the share of the *tips* that stand clear, and tips touch with a few per cent of their area only. So where
    more of them touch than at the greatest Phi^2 over open gap (``_MOST_SHEARED``), the shear stays what it is there;
    and where all are worn to one height, the liquid still stands as deep as tips are round.
    """
    z = np.maximum(np.asarray(height, dtype=np.float64) / roughness, _MOST_SHEARED)
    return np.asarray(np.minimum(ndtr(z) ** 2 / rough_height(z * roughness, roughness), 1.0 / relief))


def flow_factor(ratio: ArrayLike) -> Array:
    """Return Patir and Cheng's pressure flow factor of an isotropic surface.

    Parameters
    ----------
    ratio
        H, gap over roughness [1].

    Returns
    -------
    Array
        phi_x = 1 - 0.9 exp(-0.56 H) [1].
    """
    return np.asarray(1.0 - 0.9 * np.exp(-0.56 * np.asarray(ratio, dtype=np.float64)))


def shear_factor(ratio: ArrayLike) -> Array:
    """Return Patir and Cheng's shear flow factor of an isotropic surface.

    Parameters
    ----------
    ratio
        H, gap over roughness [1].

    Returns
    -------
    Array
        phi_s = 1.899 H^0.98 exp(-0.92 H + 0.05 H^2) up to H = 5, 1.126 exp(-0.25 H) beyond [1].
    """
    H = np.maximum(np.asarray(ratio, dtype=np.float64), 1e-12)
    low = np.minimum(H, 5.0)
    near = 1.899 * low**0.98 * np.exp(-0.92 * low + 0.05 * low * low)
    return np.asarray(np.where(H <= 5.0, near, 1.126 * np.exp(-0.25 * H)))


def duct_conductance(width: ArrayLike, height: ArrayLike) -> Array:
    """Return the flow along a rectangular duct at unit viscosity and pressure gradient.

    Parameters
    ----------
    width, height
        Of the duct [m].

    Returns
    -------
    Array
        G = m^3 M/12 [1 - 0.63 (m/M)(1 - (m/M)^4/12)] [m^4], m and M the lesser and greater of the two.
    """
    a, b = np.asarray(width, dtype=np.float64), np.asarray(height, dtype=np.float64)
    m, M = np.minimum(a, b), np.maximum(a, b)
    q = m / M
    return np.asarray(m**3 * M / 12.0 * (1.0 - 0.63 * q * (1.0 - q**4 / 12.0)))


def mobility(gap: Gap, viscosity: float, height: ArrayLike) -> Array:
    """Return the flow per width and pressure gradient of the gap and the grooves under it.

    Parameters
    ----------
    gap
        Of the pad.
    viscosity
        [Pa s].
    height
        Open gap [m], from :func:`rough_height`.

    Returns
    -------
    Array
        K [m^3/(Pa s)], half the trace of what it is along and across the grooves (exact on a disk with an
        even source, whatever the grooves' direction); along, for grooves that run both ways.
    """
    h = np.asarray(height, dtype=np.float64)
    land = flow_factor(h / gap.roughness) * h**3 / (12.0 * viscosity)
    if gap.groove_depth <= 0 or gap.groove_share <= 0:
        return np.asarray(land)
    deep, f = h + gap.groove_depth, gap.groove_share
    ducts = duct_conductance(gap.groove_width, deep) - duct_conductance(gap.groove_width, h)
    along = land + np.maximum(ducts, 0.0) / (viscosity * gap.groove_pitch)
    if gap.crossed:
        return np.asarray(along)
    over_groove = land + (deep**3 - h**3) / (12.0 * viscosity)
    across = 1.0 / ((1.0 - f) / land + f / over_groove)
    return np.asarray(0.5 * (along + across))


@dataclass(frozen=True, slots=True)
class _Grid:
    """Cells of the unit disk, and the derivative along theta on equally spaced spokes."""

    faces: Array  # (n+1,)
    middles: Array
    volumes: Array  # (n,) of the cells, for a radian
    theta: Array
    turn: Array  # (spokes, spokes)


@lru_cache(maxsize=8)
def _grid(rings: int, spokes: int) -> _Grid:
    faces = np.sin(np.linspace(0.0, 0.5 * pi, rings + 1))
    theta = 2.0 * pi * np.arange(spokes) / spokes
    apart = np.arange(spokes)[:, None] - np.arange(spokes)[None, :]
    with np.errstate(divide="ignore"):
        turn = np.where(apart == 0, 0.0, 0.5 * (-1.0) ** apart / np.sin(pi * apart / spokes))
    low, high = faces[:-1], faces[1:]
    middles = 2.0 / 3.0 * (high**3 - low**3) / (high**2 - low**2)
    return _Grid(faces, middles, 0.5 * (high**2 - low**2), theta, turn)


def film_cells(rings: int = RINGS) -> Array:
    """Return the faces of the film's cells over the wafer's radius.

    Parameters
    ----------
    rings
        How many cells.

    Returns
    -------
    Array
        Share of the radius, (rings+1,): the sines of even angles, as the wafer's own cells.
    """
    return _grid(rings, SPOKES).faces


def film_pressure(
    gap: Gap,
    flow: Flow,
    radius: float,
    load: ArrayLike,
    edge_load: ArrayLike,
    start: ArrayLike | None = None,
    *,
    held: RigidHead | None = None,
) -> Pressed:
    """Return how summits and liquid share a load that the head presses on the wafer's back.

    Parameters
    ----------
    gap, flow
        Between wafer and pad, and what drives the liquid.
    radius
        Of the wafer [m].
    load
        q [Pa] on the film's cells, (rings,) or (rings, spokes), above 0.
    edge_load
        q at the rim, a number or (spokes,).
    start
        ``log_solid`` of a similar film.
    held
        How a rigid head holds the wafer, ``load`` then being that of the dry pad; None: a membrane presses ``load``,
        whatever the film does.

    Returns
    -------
    Pressed
        On the film's cells.

    Raises
    ------
    ModelError
        Where a value is out of its range.

    Notes
    -----
    Finite volumes with exponentially fitted flux along r, a Fourier derivative along theta; Newton's method,
    a step of y at most 1, halved where it does not help.
    """
    above_zero("film gap: roughness [m]", gap.roughness)
    above_zero("film gap: tail length [m]", gap.tail)
    above_zero("viscosity [Pa s]", flow.viscosity)
    above_zero("wafer radius [m]", radius)
    zero_or_more("sliding speed [m/s]", abs(flow.speed))
    q = np.asarray(load, dtype=np.float64)
    if q.ndim == 1:
        q = np.repeat(q[:, None], SPOKES, axis=1)
    rim = np.broadcast_to(np.asarray(edge_load, dtype=np.float64), q.shape[1:])
    if not (q.min() > 0 and rim.min() > 0):
        raise ModelError(refuse("load on the film [Pa]", float(min(q.min(), rim.min())), "above 0"))
    grid = _grid(*q.shape)
    if held is not None:
        above_zero("give of the pad under a rigid head [m/Pa]", held.give)
    problem = _Problem(gap, flow, radius, q, rim, grid, held)
    y = np.log(q / problem.mean) if start is None else np.array(start, dtype=np.float64)
    y, steps = _newton(problem, y)
    followed = 1.0
    if steps == 0:
        y, steps, followed = _as_far_as_it_goes(gap, flow, radius, q, rim, held)
    solid = problem.mean * np.exp(y)
    fluid = problem.load(y) - solid
    weights = grid.volumes / grid.volumes.sum()
    return Pressed(
        radius=radius * grid.middles,
        solid=solid,
        fluid=fluid,
        height=gap.height - gap.tail * y,
        log_solid=y,
        share=float(weights @ solid.mean(axis=1) / problem.mean),
        steps=steps,
        torn=bool(fluid.min() < VACUUM),
        followed=followed,
    )


def _as_far_as_it_goes(
    gap: Gap, flow: Flow, radius: float, q: Array, rim: Array, held: RigidHead | None
) -> tuple[Array, int, float]:
    """Return y, steps and share of the speed: from a pad at rest, where summits carry all, faster and faster."""
    grid = _grid(*q.shape)
    problem = _Problem(gap, flow, radius, q, rim, grid, held)
    found, taken, followed = np.log(q / problem.mean), 0, 0.0
    for part in _PARTS:
        slower = Flow(flow.viscosity, float(part) * flow.speed, float(part) * flow.turning)
        y, steps = _newton(_Problem(gap, slower, radius, q, rim, grid, held), found)
        if steps == 0:
            break
        found, taken, followed = y, taken + steps, float(part)
    return found, taken, followed


def _newton(problem: _Problem, y: Array) -> tuple[Array, int]:
    """Return y and the steps that it took; 0: not found."""
    residual, bands = problem.at(y)
    size = float(np.abs(residual).max())
    for step in range(1, _STEPS + 1):
        if not np.isfinite(bands).all():
            return y, 0
        change = problem.step(residual, bands)
        most = float(np.abs(change).max())
        if most * (most + _LEFT) < _TOLERANCE:  # what the next step would still change
            return y + change, step
        change *= min(1.0, 1.0 / max(most, 1e-300))
        part = 1.0
        while True:
            trial = y + part * change
            residual, bands = problem.at(trial)
            now = float(np.abs(residual).max())
            if isfinite(now) and (now < size or part < 0.02):
                break
            part *= 0.5
        y, size = trial, now
    return y, 0


class _Problem:
    """Residual of the film's balance and its derivative, at any y."""

    def __init__(
        self,
        gap: Gap,
        flow: Flow,
        radius: float,
        q: Array,
        rim: Array,
        grid: _Grid,
        held: RigidHead | None = None,
    ) -> None:
        self.gap, self.flow, self.q, self.rim, self.grid = gap, flow, q, rim, grid
        rings, spokes = q.shape
        self.half = 2 * spokes - 1
        self.mean = float(grid.volumes @ q.mean(axis=1) / grid.volumes.sum())
        self.faces, self.middles = radius * grid.faces, radius * grid.middles
        self.volumes = radius**2 * grid.volumes
        self.widths = np.diff(self.faces)
        # outer faces only: the first has no length; the last cell looks half a cell on, to the rim
        self.apart = np.append(np.diff(self.middles), self.faces[-1] - self.middles[-1])[:, None]
        self.length = self.faces[1:, None]
        self.along = 0.5 * flow.speed * np.cos(grid.theta)[None, :]
        self.aside = -0.5 * flow.speed * np.sin(grid.theta)[None, :] * self.widths[:, None]
        self.q_slope = np.vstack([np.diff(q, axis=0), rim[None, :] - q[-1:]]) / self.apart
        self.rim_log = np.log(rim / self.mean)[None, :]
        self.scale = self.mean * float(mobility(gap, flow.viscosity, rough_height(gap.height, gap.roughness)))
        self.rings, self.spokes = rings, spokes
        self._index = _band_index(rings, spokes)
        self.head = None if held is None else _Held(held, gap.tail, self)

    def _film(self, y: Array) -> tuple[Array, Array, Array, Array, Array, Array]:
        """Return K, dK/dy, F = h + sigma phi_s, its two derivatives, and h, the open gap, with dh/dy."""
        gap, viscosity = self.gap, self.flow.viscosity
        step = 1e-4
        at = y[None] + np.array([-step, 0.0, step])[:, None, None]
        h = rough_height(gap.height - gap.tail * at, gap.roughness)
        K = mobility(gap, viscosity, h)
        F = h + gap.roughness * shear_factor(h / gap.roughness)
        d = 0.5 / step
        bend = (F[2] - 2.0 * F[1] + F[0]) / step**2
        return K[1], (K[2] - K[0]) * d, F[1], (F[2] - F[0]) * d, bend, np.stack([h[1], (h[2] - h[0]) * d])

    def at(self, y: Array) -> tuple[Array, Array]:
        """Return the residual (rings, spokes), relative, and its derivative in bands."""
        if self.head is not None:
            return self.head.at(y)
        return self.under(y, self.q, self.q_slope, self.rim_log, 0.0)

    def load(self, y: Array) -> Array:
        """Return q (rings, spokes) [Pa]."""
        return self.q if self.head is None else self.head.load(y)[0]

    def step(self, residual: Array, bands: Array) -> Array:
        """Return Newton's change of y."""
        wanted = -residual.reshape(-1, 1)
        if self.head is None:
            change = solve_banded((self.half, self.half), bands, wanted)
        else:
            both = np.hstack([wanted, self.head.columns])
            solved = solve_banded((self.half, self.half), bands, both)
            change = self.head.joined(solved)
        return np.asarray(change.reshape(self.rings, self.spokes))

    def under(
        self, y: Array, q: Array, q_slope: Array, rim_log: Array, follows: float
    ) -> tuple[Array, Array]:
        """As ``at`` under a load q (rings, spokes), which follows y where it stands at the rate ``follows``.

        ``q_slope`` [Pa/m] goes from middle to middle and on to the rim, where y is ``rim_log``.
        """
        full = np.vstack([y, rim_log])
        K, dK, F, dF, ddF, carried = self._film(full)
        flux, by_low, by_high = self._radial(full, K, dK, F, dF, ddF, q_slope, follows)
        flux, by_low, by_high = (self.length * each for each in (flux, by_low, by_high))
        residual = flux.copy()
        residual[1:] -= flux[:-1]
        own = by_low.copy()
        own[1:] -= by_high[:-1]
        turned, by_turn = self._around(y, q, K[:-1], dK[:-1], F[:-1], dF[:-1], carried[:, :-1], follows)
        residual += turned
        if isfinite(self.gap.drainage):
            leak = self.volumes[:, None] / self.gap.drainage**2
            load = self.mean * np.exp(y)
            residual += leak * K[:-1] * (q - load)
            own += leak * (dK[:-1] * (q - load) + K[:-1] * (follows - load))
        bands = self._bands(own, by_turn, by_low, by_high)
        return residual / self.scale, bands / self.scale

    def _radial(
        self, y: Array, K: Array, dK: Array, F: Array, dF: Array, ddF: Array, q_slope: Array, follows: float
    ) -> tuple[Array, Array, Array]:
        """Return the flux outward through the cells' outer faces per length, and its derivatives."""
        low, high, mean = y[:-1], y[1:], self.mean
        load = mean * np.exp(y)
        delta = high - low
        near = np.abs(delta) < 1e-5
        safe = np.where(near, 1.0, delta)
        level = np.where(near, 0.5 * (load[:-1] + load[1:]), (load[1:] - load[:-1]) / safe)
        by_y_high = np.where(near, 0.5 * load[1:], (load[1:] - level) / safe)
        by_y_low = np.where(near, 0.5 * load[:-1], (level - load[:-1]) / safe)
        k, k_low, k_high = 0.5 * (K[:-1] + K[1:]), 0.5 * dK[:-1], 0.5 * dK[1:]
        D, D_low, D_high = k * level, k_low * level + k * by_y_low, k_high * level + k * by_y_high
        # Peclet number of the face: convected film against the load it presses down
        slope = 0.5 * (dF[:-1] + dF[1:])
        P = -self.along * slope * self.apart / D
        B, dB = _bernoulli(P)
        push = B * delta / self.apart
        flux = -k * q_slope + D * push + self.along * F[:-1]
        turn = D * delta / self.apart * dB * (-P / D)  # through D in P
        bent = -0.5 * delta * dB * self.along  # through the slope in P
        moved = k * follows / self.apart
        by_low = moved - k_low * q_slope + D_low * push + turn * D_low - D * B / self.apart
        by_low += self.along * dF[:-1] + bent * ddF[:-1]
        by_high = -moved - k_high * q_slope + D_high * push + turn * D_high + D * B / self.apart
        by_high += bent * ddF[1:]
        return flux, by_low, by_high

    def _around(
        self, y: Array, q: Array, K: Array, dK: Array, F: Array, dF: Array, carried: Array, follows: float
    ) -> tuple[Array, Array]:
        """Return what leaves the cells along theta, and its derivative (rings, spokes, spokes)."""
        turn, (h, dh) = self.grid.turn, carried
        load = self.mean * np.exp(y)
        omega = self.flow.turning * self.volumes[:, None]
        out = (self.aside * F + omega * h) @ turn.T
        by = turn[None] * (self.aside * dF + omega * dh)[:, None, :]
        across = (self.widths / self.middles)[:, None]
        slope = (q - load) @ turn.T
        out -= (across * K * slope) @ turn.T
        inner = across[:, :, None] * K[:, :, None] * turn[None] * (follows - load)[:, None, :]
        inner = np.einsum("jk,ikl->ijl", turn, inner) + turn[None] * (across * dK * slope)[:, None, :]
        return out, by - inner

    def _bands(self, own: Array, by_turn: Array, by_low: Array, by_high: Array) -> Array:
        """Return the matrix as LAPACK keeps bands: row u + i - j."""
        n, m = self.rings, self.spokes
        bands = np.zeros((2 * self.half + 1, n * m))
        rows, columns = self._index
        bands[rows, columns] = by_turn
        bands[self.half] += own.ravel()
        bands[self.half - m, m:] = by_high[:-1].ravel()
        bands[self.half + m, :-m] = -by_low[:-1].ravel()
        return bands


class _Held:
    """The load under a rigid head, and what its height and its two tilts add to Newton's matrix."""

    def __init__(self, held: RigidHead, tail: float, problem: _Problem) -> None:
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
        for _ in range(_STEPS):
            solid = problem.mean * np.exp(rim)
            off = solid - problem.rim + (self.tail * (rim - problem.rim_log[0]) + standing) / give
            change = np.clip(off / (solid + self.tail / give), -1.0, 1.0)
            rim -= change
            if float(np.abs(change).max()) < _TOLERANCE**2:
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


@lru_cache(maxsize=8)
def _band_index(rings: int, spokes: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    half = 2 * spokes - 1
    j = np.arange(spokes)
    rows = half + j[:, None] - j[None, :]
    columns = spokes * np.arange(rings)[:, None, None] + j[None, None, :]
    return np.broadcast_to(rows, (rings, spokes, spokes)), np.broadcast_to(columns, (rings, spokes, spokes))


def _bernoulli(x: Array) -> tuple[Array, Array]:
    """Return x/(e^x - 1) and its derivative, by their series about 0."""
    small = np.abs(x) < 1e-3
    safe = np.where(small, 1.0, np.clip(x, -700.0, 700.0))
    grown = np.expm1(safe)
    B = np.where(small, 1.0 - x / 2.0 + x * x / 12.0, safe / grown)
    dB = np.where(small, -0.5 + x / 6.0, (1.0 - B * (grown + 1.0)) / np.where(small, 1.0, grown))
    return B, dB
