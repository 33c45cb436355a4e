"""The parts of the pressure problem that a setup fixes: grid, pad operator, wafer plate, summits.

Built once for a pad stack and kept, in memory and on disk; the recipe's pressures then
take a fraction of a millisecond each.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.physics.pressure.layers import (
    Base,
    ElasticLayer,
    groove_share,
    grooved_layers,
    holed_layer,
)
from planish.physics.pressure.plate import PlateOperator, backed_plate, plate_operator
from planish.physics.pressure.radial_grid import PressureGrid, pressure_grid
from planish.physics.pressure.ring_influence import PadOperator, build_pad_operator, operator_key
from planish.predict.wafer.pad_surface import SummitCurve, as_conditioned, summit_curve

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planish.setup.si import Rig, Wafer

Array = NDArray[np.float64]
CELLS = 96  # doubling them moves no headline figure of the examples by 1 % (benchmarks/bench_convergence.py)
_kept: OrderedDict[str, PadOperator] = OrderedDict()
_KEEP = 24


@dataclass(frozen=True, slots=True, repr=False)
class ContactModel(Record):
    """What the pressure solver needs beside the recipe.

    Attributes
    ----------
    grid
        Rings under wafer and retaining ring.
    operator
        The pad's compliance on it.
    plate
        The wafer's bending on it.
    base, layers
        Of the pad stack.
    land
        Share of pad area that is not feed hole.
    summits
        Their answer to pressure when fresh.
    """

    grid: PressureGrid
    operator: PadOperator
    plate: PlateOperator
    base: Base
    layers: tuple[ElasticLayer, ...]
    land: float
    summits: SummitCurve


def prepare(rig: Rig, *, cells: int = CELLS, groove_depth: float | None = None) -> ContactModel:
    """Return the contact model of a setup.

    Parameters
    ----------
    rig
        The setup.
    cells
        Wafer nodes.
    groove_depth
        Replaces the new pad's where given [m].

    Returns
    -------
    ContactModel
        Ready for any step.
    """
    grid = wafer_grid(rig, cells)
    layers, base = pad_layers(rig, groove_depth), rig.polisher.base()
    return ContactModel(
        grid=grid,
        operator=pad_operator(grid, layers, base),
        plate=_plate(grid, rig.wafer, rig.head.back_film),
        base=base,
        layers=layers,
        land=1.0 - rig.polisher.hole_fraction,
        summits=summit_curve(as_conditioned(rig)),
    )


def wafer_grid(rig: Rig, cells: int = CELLS) -> PressureGrid:
    """Return the nodes of wafer and ring at which pressures are found.

    Parameters
    ----------
    rig
        The setup.
    cells
        Wafer nodes.
    """
    ring = rig.head.ring
    return _grid(
        rig.wafer.radius, None if ring is None else ring.gap, None if ring is None else ring.width, cells
    )


def pad_layers(
    rig: Rig,
    groove_depth: float | None = None,
    top_thickness: float | None = None,
    left: Sequence[float] | None = None,
) -> tuple[ElasticLayer, ...]:
    """Return the elastic layers of the pad stack: grooves and feed holes soften the layers they go through.

    Parameters
    ----------
    rig
        The setup.
    groove_depth, top_thickness
        Replace the new pad's where it has worn [m].
    left
        Of the modulus of each layer, from the surface down, where the pad is warm; all of it unless given.

    Returns
    -------
    tuple[ElasticLayer, ...]
        From the polishing surface down.
    """
    pad = rig.pad
    grooves = pad.grooves
    share = groove_share(grooves.pattern, grooves.width, grooves.pitch)
    depth = grooves.depth if groove_depth is None else groove_depth
    made: list[ElasticLayer] = []
    for index, layer in enumerate(pad.layers):
        thickness = top_thickness if index == 0 and top_thickness is not None else layer.thickness
        elastic = holed_layer(
            ElasticLayer(layer.modulus * (1.0 if left is None else left[index]), layer.poisson, thickness),
            rig.polisher.hole_fraction,
        )
        made.extend(grooved_layers(elastic, share, min(depth, thickness)) if index == 0 else [elastic])
    return tuple(made)


def pad_operator(grid: PressureGrid, layers: tuple[ElasticLayer, ...], base: Base) -> PadOperator:
    """Return the pad operator from memory, from disk, or newly built (and then kept in both).

    Parameters
    ----------
    grid, layers, base
        As for :func:`~planish.physics.pressure.ring_influence.build_pad_operator`.

    Returns
    -------
    PadOperator
        On ``grid``.
    """
    from planish.engine.cache import cached_arrays

    key = operator_key(grid, layers, base)
    if key in _kept:
        _kept.move_to_end(key)
        return _kept[key]
    arrays = cached_arrays(
        f"pad-operator-{key}", lambda: {"compliance": build_pad_operator(grid, layers, base).compliance}
    )
    operator = PadOperator(grid=grid, compliance=arrays["compliance"], key=key)
    _kept[key] = operator
    while len(_kept) > _KEEP:
        _kept.popitem(last=False)
    return operator


@lru_cache(maxsize=16)
def _grid(radius: float, gap: float | None, width: float | None, cells: int) -> PressureGrid:
    if gap is None or width is None:
        return pressure_grid(radius, cells=cells)
    return pressure_grid(radius, radius + gap, radius + gap + width, cells=cells)


_plates: dict[tuple[int, float, float, float, float], tuple[PressureGrid, PlateOperator]] = {}


def _plate(grid: PressureGrid, wafer: Wafer, backing: float) -> PlateOperator:
    """Return the plate, kept for as long as its grid is the same object; ``backing`` 0 is a membrane's."""
    key = (id(grid), wafer.modulus, wafer.poisson, wafer.thickness, backing)
    if key not in _plates or _plates[key][0] is not grid:
        if len(_plates) >= _KEEP:
            _plates.clear()
        plate = plate_operator(grid, wafer.modulus, wafer.poisson, wafer.thickness)
        _plates[key] = (grid, backed_plate(plate, backing) if backing else plate)
    return _plates[key][1]
