"""The planarity budget of the next exposure."""

from __future__ import annotations

from planish.physics.checks import above_zero

SOURCES: tuple[str, ...] = (
    "Rayleigh depth of focus k2 lambda/NA^2 (read as quoted in a lithography-scaling module)",
)


def depth_of_focus(wavelength: float, aperture: float, k2: float = 0.5) -> float:
    """Return the total depth of focus of a dry exposure.

    Parameters
    ----------
    wavelength
        lambda [m].
    aperture
        Numerical, NA, above 0.
    k2
        Of the process.

    Returns
    -------
    float
        [m]; 193 nm, 0.93 and 0.5 give 111.6 nm.

    Raises
    ------
    ModelError
        Where a value is not above 0.

    Notes
    -----
    k2 lambda/NA^2. The paraxial form: at high apertures the exact focus depth is smaller.
    """
    for what, value in (("wavelength [m]", wavelength), ("numerical aperture", aperture), ("k2", k2)):
        above_zero(what, value)
    return k2 * wavelength / aperture**2
