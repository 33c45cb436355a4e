"""How summits and slurry share the load of a step: the film under the wafer on the pad as it is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt
from typing import TYPE_CHECKING, cast

import numpy as np
from numpy.typing import NDArray

from planish.engine.fixed import seal, sealed
from planish.physics.pressure.layers import groove_share, plate_stiffness, surface_compliance
from planish.physics.slurry.film import RINGS, SPOKES, Pressed, film_cells, film_pressure
from planish.physics.slurry.film_balance import Flow, RigidHead
from planish.physics.slurry.gap import Gap, groove_height, mobility, rough_height, rough_shear, tip_relief

if TYPE_CHECKING:
    from planish.predict.wafer.contact_model import ContactModel
    from planish.predict.wafer.pad_surface import Summits
    from planish.predict.wafer.step_plan import StepPlan
    from planish.setup.si import Rig

Array = NDArray[np.float64]
LEAST = 0.05  # of the mean pressure: where the wafer is nearly lifted, the film is described at this share
FOLLOWED_ON = 0.01  # by how much gap and load may move before a film that was lost is looked for anew
STILL = 1e-5
"""By how much the share of the load may be off where the last wafer's film is used again."""


@dataclass(frozen=True, slots=True)
class Lubrication:
    """The film of a step.

    Attributes
    ----------
    carried
        Share of the pressed load that summits carry, mean over a turn, at the wafer nodes (n_r,): above 1
        under suction.
    share
        Of the whole load on summits.
    height
        Mean gap [m].
    shear
        Mean of 1/gap [1/m].
    film, gap, load
        The solution, and what it was found for: used again while that hardly moves.
    mobility
        Of that gap where summits carry the mean pressure [m^3/(Pa s)].
    at_first
        Mean gap, mean of 1/gap and the shear in the mean gap as the solution was found [m], [1/m], [1/m].
    """

    carried: Array
    share: float
    height: float
    shear: float
    film: Pressed
    gap: Gap
    load: Array
    mobility: float
    at_first: tuple[float, float, float]

    def __post_init__(self) -> None:
        film = self.film
        seal(self.carried, self.load, film.radius, film.solid, film.fluid, film.height, film.log_solid)


def lubricate(
    plan: StepPlan,
    rig: Rig,
    model: ContactModel,
    summits: Summits,
    groove_depth: float,
    pressure: Array,
    last: Lubrication | None = None,
) -> Lubrication:
    """Return the film under the wafer.

    Parameters
    ----------
    plan
        What the step fixes.
    rig, model
        The setup, and its contact.
    summits, groove_depth
        Of the pad now; depth [m].
    pressure
        That the head presses on the pad (n_r,) [Pa].
    last
        The film of a wafer before on the same step: used again where the pad has hardly moved since.

    Returns
    -------
    Lubrication
        Of the step.
    """
    mean = float(plan.shares @ pressure)
    gap = _gap(rig, summits, groove_depth, mean / model.land)
    load = _onto_film(model) @ np.maximum(pressure, LEAST * mean) / mean
    relief = tip_relief(rig.pad.surface.density, rig.pad.surface.tip_radius)
    open_height = rough_height(gap.height, gap.roughness)
    moves = float(mobility(gap, rig.slurry.viscosity, open_height))
    if last is not None and _still(last, gap, load, moves):
        return _moved(last, gap, relief)
    speed, turning = plan.dragged
    held = _rigid_head(rig, model)
    about = np.repeat(load[:-1, None], SPOKES, axis=1)
    if held is None:
        about = np.maximum(about - _friction_moment(rig, model, mean), LEAST)
    film = film_pressure(
        gap,
        Flow(rig.slurry.viscosity, speed, turning),
        rig.wafer.radius,
        mean * about,
        mean * load[-1],
        None if last is None else last.film,
        held=held,
        moves=moves,
    )
    ratio = film.solid.mean(axis=1) / (mean * about.mean(axis=1))
    nodes = np.append(film.radius, rig.wafer.radius)
    carried = np.interp(model.grid.r, nodes, np.append(ratio, 1.0))
    height, shear = _means(film.height, gap.roughness, relief)
    return Lubrication(
        carried=carried,
        share=float(plan.shares @ (carried * pressure)) / mean,
        height=height,
        shear=shear,
        film=film,
        gap=gap,
        load=load,
        mobility=moves,
        at_first=(height, shear, float(rough_shear(height, gap.roughness, relief))),
    )


def _moved(last: Lubrication, gap: Gap, relief: float) -> Lubrication:
    """Return a film that shares the load as it did, on summits that have come closer or gone apart since."""
    height, shear, then = last.at_first
    height += gap.height - last.gap.height
    # over gaps that differ by a small part of the roughness, the mean goes as the shear in the mean gap
    now = float(rough_shear(height, gap.roughness, relief))
    return replace(last, height=height, shear=shear * (now / then))


