"""What counts of a wafer: the disc inside its edge exclusion, which ends between two nodes.

Means over it, spreads and extremes are those of a profile that is read at the nodes inside and at the very rim of the
disc, where it is a cubic between its neighbours; so a figure does not jump as nodes pass the rim.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from planish.engine.fixed import sealed

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Counted:
    """A disc on a wafer's nodes.

    Attributes
    ----------
    inside
        Which nodes lie in it, (n_r,).
    read
        Takes a profile to its values at these nodes and at the rim, (m, n_r).
    shares
        Of the disc's area at these places, (m,).
    weights
        The same as weights of the nodes, for means, (n_r,).
    """

    inside: NDArray[np.bool_]
    read: Array
    shares: Array
    weights: Array

    def mean(self, profile: Array) -> float:
        """Return the mean over the disc of a profile (n_r,)."""
        return float(self.weights @ profile)

    def sigma(self, profile: Array) -> float:
        """Return the standard deviation over the disc's area of a profile (n_r,)."""
        away = self.read @ profile - self.mean(profile)
        return float(np.sqrt(self.shares @ away**2))

    def half_range(self, profile: Array) -> float:
        """Return half of what a profile (n_r,) spans in the disc."""
        return 0.5 * float(np.ptp(self.read @ profile))


def counted(radius: Array, areas: Array, disc: float) -> Counted:
    """Return the disc of a radius on a wafer's nodes.

    Parameters
    ----------
    radius
        Of the nodes [m], increasing, (n_r,).
    areas
        Their shares of the wafer's area [m^2], (n_r,).
    disc
        Radius of the disc [m]; no larger than the wafer's.

    Returns
    -------
    Counted
        The same record for the same nodes and disc.
    """
    return _counted(radius.tobytes(), areas.tobytes(), float(disc))


@lru_cache(maxsize=64)
def _counted(nodes: bytes, areas: bytes, disc: float) -> Counted:
    radius = np.frombuffer(nodes)
    inside = radius <= disc
    count = int(inside.sum())
    places = np.append(radius[:count], disc)
    bounds = np.sqrt(np.concatenate([[0.0], np.cumsum(np.frombuffer(areas))[:count]]) / np.pi)
    if count:
        bounds[-1] = 0.5 * (places[-2] + disc)  # the last node and the rim share what lies between them
    shares = np.diff(np.append(bounds, disc) ** 2) / disc**2
    read = np.zeros((places.size, radius.size))
    read[np.arange(count), np.arange(count)] = 1.0
    read[-1] = cubic(radius, np.array([disc]))[0]
    return Counted(sealed(inside), sealed(read), sealed(shares), sealed(shares @ read))


def cubic(nodes: Array, at: Array) -> Array:
    """Return what takes values at nodes to values elsewhere, by the cubic through the four nearest.

    Parameters
    ----------
    nodes
        Increasing, (n,), four or more.
    at
        Where it is read, (m,); beyond the last node the last cubic goes on.

    Returns
    -------
    Array
        (m, n).
    """
    first = np.clip(np.searchsorted(nodes, at) - 2, 0, nodes.size - 4)
    index = first[:, None] + np.arange(4)
    weights = np.ones(index.shape)
    for one in range(4):
        for other in range(4):
            if one != other:
                weights[:, one] *= (at - nodes[index[:, other]]) / (
                    nodes[index[:, one]] - nodes[index[:, other]]
                )
    made = np.zeros((at.size, nodes.size))
    np.put_along_axis(made, index, weights, axis=1)
    return made
