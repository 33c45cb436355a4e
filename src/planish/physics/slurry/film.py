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
from math import isfinite

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse
from planish.physics.checks import above_zero, zero_or_more
from planish.physics.slurry import gap as gap_of_pad
from planish.physics.slurry.film_balance import STEPS, TOLERANCE, Balance, Flow, RigidHead, film_grid
from planish.physics.slurry.film_limit import film_limit
from planish.physics.slurry.gap import Gap

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    *gap_of_pad.SOURCES,
    "Load on summits as the unknown of Reynolds' equation, grooves as a mean of the two directions of a "
    "trace: derivation of our own",
)

RINGS, SPOKES = 32, 9  # share of the load good to 0.003; an odd number of spokes, for their derivative
_LEFT = 2e-4
"""Of a change of y, the most that the next one is besides the square's part: the film's derivatives are differences
(1,500 films over their whole range: at most 0.6 of the square of changes from 1e-4 up, 1.4e-4 of smaller ones)."""
VACUUM = -95e3
"""Least pressure of the liquid against ambient [Pa]: below it would boil or draw air (an assumption)."""


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
        Newton steps that it took to find it.
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
    return film_grid(rings, SPOKES).faces


def film_pressure(
    gap: Gap,
    flow: Flow,
    radius: float,
    load: ArrayLike,
    edge_load: ArrayLike,
    start: Pressed | None = None,
    *,
    held: RigidHead | None = None,
    moves: float | None = None,
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
        A similar film, where the search begins.
    held
        How a rigid head holds the wafer, ``load`` then being that of the dry pad; None: a membrane presses ``load``,
        whatever the film does.
    moves
        Mobility of the gap where summits carry the mean pressure [m^3/(Pa s)], where it is known already.

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
    a step of y at most 1, halved where it does not help. Where that finds nothing, the film is followed from a pad at
    rest as the pad moves faster (:mod:`planish.physics.slurry.film_limit`).
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
    grid = film_grid(*q.shape)
    if held is not None:
        above_zero("give of the pad under a rigid head [m/Pa]", held.give)
    problem = Balance(gap, flow, radius, q, rim, grid, held, moves)
    rest = np.log(q / problem.mean)
    y, steps, followed = rest, 0, 1.0
    if start is None or start.followed == 1.0:
        y, steps = _newton(problem, rest if start is None else start.log_solid)
    if steps == 0:

        def made(part: float) -> Balance:
            slower = Flow(flow.viscosity, part * flow.speed, part * flow.turning)
            return Balance(gap, slower, radius, q, rim, grid, held)

        near = None if start is None else (start.log_solid, start.followed)
        y, followed, steps = film_limit(made, rest, near)
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


def _newton(problem: Balance, y: Array) -> tuple[Array, int]:
    """Return y and the steps that it took; 0: not found."""
    residual, bands = problem.at(y)
    size = float(np.abs(residual).max())
    for step in range(1, STEPS + 1):
        if not isfinite(bands.sum()):  # NaN and infinity go through a sum
            return y, 0
        change = problem.step(residual, bands)
        most = float(np.abs(change).max())
        if not isfinite(most):
            return y, 0
        if most * (most + _LEFT) < TOLERANCE:  # what the next step would still change
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
