"""The cells of a die: what each holds, what the pad makes of them, and how they are to be modelled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.physics.pattern.effective_density import Edges
from planish.physics.pattern.kernels import Kernel

Array = NDArray[np.float64]
StepLaw = Literal["summits", "contact-height", "density"]


@dataclass(frozen=True, slots=True)
class DieChoices:
    """How to model.

    Attributes
    ----------
    kernel, edges
        Of the neighbourhood and the field.
    outside
        Density around the field.
    planarization_length
        Measured [m], or None for the pad's own.
    step_law
        Of oxide.
    contact_height
        Of that law [m] (None: the pad's selectivity length).
    """

    kernel: Kernel = "elliptic"
    edges: Edges = "periodic"
    outside: float = 0.0
    planarization_length: float | None = None
    step_law: StepLaw = "summits"
    contact_height: float | None = None


@dataclass(frozen=True, slots=True, repr=False, eq=False)
class DieInput(Record):
    """What each cell of the layout holds.

    Attributes
    ----------
    high
        Share that is high.
    low_width, high_width
        Widths of its low and high areas across their lines [m] (NaN: none).
    low_bridged, high_bridged
        Widths that a summit has to bridge, 2 area/perimeter [m]: those of lines, half of them for squares.
    incoming
        Height [m].
    cell
        Side of a cell [m].
    stepped
        Whether it holds both high and low area, so that it has a step of its own.
    """

    high: Array
    low_width: Array
    high_width: Array
    incoming: Array
    cell: float
    stepped: NDArray[np.bool_]
    low_bridged: Array
    high_bridged: Array


@dataclass(frozen=True, slots=True, repr=False, eq=False)
class Effective(Record):
    """What the pad makes of the layout; the first pad's, where pads differ.

    Attributes
    ----------
    high
        Effective share.
    selectivity
        Lengths [m], (steps, cells...).
    short
        Incoming topography [m].
    length
        Planarization length [m]; NaN where the contact route found none, and the shares are the cells' own.
    local_share, misfit
        Of that length.
    give
        [m].
    shares
        Effective share in each step: that of its own pad.
    """

    high: Array
    selectivity: Array
    short: Array
    length: float
    local_share: float
    misfit: float
    give: float
    shares: tuple[Array, ...]
