"""Shares of the light that a stack of thin films reflects and lets through.

Plane waves on flat, even layers without scattering, all of them coherent: a layer thicker than the light's coherence
length (a wafer, a window) must be the first or the last medium. Time goes as e^{-i omega t}, so an absorbing index is
n + i k with k above 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse

SOURCES: tuple[str, ...] = (
    "Reflected and transmitted shares of a stack: Fresnel's equations and the transfer matrix as the manual of the tmm "
    "package has them (read); the scaling against overflow is our own derivation",
)

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Polarization: TypeAlias = Literal["s", "p", "mean"]
POLARIZATIONS: tuple[str, ...] = ("s", "p", "mean")
MOST_LAYERS = 200  # beyond, the fields of a mirror could leave the range of a float
_LARGEST = 1e3  # of an index; beyond it no optical table goes


class Shares(NamedTuple):
    """Shares of the incoming power, 0 to 1: what comes back, and what enters the last medium."""

    reflected: Array
    transmitted: Array


def stack_shares(
    indices: Sequence[ArrayLike],
    thicknesses: Sequence[ArrayLike],
    wavelength: ArrayLike,
    angle: ArrayLike = 0.0,
    polarization: Polarization = "s",
) -> Shares:
    """Return the shares of the power that a stack reflects and transmits.

    Parameters
    ----------
    indices
        n + i k of the ambient, each layer from the top, and the last medium; numbers or arrays.
    thicknesses
        Of the layers from the top [m]: two fewer than ``indices``; numbers or arrays.
    wavelength
        In vacuum [m].
    angle
        Of the light in the ambient from the normal [rad], 0 to below pi/2.
    polarization
        "s", "p", or "mean" of the two (unpolarized light).

    Returns
    -------
    Shares
        Of the shape to which all arrays broadcast.

    Raises
    ------
    ModelError
        For an ambient that absorbs, a gain, and values that cannot be.
    """
    media = [_index(value, at, len(indices)) for at, value in enumerate(indices)]
    layers = [_real(f"thickness of layer {at + 1} [m]", value) for at, value in enumerate(thicknesses)]
    light, slant = _real("wavelength [m]", wavelength), _real("angle [rad]", angle)
    _check(media, layers, light, slant, polarization)
    try:
        optics = np.broadcast_shapes(*(one.shape for one in media), light.shape, slant.shape)
        shape = np.broadcast_shapes(optics, *(one.shape for one in layers))
    except ValueError:
        told = ", ".join(str(one.shape) for one in (*media, *layers, light, slant))
        raise ModelError(f"shapes of the stack {told}: must broadcast (as NumPy has it)") from None
    if 0 in shape:
        return Shares(np.empty(shape), np.empty(shape))
    return _marched(media, layers, light, slant, polarization, shape, optics)


def _marched(
    media: list[Complex],
    layers: list[Array],
    light: Array,
    slant: Array,
    polarization: Polarization,
    shape: tuple[int, ...],
    optics: tuple[int, ...],
) -> Shares:
    """Run the kernel that fits: where no thickness changes along an axis of its own, that of single points."""
    points = int(np.prod(shape, dtype=np.int64))
    outer = int(np.prod(optics, dtype=np.int64))
    run = _by_points if outer == points else _by_rows
    asked = (False, True) if polarization == "mean" else (polarization == "p",)
    found = [run(media, layers, light, np.sin(slant), along_p, shape, optics) for along_p in asked]
    means = [0.5 * (both[0] + both[1]) if len(both) > 1 else both[0] for both in zip(*found, strict=True)]
    return Shares(*(one.reshape(shape) for one in means))


def _by_points(
    media: list[Complex],
    layers: list[Array],
    light: Array,
    sine: Array,
    along_p: bool,
    shape: tuple[int, ...],
    _: tuple[int, ...],
) -> tuple[Array, Array]:
    """Each point has optics of its own; what is the same for all is handed over once."""
    from planish.physics.optics.points_kernel import march_points

    points = int(np.prod(shape, dtype=np.int64))

    def told(values: NDArray[Any]) -> NDArray[Any]:
        return values.reshape(1) if values.size == 1 else np.broadcast_to(values, shape).reshape(points)

    def split(values: Sequence[NDArray[Any]], kind: type) -> tuple[NDArray[Any], NDArray[Any]]:
        same: NDArray[Any] = np.array(
            [one.ravel()[0] if one.size == 1 else np.nan for one in values], dtype=kind
        )
        own = [told(one) for one in values if one.size > 1]
        return same, np.array(own, dtype=kind) if own else np.empty((0, points), dtype=kind)

    reflected, transmitted = np.empty(points), np.empty(points)
    march_points(
        *split(media, np.complex128),
        *split(layers, np.float64),
        np.ascontiguousarray(told(light)),
        np.ascontiguousarray(told(sine)),
        along_p,
        reflected,
        transmitted,
    )
    return reflected, transmitted


def _by_rows(
    media: list[Complex],
    layers: list[Array],
    light: Array,
    sine: Array,
    along_p: bool,
    shape: tuple[int, ...],
    optics: tuple[int, ...],
) -> tuple[Array, Array]:
    """Axes along which only thicknesses change are the kernel's inner ones, so that optics are worked out once."""
    from planish.physics.optics.stack_kernel import march

    padded = (1,) * (len(shape) - len(optics)) + optics
    outside = [axis for axis, size in enumerate(padded) if size > 1]
    order = [*outside, *(axis for axis, size in enumerate(padded) if size == 1)]
    outer = int(np.prod([shape[axis] for axis in outside], dtype=np.int64))
    inner = int(np.prod(shape, dtype=np.int64)) // outer

    def told(values: NDArray[np.generic]) -> NDArray[np.generic]:
        whole = np.broadcast_to(values, padded)
        return whole.transpose(order).reshape(outer)

    stacked = np.ascontiguousarray(np.stack([told(one) for one in media], axis=1), dtype=np.complex128)
    # Thicknesses that are the same for all optics, the usual case, are one row.
    rows = 1 if all(_constant(one, shape, outside) for one in layers) else outer
    thick = np.empty((len(layers), rows, inner))
    for at, one in enumerate(layers):
        whole = np.broadcast_to(one, shape).transpose(order)
        thick[at] = whole[(0,) * len(outside)].reshape(1, inner) if rows == 1 else whole.reshape(outer, inner)
    reflected, transmitted = np.empty((outer, inner)), np.empty((outer, inner))
    lit = [np.ascontiguousarray(told(one), dtype=np.float64) for one in (light, sine)]
    march(stacked, *lit, thick, along_p, reflected, transmitted)
    back = np.argsort(order)
    moved = (one.reshape([shape[axis] for axis in order]).transpose(back) for one in (reflected, transmitted))
    first, second = (np.ascontiguousarray(one) for one in moved)
    return first, second


