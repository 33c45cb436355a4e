"""Incoming film thickness on the wafer: a value, a radial profile, or a map through measured sites."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from planish.setup.si import Film

Array = NDArray[np.float64]
RING_ANGLES = 72


def thickness_at(film: Film, x: Array, y: Array) -> Array:
    """Return the incoming thickness of a film.

    Parameters
    ----------
    film
        As given.
    x, y
        Places on the wafer [m], any shape.

    Returns
    -------
    Array
        [m], shape as ``x``.

    Notes
    -----
    Sites are spread by the thin-plate surface of ``measure.profile``, whose stiffness is chosen by
    leave-one-out error. Beyond the outermost site the value at its radius in the same direction is kept; a
    radial profile is kept constant beyond its ends.
    """
    r = np.hypot(x, y)
    if film.sites is not None:
        surface, reach = _surface(*(column.tobytes() for column in film.sites))
        shrink = np.minimum(1.0, reach / np.maximum(r, 1e-12))
        return surface(x * shrink, y * shrink)
    if film.profile is not None:
        return np.interp(r, film.profile[0], film.profile[1])
    return np.full(r.shape, film.thickness)


def mean_profile(film: Film, radius: Array) -> Array:
    """Return the thickness averaged round the wafer.

    Parameters
    ----------
    film
        As given.
    radius
        [m], (n,).

    Returns
    -------
    Array
        [m], (n,).
    """
    if film.sites is None:
        return thickness_at(film, radius, np.zeros_like(radius))
    angle = np.arange(RING_ANGLES) * (2 * np.pi / RING_ANGLES)
    return np.asarray(
        thickness_at(film, np.outer(np.cos(angle), radius), np.outer(np.sin(angle), radius)).mean(axis=0)
    )


def incoming_notes(films: tuple[Film, ...], wafer_radius: float) -> list[str]:
    """Return what had to be assumed about the incoming films beyond what is given.

    Parameters
    ----------
    films
        As given.
    wafer_radius
        [m].

    Returns
    -------
    list[str]
        One sentence an assumption.
    """
    notes = []
    for film in films:
        reach = wafer_radius
        if film.sites is not None:
            reach = float(np.hypot(film.sites[0], film.sites[1]).max())
        elif film.profile is not None:
            reach = float(film.profile[0][-1])
        if reach < wafer_radius - 1e-6:
            notes.append(
                f"film {film.name}: nothing given beyond {reach * 1e3:.4g} mm radius; the outermost value is kept to the edge"
            )
    return notes


@lru_cache(maxsize=8)
def _surface(x: bytes, y: bytes, value: bytes) -> tuple[Callable[[Array, Array], Array], float]:
    from planish.measure.sites.profile import smooth_map
    from planish.measure.sites.read import SiteMap

    sites = SiteMap(
        np.frombuffer(x),
        np.frombuffer(y),
        np.frombuffer(value),
        site=tuple(str(number + 1) for number in range(len(x) // 8)),
        quantity="thickness",
        unit="m",
        source="incoming film",
    )
    made = smooth_map(sites)
    inside = made.radius * (1 - 1e-12)
    return made, inside