def _means(height: Array, roughness: float, relief: float) -> tuple[float, float]:
    """Return mean gap [m] and mean of 1/gap [1/m] over the wafer."""
    weights = np.diff(film_cells() ** 2)
    return (
        float(weights @ height.mean(axis=1)),
        float(weights @ rough_shear(height, roughness, relief).mean(axis=1)),
    )


def _gap(rig: Rig, summits: Summits, groove_depth: float, pressure: float) -> Gap:
    """Return the gap where summits carry the mean pressure, over the mean plane of the pad's surface."""
    tail, _, separation = (float(each[0]) for each in summits.layer(np.array([pressure])))
    level, roughness = summits.surface()
    grooves = rig.pad.grooves
    share = groove_share(grooves.pattern, grooves.width, grooves.pitch)
    depth = groove_depth if share > 0 else 0.0
    return Gap(
        height=separation - level + rig.pad.film_offset + groove_height(share, depth, tail),
        roughness=roughness,
        tail=tail,
        groove_width=grooves.width,
        groove_depth=depth,
        groove_pitch=grooves.pitch,
        groove_share=share,
        crossed=grooves.pattern == "grid",
        drainage=rig.pad.drainage_length,
    )


def _still(last: Lubrication, gap: Gap, load: Array, moves: float) -> bool:
    """Whether the film of ``last`` still serves: what it does to the load, times how far what makes it has moved."""
    moved = abs(moves / last.mobility - 1.0) + abs(gap.tail / last.gap.tail - 1.0)
    moved += float(np.abs(load - last.load).max())
    if last.film.followed < 1.0:  # found with much trouble, and known to be no more than a part of the truth
        return moved < FOLLOWED_ON
    return moved * float(np.abs(last.carried - 1.0).max()) < STILL


def _rigid_head(rig: Rig, model: ContactModel) -> RigidHead | None:
    """Return how a rigid head holds the wafer: over pad and backing film, on its gimbal; None under a membrane."""
    if not rig.head.back_film:
        return None
    memo = model.operator.memo
    if "long wave" not in memo:  # a tilt is a wave as long as the wafer
        memo["long wave"] = float(surface_compliance(1.0 / rig.wafer.radius, model.layers, model.base))
    give = cast("float", memo["long wave"]) + 1.0 / rig.head.back_film
    return RigidHead(give, rig.slurry.friction_boundary * rig.head.gimbal_height)


def _friction_moment(rig: Rig, model: ContactModel, pressure: float) -> Array:
    """Return what friction takes from the trailing edge and gives to the leading one, over the mean pressure.

    A membrane cannot hold the moment of friction at the wafer's mid-plane, half its thickness above the pad:
    the plate bends over a length of its own about the edge, on the springs that summits are.
    """
    wafer = rig.wafer
    tail = float(model.summits.at(pressure, "decay_length"))
    stiffness = plate_stiffness(wafer.modulus, wafer.poisson, wafer.thickness)
    length = (stiffness * tail / pressure) ** 0.25
    size = rig.slurry.friction_boundary * wafer.thickness / (sqrt(2.0) * length)
    faces = film_cells() * wafer.radius
    inward = (wafer.radius - 0.5 * (faces[1:] + faces[:-1])) / length
    theta = 2.0 * np.pi * np.arange(SPOKES) / SPOKES
    return np.asarray(size * (np.exp(-inward) * np.cos(inward))[:, None] * np.cos(theta)[None, :])


def _onto_film(model: ContactModel) -> Array:
    """Return (cells + 1, n_r): from values at the wafer nodes to their means over the film's cells, and at the rim."""
    memo = model.operator.memo
    if "film" not in memo:
        fine = 24
        angle = np.linspace(0.0, 0.5 * np.pi, RINGS * fine + 1)
        at = np.sin(0.5 * (angle[1:] + angle[:-1]))
        weight = np.diff(np.sin(angle) ** 2).reshape(RINGS, fine)
        nodes = np.arcsin(model.grid.r / model.grid.wafer_radius)
        straight = np.stack([np.interp(np.arcsin(at), nodes, unit) for unit in np.eye(nodes.size)], axis=1)
        means = np.einsum("if,ifn->in", weight, straight.reshape(RINGS, fine, -1))
        rim = np.zeros((1, nodes.size))
        rim[0, -1] = 1.0
        memo["film"] = sealed(np.vstack([means / weight.sum(axis=1, keepdims=True), rim]))
    return cast("Array", memo["film"])
