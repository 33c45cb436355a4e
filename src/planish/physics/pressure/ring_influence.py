"""The layered pad as a matrix: how far each ring of it goes down under pressure on each other ring.

The half-space part of the kernel is integrated over annuli in closed form
(complete elliptic integrals); what the layers below add or take away is
smooth and decays as exp(-2 x h), and is summed over wave numbers.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Kept
from planish.physics.pressure.layers import Base, ElasticLayer, check_stack, surface_compliance
from planish.physics.pressure.radial_grid import PressureGrid

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Layers in the round: waves averaged over their directions, derived here",
    "Uniform pressure on a disc of a half-space: derived here from Boussinesq's point load (read as quoted in the "
    "ASPHER documentation)",
)

# Raise when the numbers in a stored operator would come out differently.
OPERATOR_VERSION = 2

_PANEL_NODES = 10
_PANEL_PHASE = 8.0  # radians of the fastest Bessel product that one panel spans
_CHUNK = 2000  # wave numbers at a time, to bound memory
_NEGLIGIBLE = 1e-8  # share of the half-space compliance below which the rest is dropped


@dataclass(frozen=True, slots=True, repr=False)
class PadOperator(Kept):
    """Compliance of a pad stack on a grid.

    Attributes
    ----------
    grid
        Whose nodes are taken.
    compliance
        [m/Pa], square over ``grid.nodes`` (wafer first, then ring): downward displacement at node i per
        unit pressure carried by node j. Times the areas it is symmetric for smooth pressures, not entry by
        entry.
    key
        Names the content.
    memo
        What has been worked out from it.
    """

    grid: PressureGrid
    compliance: Array
    key: str
    memo: dict[str, object] = field(default_factory=dict, repr=False, compare=False)


def operator_key(grid: PressureGrid, layers: Sequence[ElasticLayer], base: Base) -> str:
    """Return a stable hexadecimal name for an operator.

    Parameters
    ----------
    grid, layers, base
        As for :func:`build_pad_operator`.

    Returns
    -------
    str
        The same for the same content.
    """
    numbers = [grid.wafer_radius, grid.ring_inner, grid.ring_outer]
    numbers += [float(grid.r.size), float(grid.ring_r.size)]
    for layer in layers:
        numbers += [layer.modulus, layer.poisson, layer.thickness]
    numbers += [float(base.rigid), base.spring, base.half_tension, base.bending]
    text = f"pad operator {OPERATOR_VERSION} " + " ".join(float(value).hex() for value in numbers)
    return hashlib.sha256(text.encode()).hexdigest()[:40]


def build_pad_operator(grid: PressureGrid, layers: Sequence[ElasticLayer], base: Base) -> PadOperator:
    """Return the pad's compliance between all nodes of a grid.

    Parameters
    ----------
    grid
        Rings under wafer and retaining ring.
    layers
        From the polishing surface down.
    base
        What the stack stands on.

    Returns
    -------
    PadOperator
        On ``grid``.

    Raises
    ------
    ModelError
        Where the stack cannot be (see ``surface_compliance``).

    Notes
    -----
    Displacement is taken at the nodes. Taking it in the mean over a node's own function would make the
    matrix exactly symmetric, but spoils the outermost nodes, where 1e-3 of the displacement is the whole
    pressure. Takes 0.1 to 0.3 s for a pad of a millimetre; longer in proportion for a thinner top layer.
    """
    check_stack(layers)
    nodes = grid.nodes
    compliance = np.zeros((nodes.size, nodes.size))
    spans, first = [], 0
    for edges, spread in zip(grid.fine_edges, grid.spread, strict=True):
        if spread.size:
            spans.append((edges, spread, slice(first, first + spread.shape[1])))
            first += spread.shape[1]
    for edges, spread, columns in spans:
        disc = _disc_on_half_space(nodes, edges)
        compliance[:, columns] = (np.diff(disc, axis=1) @ spread) / layers[0].plane_modulus
    if not math.isinf(layers[0].thickness):
        _add_layers(compliance, nodes, spans, layers, base)
    return PadOperator(grid, compliance, operator_key(grid, layers, base))


def _disc_on_half_space(at: Array, radius: Array) -> Array:
    """Return the surface displacement at ``at`` under unit pressure on discs, times the plane modulus."""
    from scipy.special import ellipe, ellipkm1

    r, b = at[:, None], radius[None, :]
    outer, inner = np.maximum(r, b), np.minimum(r, b)
    m = (inner / outer) ** 2
    rest = (outer - inner) * (outer + inner) / outer**2
    touching = rest == 0
    tail = np.where(touching, 0.0, rest * ellipkm1(np.where(touching, 1.0, rest)))
    second = ellipe(m)
    return np.asarray(np.where(r < b, 4 * b / np.pi * second, 4 * r / np.pi * (second - tail)))


def _add_layers(
    compliance: Array,
    nodes: Array,
    spans: list[tuple[Array, Array, slice]],
    layers: Sequence[ElasticLayer],
    base: Base,
) -> None:
    """Add int (C - C_half) F_j J0(x r_i) x dx, F the Hankel transform of a node's function."""
    from scipy.special import j0, j1

    wave, weight = _wave_numbers(layers, base, float(nodes[-1]))
    for start in range(0, wave.size, _CHUNK):
        x = wave[start : start + _CHUNK]
        rest = surface_compliance(x, layers, base) - 2.0 / (layers[0].plane_modulus * x)
        at_nodes = (j0(x[:, None] * nodes[None, :]) * (weight[start : start + _CHUNK] * rest)[:, None]).T
        for edges, spread, columns in spans:
            disc = j1(x[:, None] * edges[None, :])
            disc *= edges[None, :]
            compliance[:, columns] += at_nodes @ (np.diff(disc, axis=1) @ spread)


def _wave_numbers(layers: Sequence[ElasticLayer], base: Base, radius: float) -> tuple[Array, Array]:
    """Return Gauss-Legendre nodes and weights [1/m] up to where the layers no longer count."""
    top = layers[0]
    trial = np.geomspace(0.05, 40.0, 400) / top.thickness
    half_space = 2.0 / (top.plane_modulus * trial)
    share = np.abs(surface_compliance(trial, layers, base) - half_space) / half_space
    counted = np.flatnonzero(share > _NEGLIGIBLE)
    last = trial[min(counted[-1] + 1, trial.size - 1)] if counted.size else trial[0]
    width = _PANEL_PHASE / (2 * radius)
    panels = math.ceil(last / width)
    breaks = np.linspace(0.0, panels * width, panels + 1)
    # A thick or soft stack bends C(x) at wave numbers far below one panel.
    breaks = np.concatenate([[0.0], breaks[1] * 2.0 ** np.arange(-8, 0), breaks[1:]])
    nodes, weights = np.polynomial.legendre.leggauss(_PANEL_NODES)
    half = 0.5 * np.diff(breaks)
    centre = 0.5 * (breaks[1:] + breaks[:-1])
    return (centre[:, None] + half[:, None] * nodes).ravel(), (half[:, None] * weights).ravel()
