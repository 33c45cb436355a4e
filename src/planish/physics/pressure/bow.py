"""The wafer's own bow: how its face stands off a flat before anything presses it.

A free plate of even curvature kappa has the shape kappa r^2/2. Its bending moments
are those of what it is bent *beyond* that shape, so in the plate equation the
deflection is w + kappa r^2/2 with w what load and pad make of it.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from planish.physics.checks import above_zero
from planish.physics.pressure.holding import stoney_curvature

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Bowed wafer as a plate with a curvature of its own: derivation of our own; curvature of a stressed film: "
    "Stoney 1909, Proc. R. Soc. A 82, 172 (read as quoted in Feng, Huang & Rosakis 2007)",
)


def bow_curvature(bow: float, radius: float) -> float:
    """Return the curvature of a plate whose edge stands higher than its middle.

    Parameters
    ----------
    bow
        How far the edge is lifted off a flat that the middle touches [m]; less than 0 where the edge touches.
    radius
        Of the plate, a [m].

    Returns
    -------
    float
        kappa = 2 bow/a^2 [1/m].

    Raises
    ------
    ModelError
        Where the radius is not above 0.
    """
    above_zero("radius", radius)
    return 2.0 * bow / radius**2


def film_curvature(
    films: Iterable[tuple[float, float]], modulus: float, poisson: float, thickness: float
) -> float:
    """Return the curvature that films on the polished face give a wafer, counted as that face sees the pad.

    Parameters
    ----------
    films
        (stress [Pa], tension positive; thickness [m]) of each.
    modulus, poisson, thickness
        Of the wafer: E [Pa], nu, h [m].

    Returns
    -------
    float
        [1/m], positive where the edge is lifted off the pad: films in compression do that. A film in tension
        draws its own face hollow, so that the edge touches the pad first.

    Raises
    ------
    ModelError
        Where a value that must be above 0 is not.

    Notes
    -----
    Curvatures of thin films add (Stoney). Films on the back are not counted.
    """
    return -sum(stoney_curvature(stress, deep, modulus, poisson, thickness) for stress, deep in films)


def bow_height(r: Array, curvature: float) -> Array:
    """Return how much higher than at the wafer's middle the pad stands against a bowed face.

    Parameters
    ----------
    r
        Radii [m], any shape.
    curvature
        kappa [1/m], positive where the edge is lifted.

    Returns
    -------
    Array
        -kappa r^2/2 [m], shape as ``r``: a lifted edge is a pad that lies lower there.
    """
    return np.asarray(-0.5 * curvature * r * r)