def _constant(values: Array, shape: tuple[int, ...], axes: list[int]) -> bool:
    """Return whether values are the same along axes of the whole shape."""
    padded = (1,) * (len(shape) - values.ndim) + values.shape
    return all(padded[axis] == 1 for axis in axes)


def _index(value: ArrayLike, at: int, media: int) -> Complex:
    name = "the ambient" if at == 0 else "the last medium" if at == media - 1 else f"layer {at}"
    try:
        found = np.asarray(value, dtype=np.complex128)
    except (TypeError, ValueError):
        raise ModelError(
            refuse(f"index of {name}", value, "a number n + i k, or an array of them", "as 1.46 or 3.9+0.02j")
        ) from None
    bad = ~(np.isfinite(found.real) & np.isfinite(found.imag))
    bad |= (found.real < 0) | (found.imag < 0) | (np.abs(found) > _LARGEST) | (found == 0)
    if bad.any():
        worst = complex(found[bad].ravel()[0])
        allowed = f"n + i k with n and k 0 or more, not both 0, up to {_LARGEST:g}"
        raise ModelError(refuse(f"index of {name}", worst, allowed, "k above 0 absorbs"))
    if at == 0 and np.any(found.imag != 0):
        worst = complex(found[found.imag != 0].ravel()[0])
        raise ModelError(
            refuse(f"index of {name}", worst, "without absorption", "light comes from afar through it")
        )
    return found


def _real(name: str, value: ArrayLike) -> Array:
    try:
        found = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise ModelError(refuse(name, value, "a number or an array of numbers")) from None
    if not np.isfinite(found).all():
        raise ModelError(refuse(name, float(found[~np.isfinite(found)].ravel()[0]), "finite"))
    return found


def _check(media: list[Complex], layers: list[Array], light: Array, slant: Array, polarization: str) -> None:
    if len(media) < 2 or len(layers) != len(media) - 2:
        raise ModelError(
            f"stack of {len(media)} indices and {len(layers)} thicknesses: must be two more indices than thicknesses "
            "(ambient and last medium have none)"
        )
    if len(layers) > MOST_LAYERS:
        raise ModelError(refuse("layers of the stack", len(layers), f"at most {MOST_LAYERS}"))
    if polarization not in POLARIZATIONS:
        raise ModelError(refuse("polarization", polarization, "s, p or mean", "mean is unpolarized light"))
    for at, one in enumerate(layers):
        if np.any(one < 0):
            raise ModelError(refuse(f"thickness of layer {at + 1} [m]", float(one.min()), "0 or more"))
    if np.any(light <= 0):
        raise ModelError(refuse("wavelength [m]", float(light.min()), "above 0"))
    if np.any((slant < 0) | (slant >= np.pi / 2)):
        worst = float(slant[(slant < 0) | (slant >= np.pi / 2)].ravel()[0])
        raise ModelError(refuse("angle of the light [rad]", worst, "from 0 to below a right angle"))
    if np.any(media[0].real <= 0):
        raise ModelError(refuse("index of the ambient", complex(media[0].ravel()[0]), "above 0"))
