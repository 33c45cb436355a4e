"""What a stack of thin films reflects and transmits, asked in nanometres and degrees."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from planish.errors import ModelError, refuse
from planish.physics.optics.stack import Polarization, Shares, stack_shares

_NM = 1e-9


def reflectance(
    indices: Sequence[ArrayLike],
    thicknesses_nm: Sequence[ArrayLike],
    wavelength_nm: ArrayLike,
    angle_deg: ArrayLike = 0.0,
    polarization: Polarization = "s",
) -> Shares:
    """Return the shares of the light's power that a stack of films reflects and transmits.

    Parameters
    ----------
    indices
        n + i k of the ambient, of each layer from the top, and of the last medium (the wafer): numbers, or arrays where
        they change with the wavelength, as `planish.optical_index` gives them.
    thicknesses_nm
        Of the layers from the top [nm]: two fewer than ``indices``. Numbers or arrays.
    wavelength_nm
        In vacuum [nm].
    angle_deg
        Of the light in the ambient, from the normal [degrees], 0 to below 90.
    polarization
        "s", "p", or "mean" of the two (unpolarized light).

    Returns
    -------
    Shares
        ``reflected`` and ``transmitted``, each of the shape to which all arrays broadcast; what is missing to 1 is
        absorbed.

    Raises
    ------
    ModelError
        For an ambient that absorbs, a layer that would amplify, shapes that do not go together and values that cannot be.

    Examples
    --------
    >>> import planish
    >>> shares = planish.reflectance([1.0, 1.46, 3.88], [108.6], 634.0)  # a quarter-wave film
    >>> round(float(shares.reflected), 4)
    0.0843
    """
    return stack_shares(
        indices,
        [_scaled(f"thickness of layer {at + 1} [nm]", one, _NM) for at, one in enumerate(thicknesses_nm)],
        _scaled("wavelength [nm]", wavelength_nm, _NM),
        _scaled("angle [deg]", angle_deg, np.pi / 180.0),
        polarization,
    )


def _scaled(name: str, value: ArrayLike, factor: float) -> ArrayLike:
    try:
        return factor * np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise ModelError(refuse(name, value, "a number or an array of numbers")) from None
