"""Vacuum hold of a wafer by the head: does it hold, and does it bend the wafer?

Between pads the head carries the wafer by suction through openings in its
membrane. The suction has to lift the wafer's weight, break the water film that
holds the wafer on the pad, and pull a wafer bowed by film stress flat; where
the wafer spans an opening the suction bends it.

All arguments and results in SI.
"""

from __future__ import annotations

from planish.physics.checks import above_zero

SOURCES: tuple[str, ...] = (
    "Clamped and simply supported circular plates under uniform pressure: The Civil Engineering Handbook, 2nd ed., "
    "eqs 47.72-47.76 (read)",
    "Stoney 1909, Proc. R. Soc. A 82, 172: curvature of a plate under film stress, biaxial form (read as quoted "
    "in Feng, Huang & Rosakis 2007)",
    "Capillary pull of a wetted gap 2 gamma/h: Young-Laplace with complete wetting of both faces",
)

GRAVITY = 9.80665  # [m/s^2] standard acceleration, CGPM 1901
WATER_TENSION = 0.0728  # [N/m] water at 20 °C, IAPWS 1994 (read as quoted in the freesteam source)


def wafer_weight_pressure(density: float, thickness: float) -> float:
    """Return the weight of a plate per area.

    Parameters
    ----------
    density
        Of the plate [kg/m^3].
    thickness
        Of the plate [m].

    Returns
    -------
    float
        [Pa].

    Raises
    ------
    ModelError
        Where a value that must be above 0 is not.
    """
    above_zero("density", density)
    above_zero("thickness", thickness)
    return density * thickness * GRAVITY


def film_pull(film_thickness: float, tension: float = WATER_TENSION) -> float:
    """Return the capillary pressure that a wetted gap holds with.

    Parameters
    ----------
    film_thickness
        Of the liquid, h [m].
    tension
        Surface tension of the liquid, gamma [N/m].

    Returns
    -------
    float
        2 gamma/h [Pa].

    Raises
    ------
    ModelError
        Where a value that must be above 0 is not.
    """
    above_zero("film thickness", film_thickness)
    above_zero("tension", tension)
    return 2.0 * tension / film_thickness


def stoney_curvature(
    film_stress: float, film_thickness: float, modulus: float, poisson: float, thickness: float
) -> float:
    """Return the curvature that a stressed film gives a wafer.

    Parameters
    ----------
    film_stress
        sigma [Pa], positive for tension.
    film_thickness
        t [m].
    modulus, poisson, thickness
        Of the wafer: E [Pa], nu, h [m].

    Returns
    -------
    float
        [1/m], positive for tension.

    Raises
    ------
    ModelError
        Where a value that must be above 0 is not.

    Notes
    -----
    6 sigma t (1-nu)/(E h^2). Valid for a film much thinner than the wafer and bows below about half the
    wafer's thickness times a hundred (small rotations).
    """
    above_zero("modulus", modulus)
    above_zero("thickness", thickness)
    return 6.0 * film_stress * film_thickness * (1.0 - poisson) / (modulus * thickness**2)


def flattening_pressure(curvature: float, radius: float, stiffness: float, poisson: float) -> float:
    """Return the uniform pressure that gives a rim-supported disc the sag kappa a^2/2.

    Parameters
    ----------
    curvature
        kappa [1/m].
    radius
        Of the disc, a [m].
    stiffness
        Bending stiffness D [N m].
    poisson
        Of the disc, nu.

    Returns
    -------
    float
        [Pa].

    Raises
    ------
    ModelError
        Where a value that must be above 0 is not.

    Notes
    -----
    The sag of a simply supported disc is (5+nu) q a^4/(64 (1+nu) D); this q is what takes the bow of a
    film-stressed wafer out at its centre.
    """
    above_zero("radius", radius)
    above_zero("stiffness", stiffness)
    bow = abs(curvature) * radius**2 / 2.0
    return bow * 64.0 * (1.0 + poisson) * stiffness / ((5.0 + poisson) * radius**4)


def clamped_sag(pressure: float, radius: float, stiffness: float) -> float:
    """Return the centre deflection of a clamped disc.

    Parameters
    ----------
    pressure
        q [Pa].
    radius
        Of the disc, b [m].
    stiffness
        Bending stiffness D [N m].

    Returns
    -------
    float
        q b^4/(64 D) [m].

    Raises
    ------
    ModelError
        Where a value that must be above 0 is not.
    """
    above_zero("radius", radius)
    above_zero("stiffness", stiffness)
    return pressure * radius**4 / (64.0 * stiffness)


def clamped_stress(pressure: float, radius: float, thickness: float) -> float:
    """Return the largest bending stress of a clamped disc, which is at its rim.

    Parameters
    ----------
    pressure
        q [Pa].
    radius, thickness
        Of the disc, b and h [m].

    Returns
    -------
    float
        3 q b^2/(4 h^2) [Pa].

    Raises
    ------
    ModelError
        Where a value that must be above 0 is not.
    """
    above_zero("radius", radius)
    above_zero("thickness", thickness)
    return 0.75 * pressure * radius**2 / thickness**2
