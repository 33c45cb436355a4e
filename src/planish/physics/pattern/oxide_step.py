"""Oxide over steps: the density law, and the density law with a contact height.

Raised ("up") areas of density rho stand ``step`` above the low ("down") areas;
``rate`` K is that of a blanket film. Amounts are thickness lost [m].
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse

Array = NDArray[np.float64]
SOURCES: tuple[str, ...] = (
    "Up areas polish at K/rho until the local step is gone: derived here; that density rules, Stine et al. 1998, IEEE"
    " Trans. Semicond. Manuf. 11, 129 (read as quoted in an open process handbook)",
    "A contact height below which the step dies out: Dutt, MIT thesis (abstract read)",
    "Smith, Fang, Stine & Boning 1999, MRS Proc. 566: density and step height combined (from memory);"
    " its exact exponential steps: derivation of our own",
)


def blanket_removed(density: ArrayLike, step: ArrayLike, blanket: ArrayLike) -> tuple[Array, Array]:
    """Return loss and step of the density law.

    Parameters
    ----------
    density
        Share rho of up areas, above 0, broadcastable.
    step
        z1 before [m].
    blanket
        K t [m].

    Returns
    -------
    tuple[Array, Array]
        Up-area loss and remaining step [m].

    Raises
    ------
    ModelError
        Where a value is out of its range.

    Notes
    -----
    Up areas lose K t/rho while K t < rho z1, then K t + z1 (1 - rho); the step is z1 - K t/rho, then 0.
    """
    rho, z1, kt = _checked(density, step), np.asarray(step, float), np.asarray(blanket, float)
    left = np.maximum(z1 - kt / rho, 0.0)
    return kt + (1 - rho) * (z1 - left), left


def contact_height_step(
    density: ArrayLike, step: ArrayLike, contact_height: ArrayLike, blanket: ArrayLike
) -> tuple[Array, Array, Array]:
    """Return losses and step with a contact height h_c.

    Parameters
    ----------
    density
        Share rho of up areas, above 0, broadcastable.
    step
        h_0 before [m].
    contact_height
        h_c [m].
    blanket
        K t [m].

    Returns
    -------
    tuple[Array, Array, Array]
        Up loss, down loss and remaining step [m].

    Raises
    ------
    ModelError
        Where a value is out of its range.

    Notes
    -----
    For h > h_c only up areas are touched (rate K/rho). For h <= h_c the up rate is K [1 + (1-rho) h/(rho
    h_c)] and the down rate K (1 - h/h_c), so h = h_0 exp(-K t/(rho h_c)). Both parts are exact, whatever
    the step taken, and conserve volume: rho up + (1 - rho) down = K t.
    """
    rho, h0, kt = _checked(density, step), np.asarray(step, float), np.asarray(blanket, float)
    hc = np.asarray(contact_height, float)
    if not np.all(hc > 0):
        raise ModelError(refuse("contact height [m]", float(np.min(hc)), "above 0"))
    fast = np.minimum(kt, rho * np.maximum(h0 - hc, 0.0))
    left = (h0 - fast / rho) * np.exp(-(kt - fast) / (rho * hc))
    gone = h0 - left
    return kt + (1 - rho) * gone, kt - rho * gone, left


def _checked(density: ArrayLike, step: ArrayLike) -> Array:
    rho = np.asarray(density, dtype=np.float64)
    if not (np.all(rho > 0) and np.all(rho <= 1)):
        raise ModelError(refuse("effective density", float(np.nanmin(rho)), "above 0 and at most 1"))
    if not np.all(np.asarray(step) >= 0):
        raise ModelError(refuse("step height [m]", float(np.min(step)), "0 or more"))
    return rho
