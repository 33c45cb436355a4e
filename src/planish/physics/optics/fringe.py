"""How much of a film goes by between two fringes."""

from __future__ import annotations

from math import asin, cos, isfinite, pi, sin

from planish.errors import ModelError, refuse
from planish.physics.checks import above_zero


def fringe_spacing(index: float, wavelength: float, angle: float = 0.0, ambient: float = 1.0) -> float:
    """Return the thickness that is removed from one fringe to the next.

    Parameters
    ----------
    index
        n of the film, which must not absorb strongly: fringes of a dark film die out instead.
    wavelength
        In vacuum [m].
    angle
        Of the light in the ambient from the normal [rad].
    ambient
        n of what lies above the film.

    Returns
    -------
    float
        lambda/(2 n cos theta) [m] with n sin theta = n0 sin(angle): the light's way through the film and back is then
        longer by one wavelength.

    Raises
    ------
    ModelError
        For values that cannot be, and an angle at which the light does not enter the film.
    """
    above_zero("index of the film", index)
    above_zero("wavelength [m]", wavelength)
    above_zero("index of the ambient", ambient)
    if not (isfinite(angle) and 0 <= angle < pi / 2):
        raise ModelError(refuse("angle of the light [rad]", angle, "from 0 to below a right angle"))
    inside = ambient * sin(angle) / index
    if not inside < 1:
        raise ModelError(
            refuse(
                "angle of the light [rad]",
                angle,
                f"below {asin(index / ambient):.4g}",
                "it does not enter the film",
            )
        )
    return wavelength / (2.0 * index * cos(asin(inside)))
