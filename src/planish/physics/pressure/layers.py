"""The pad stack as bonded elastic layers on a platen or on a belt: its surface compliance.

A pressure of wave number x, p cos(x X) in the plane or p J0(x r) in the round,
pushes the surface of a stack of uniform layers down by C(x) p with the same
shape. C(x) is found layer by layer from the bottom up: inside a layer the
state (u, w, tau, sigma) obeys s' = x N s with (N^2 - 1)^2 = 0, so that its
exponential has a closed form, and below each face u and w follow from tau and
sigma by a 2 x 2 matrix that is carried upward.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.errors import ModelError, refuse
from planish.physics.checks import above_zero

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Layered elastic half-space by transfer of (u, w, tau, sigma) at a wave number: derivation of our own",
    "Half-space compliance 2 (1 - nu^2)/(E x): Westergaard's wave (read as quoted in the ContactMechanics library)",
    "Thin plate under tension on springs as the base of a belt (read as quoted in an elastic-sheet module)",
    "Through holes as columns in parallel (Voigt mean): derivation of our own",
)

# Beyond this many layer thicknesses per wave length nothing of the layers below reaches the surface (e^-72).
_DEEP = 36.0


@dataclass(frozen=True, slots=True)
class ElasticLayer:
    """One uniform elastic layer.

    Attributes
    ----------
    modulus
        Young's [Pa].
    poisson
        Poisson ratio.
    thickness
        [m], may be inf.
    """

    modulus: float
    poisson: float
    thickness: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.modulus) and self.modulus > 0):
            raise ModelError(refuse("layer modulus [Pa]", self.modulus, "more than 0"))
        if not 0 <= self.poisson <= 0.499:
            raise ModelError(refuse("layer Poisson ratio", self.poisson, "0 to 0.499"))
        if not self.thickness > 0:
            raise ModelError(refuse("layer thickness [m]", self.thickness, "more than 0"))

    @property
    def plane_modulus(self) -> float:
        """E/(1 - nu^2) [Pa]."""
        return self.modulus / (1 - self.poisson**2)

    @property
    def constrained_modulus(self) -> float:
        """Modulus [Pa] against thickness change without sideways strain, E(1-nu)/((1+nu)(1-2nu))."""
        nu = self.poisson
        return self.modulus * (1 - nu) / ((1 + nu) * (1 - 2 * nu))


@dataclass(frozen=True, slots=True)
class Base:
    """What the stack stands on.

    Its face does not slide sideways; downward it gives way by 1/(spring + half_tension x^2 + bending x^4)
    per unit pressure, or not at all where ``rigid``.

    Attributes
    ----------
    rigid
        Whether it does not give way at all.
    spring
        [Pa/m].
    half_tension
        [N/m].
    bending
        [N m].
    """

    rigid: bool = True
    spring: float = 0.0
    half_tension: float = 0.0
    bending: float = 0.0

    def compliance(self, wave_number: Array) -> Array:
        """Return the downward give per unit pressure amplitude.

        Parameters
        ----------
        wave_number
            x [1/m], any shape.

        Returns
        -------
        Array
            [m/Pa], shape as ``wave_number``.
        """
        if self.rigid:
            return np.zeros_like(wave_number)
        square = wave_number * wave_number
        return np.asarray(1.0 / (self.spring + square * (self.half_tension + square * self.bending)))


def rigid_base() -> Base:
    """Return a platen: no give at all."""
    return Base()


def belt_base(
    modulus: float, poisson: float, thickness: float, tension: float, bearing_stiffness: float
) -> Base:
    """Return a belt that rides on a fluid bearing under the stack.

    Parameters
    ----------
    modulus, poisson, thickness
        Of the belt [Pa], [-], [m].
    tension
        Pull per unit width [N/m]. It acts along the belt only; round the carrier
        its stiffness T x^2 cos^2 is taken at its mean over directions, T x^2/2.
    bearing_stiffness
        Pressure rise of the bearing per unit approach [Pa/m].

    Returns
    -------
    Base
        The base for :func:`surface_compliance`.

    Raises
    ------
    ModelError
        Where a value cannot belong to a belt.
    """
    if not (math.isfinite(bearing_stiffness) and bearing_stiffness > 0):
        raise ModelError(refuse("bearing stiffness [Pa/m]", bearing_stiffness, "more than 0"))
    if not (math.isfinite(tension) and tension >= 0):
        raise ModelError(refuse("belt tension [N/m]", tension, "0 or more"))
    if not (math.isfinite(thickness) and thickness > 0):
        raise ModelError(refuse("belt thickness [m]", thickness, "more than 0"))
    ElasticLayer(modulus, poisson, thickness)  # refuses what no belt is made of
    bending = plate_stiffness(modulus, poisson, thickness)
    return Base(rigid=False, spring=bearing_stiffness, half_tension=tension / 2, bending=bending)


def plate_stiffness(modulus: float, poisson: float, thickness: float) -> float:
    """Return the bending stiffness D = E h^3/(12 (1-nu^2)) [N m] of a plate.

    Parameters
    ----------
    modulus
        Young's modulus [Pa].
    poisson
        Poisson's ratio.
    thickness
        Of the plate [m].
    """
    above_zero("modulus", modulus)
    above_zero("thickness", thickness)
    return modulus * thickness**3 / (12 * (1 - poisson**2))


def _transfer(poisson: float, depth: Array) -> Array:
    """Return exp(-N depth) e^-depth, from the bottom of a layer to its top, shape (n, 4, 4).

    State (u, w, tau, sigma) with stresses over 2 mu x; depth is x times thickness.
    """
    nu = poisson
    free = 1 - nu
    n1 = np.array(
        [
            [0.0, 1.0, 2.0, 0.0],
            [-nu / free, 0.0, 0.0, (1 - 2 * nu) / free],
            [1 / free, 0.0, 0.0, nu / free],
            [0.0, 0.0, -1.0, 0.0],
        ]
    )
    m = n1 @ n1 - np.eye(4)
    nm = n1 @ m
    decay = np.exp(-2 * depth)
    cosh = 0.5 * (1 + decay)[:, None, None]
    sinh = (-0.5 * np.expm1(-2 * depth))[:, None, None]
    k = depth[:, None, None]
    return np.asarray(cosh * np.eye(4) - sinh * n1 + 0.5 * k * sinh * m - 0.5 * (k * cosh - sinh) * nm)


def _half_space(poisson: float) -> Array:
    """Return the 2 x 2 compliance of a half-space on (tau, sigma)/(2 mu x), z downward."""
    # The two decaying solutions: columns (A, B) of w = (A + B x z) e^-xz.
    nu = poisson
    displacement = np.array([[1.0, -(3 - 4 * nu)], [1.0, 0.0]])
    traction = np.array([[-1.0, 2 * (1 - nu)], [-1.0, 1 - 2 * nu]])
    return displacement @ np.linalg.inv(traction)


def _solve_pairs(left: Array, right: Array) -> Array:
    """Return left @ inv(right) for stacks of 2 x 2 matrices."""
    a, b, c, d = right[:, 0, 0], right[:, 0, 1], right[:, 1, 0], right[:, 1, 1]
    inverse = np.empty_like(right)
    inverse[:, 0, 0], inverse[:, 0, 1], inverse[:, 1, 0], inverse[:, 1, 1] = d, -b, -c, a
    inverse /= (a * d - b * c)[:, None, None]
    return np.asarray(left @ inverse)


def surface_compliance(wave_number: Array | float, layers: Sequence[ElasticLayer], base: Base) -> Array:
    """Return the downward surface displacement per unit pressure amplitude.

    Parameters
    ----------
    wave_number
        x [1/m], 0 or more, any shape. At 0 every layer is compressed without
        sideways strain: the sum of thickness over constrained modulus, plus the base.
    layers
        From the polishing surface down. Only the last may be infinitely thick;
        the base then does not matter.
    base
        ``rigid_base()`` or ``belt_base(...)``.

    Returns
    -------
    Array
        C(x) [m/Pa], shape as ``wave_number``.

    Raises
    ------
    ModelError
        Without a layer, or with an infinitely thick one above another.
    """
    check_stack(layers)
    shape = np.shape(wave_number)
    x = np.atleast_1d(np.asarray(wave_number, dtype=float)).ravel()
    out = np.empty_like(x)
    # Below this the closed form has nothing left to resolve: every layer is a spring.
    total = sum(layer.thickness for layer in layers if math.isfinite(layer.thickness))
    flat = x * total < 1e-9 if math.isfinite(layers[-1].thickness) else x <= 0
    rest = sum((layer.thickness / layer.constrained_modulus for layer in layers), 0.0)
    out[flat] = rest + base.compliance(x[flat])
    wave = x[~flat]
    if wave.size:
        out[~flat] = _compliance(wave, layers, base)
    return out.reshape(shape)


def check_stack(layers: Sequence[ElasticLayer]) -> None:
    """Refuse a stack that has no layer, or an infinitely thick one above another.

    Parameters
    ----------
    layers
        From the polishing surface down.

    Raises
    ------
    ModelError
        Unless there is a layer and only the last is infinitely thick.
    """
    if not layers:
        raise ModelError(refuse("pad stack", "no layer", "one layer or more"))
    for layer in layers[:-1]:
        if math.isinf(layer.thickness):
            raise ModelError(refuse("layer thickness [m]", layer.thickness, "finite above another layer"))


def _compliance(wave: Array, layers: Sequence[ElasticLayer], base: Base) -> Array:
    """Carry the 2 x 2 compliance from the base to the surface, all wave numbers at once."""
    carried = np.zeros((wave.size, 2, 2))
    carried[:, 1, 1] = -base.compliance(wave)  # [m/Pa], u and w per tau and sigma
    mu = 1.0
    for layer in reversed(layers):
        mu = layer.modulus / (2 * (1 + layer.poisson))
        scale = (2 * mu * wave)[:, None, None]
        depth = np.minimum(wave * layer.thickness, _DEEP)
        t = _transfer(layer.poisson, depth)
        below = carried * scale
        displacement = t[:, :2, :2] @ below + t[:, :2, 2:]
        traction = t[:, 2:, :2] @ below + t[:, 2:, 2:]
        carried = _solve_pairs(displacement, traction)
        deep = wave * layer.thickness >= _DEEP
        carried[deep] = _half_space(layer.poisson)
        carried = carried / scale
    return -carried[:, 1, 1]


def holed_layer(layer: ElasticLayer, hole_fraction: float) -> ElasticLayer:
    """Return the uniform layer that stands for one with through holes or grooves.

    Parameters
    ----------
    layer
        The solid layer.
    hole_fraction
        Share of the area that is hole.

    Returns
    -------
    ElasticLayer
        Of the same thickness and Poisson ratio.

    Raises
    ------
    ModelError
        Where ``hole_fraction`` is not within 0 to 0.95.

    Notes
    -----
    The land stands as columns in parallel, so its stiffness against the load goes with its share of the
    area, 1 - ``hole_fraction``. An upper bound on stiffness sideways, where the holes count for more.
    """
    if not 0 <= hole_fraction <= 0.95:
        raise ModelError(refuse("hole fraction", hole_fraction, "0 to 0.95", "typical 0.01-0.2"))
    return ElasticLayer(layer.modulus * (1 - hole_fraction), layer.poisson, layer.thickness)


SHALLOW = 1e-4  # [m]


def groove_share(pattern: str, width: float, pitch: float) -> float:
    """Return the share of pad area that is groove: one set of lines, or two crossing ones for a grid.

    Parameters
    ----------
    pattern
        How the grooves run: none, concentric, grid or spiral.
    width, pitch
        Of a groove, and from groove to groove [m].
    """
    if pattern == "none" or pitch <= 0:
        return 0.0
    lines = min(width / pitch, 1.0)
    return lines if pattern != "grid" else 1.0 - (1.0 - lines) ** 2


def grooved_layers(layer: ElasticLayer, groove_fraction: float, depth: float) -> tuple[ElasticLayer, ...]:
    """Return the layers that stand for a grooved one: the land, then the solid below it.

    Parameters
    ----------
    layer
        The solid layer.
    groove_fraction
        Share of the area that is groove.
    depth
        Of the grooves [m]. The whole thickness leaves the land alone; 0 leaves the layer as it is.

    Returns
    -------
    tuple[ElasticLayer, ...]
        From the polishing surface down.

    Raises
    ------
    ModelError
        Where the depth is negative or more than the layer's thickness.

    Notes
    -----
    What a groove shallower than ``SHALLOW`` adds to the give is spread over that depth: the same give under
    a wide load, and work in proportion to 1/depth is spared.
    """
    if not 0 <= depth <= layer.thickness:
        raise ModelError(refuse("groove depth [m]", depth, f"0 to the layer's {layer.thickness:g}"))
    land = holed_layer(layer, groove_fraction)
    if depth == 0 or groove_fraction == 0:
        return (layer,)
    spread = max(depth, min(SHALLOW, layer.thickness))
    modulus = land.modulus
    if spread > depth:
        modulus = layer.modulus / (1 + depth / spread * (layer.modulus / land.modulus - 1))
    upper = ElasticLayer(modulus, land.poisson, spread)
    if spread == layer.thickness:
        return (upper,)
    return (upper, ElasticLayer(layer.modulus, layer.poisson, layer.thickness - spread))
