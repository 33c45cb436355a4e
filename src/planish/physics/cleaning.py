"""Cleaning after polishing: which particles a brush, sound and a rinse leave on the wafer.

A sphere held by van der Waals attraction rolls off when the moment of the
shear flow about its contact's rim exceeds adhesion times the contact's radius.
The moment grows as size^3, the resistance as size^(5/3): small ones stay. How
strongly particles of one size hold differs from one to the next (shape,
roughness, charge), taken as lognormal. A strongly held one outlives every step
weaker than itself, so steps do not simply multiply.

Results are relative: the share of the particles that were there. Only fluid
shear is counted; brush nodules that touch particles, charge and undercutting by
chemistry enter through the work of adhesion that is given.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from planish.errors import ModelError, refuse
from planish.physics.checks import above_zero, zero_or_more

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Sphere on a plane, van der Waals force A d/(12 z0^2): derived here from Hamaker 1937 (read as quoted in the "
    "libgran documentation)",
    "Elastic contact under adhesion: Johnson, Kendall & Roberts 1971, Proc. R. Soc. A 324, 301 (read as quoted in "
    "the LAMMPS manual)",
    "Drag and moment on a sphere touching a wall in shear: Goldman, Cox & Brenner 1967, Chem. Eng. Sci. 22, part II "
    "(read as quoted in a near-wall mobility module, which has 1.7005 where 1.7009 stands here)",
    "Rotation, not lift or sliding, is what removes: Zoeteweij, van der Donck & Versluis, 'Particle removal in "
    "linear shear flow' (abstract read)",
    "High-frequency sound cleans by a thin viscous layer: Qi & Brereton 1995, IEEE Trans. Ultrason. Ferroelectr. "
    "Freq. Control 42, 619 (abstract read); oscillating layer: Stokes 1851 (textbook result)",
    "Film on a spinning disc: Emslie, Bonner & Peck 1958, J. Appl. Phys. 29, 858 (read as quoted in a spin-coating "
    "calculator)",
)

CONTACT_GAP = 0.4e-9
"""Distance of closest approach z0 [m] in the van der Waals force (0.4 to 1 nm, Ranade 1987: read as quoted in the
libgran documentation)."""


class CleanStep(NamedTuple):
    """One cleaning step.

    Attributes
    ----------
    name
        What it is called.
    shear_rate
        At the wall [1/s].
    coverage
        Share of wafer it acts on, 0 to 1.
    """

    name: str
    shear_rate: float
    coverage: float = 1.0


class CleanResult(NamedTuple):
    """What is left, relative to what was there.

    Attributes
    ----------
    left
        Share of each size, (n_sizes,).
    after
        The same after each step, in order.
    """

    left: Array
    after: tuple[Array, ...]


def work_of_adhesion(hamaker: ArrayLike) -> Array:
    """Return the work of adhesion.

    Parameters
    ----------
    hamaker
        Constant A in the cleaning liquid [J].

    Returns
    -------
    Array
        A/(12 pi z0^2) [J/m^2].
    """
    return np.asarray(np.asarray(hamaker, dtype=np.float64) / (12 * np.pi * CONTACT_GAP**2))


def adhesion_force(diameter: ArrayLike, hamaker: ArrayLike) -> Array:
    """Return the pull of the wafer on a sphere.

    Parameters
    ----------
    diameter
        Of the sphere, d [m].
    hamaker
        Constant A [J].

    Returns
    -------
    Array
        A d/(12 z0^2) [N].
    """
    return np.asarray(np.asarray(diameter, dtype=np.float64) * np.asarray(hamaker) / (12 * CONTACT_GAP**2))


def contact_radius(diameter: ArrayLike, work: ArrayLike, plane_modulus: ArrayLike) -> Array:
    """Return the radius of the contact that adhesion alone makes.

    Parameters
    ----------
    diameter
        Of the sphere, d [m].
    work
        Of adhesion, w [J/m^2].
    plane_modulus
        E* of particle and film together [Pa].

    Returns
    -------
    Array
        (9 pi w R^2/(2 E*))^(1/3), R = d/2 [m].
    """
    R = np.asarray(diameter, dtype=np.float64) / 2
    return np.asarray(np.cbrt(9 * np.pi * np.asarray(work) * R**2 / (2 * np.asarray(plane_modulus))))


def shear_moment(diameter: ArrayLike, shear_rate: ArrayLike, viscosity: float) -> Array:
    """Return the moment about the contact of a sphere at a wall in shear: drag times radius, plus torque.

    Parameters
    ----------
    diameter
        Of the sphere, 2 R [m].
    shear_rate
        g [1/s].
    viscosity
        eta [Pa s].

    Returns
    -------
    Array
        [N m].

    Notes
    -----
    1.7009 x 6 pi eta R^2 g R + 0.944 x 4 pi eta R^3 g.
    """
    R = np.asarray(diameter, dtype=np.float64) / 2
    return np.asarray((1.7009 * 6 + 0.944 * 4) * np.pi * viscosity * np.asarray(shear_rate) * R**3)


def removal_ratio(
    diameter: ArrayLike,
    shear_rate: ArrayLike,
    *,
    hamaker: float = 1e-20,
    plane_modulus: float = 3.5e10,
    viscosity: float = 1e-3,
) -> Array:
    """Return the moment of the flow over the moment of adhesion: above 1 a typical particle rolls off.

    Parameters
    ----------
    diameter, shear_rate
        [m], [1/s], broadcastable.
    hamaker
        [J] in the liquid; about 1e-20 for silica on oxide in water (order, from memory).
    plane_modulus
        [Pa]; 3.5e10 for silica on oxide.
    viscosity
        [Pa s].

    Returns
    -------
    Array
        [1], of the common shape.

    Raises
    ------
    ModelError
        Where a value is not above 0.
    """
    above_zero("Hamaker constant [J]", hamaker)
    above_zero("plane modulus of particle and film [Pa]", plane_modulus)
    above_zero("viscosity [Pa s]", viscosity)
    if np.any(np.asarray(diameter) <= 0):
        raise ModelError(refuse("particle size [m]", "0 or below", "above 0"))
    hold = adhesion_force(diameter, hamaker) * contact_radius(
        diameter, work_of_adhesion(hamaker), plane_modulus
    )
    return np.asarray(shear_moment(diameter, shear_rate, viscosity) / hold)


def brush_shear_rate(speed: float, gap: float = 1e-6) -> float:
    """Return the shear rate under a brush.

    Parameters
    ----------
    speed
        At which it slips [m/s].
    gap
        Of liquid below it [m] (an assumption).

    Returns
    -------
    float
        [1/s].

    Raises
    ------
    ModelError
        Where a value is out of its range.
    """
    zero_or_more("brush speed [m/s]", speed)
    above_zero("brush gap [m]", gap, "typical 1e-6 m")
    return speed / gap


def sound_shear_rate(
    intensity: float,
    frequency: float,
    *,
    density: float = 1000.0,
    sound_speed: float = 1480.0,
    viscosity: float = 1e-3,
) -> float:
    """Return the largest wall shear rate under sound.

    Parameters
    ----------
    intensity
        I [W/m^2].
    frequency
        [Hz].
    density, sound_speed, viscosity
        Of the liquid: rho [kg/m^3], c [m/s], [Pa s].

    Returns
    -------
    float
        [1/s].

    Raises
    ------
    ModelError
        Where a value is out of its range.

    Notes
    -----
    u sqrt(w/nu), u = sqrt(2 I/(rho c)).
    """
    zero_or_more("sound intensity [W/m^2]", intensity)
    above_zero("sound frequency [Hz]", frequency)
    amplitude = np.sqrt(2 * intensity / (density * sound_speed))
    return float(amplitude * np.sqrt(2 * np.pi * frequency * density / viscosity))


def spin_rinse_shear_rate(
    radius: ArrayLike, speed: float, flow: float, *, density: float = 1000.0, viscosity: float = 1e-3
) -> Array:
    """Return the wall shear rate of a rinse on a spinning wafer.

    Parameters
    ----------
    radius
        On the wafer, r, above 0 [m].
    speed
        w [rad/s].
    flow
        Q [m^3/s].
    density, viscosity
        Of the liquid [kg/m^3], [Pa s].

    Returns
    -------
    Array
        [1/s], shape as ``radius``.

    Raises
    ------
    ModelError
        Where a value is out of its range.

    Notes
    -----
    Film h = (3 nu Q/(2 pi w^2 r^2))^(1/3), shear w^2 r h/nu.
    """
    r, nu = np.asarray(radius, dtype=np.float64), viscosity / density
    zero_or_more("spin speed [rad/s]", speed)
    zero_or_more("rinse flow [m^3/s]", flow)
    if np.any(r <= 0):
        raise ModelError(refuse("spin rinse: radius [m]", float(r.min()), "above 0"))
    if speed == 0:
        return np.zeros(r.shape)
    film = np.cbrt(3 * nu * flow / (2 * np.pi * speed**2 * r**2))
    return np.asarray(speed**2 * r * film / nu)


def clean(
    diameters: ArrayLike,
    steps: tuple[CleanStep, ...],
    *,
    adhesion_spread: float = 0.7,
    hamaker: float = 1e-20,
    plane_modulus: float = 3.5e10,
    viscosity: float = 1e-3,
) -> CleanResult:
    """Return the share of the particles that a sequence of steps leaves.

    Parameters
    ----------
    diameters
        Sizes [m], (n_sizes,).
    steps
        In order; the order matters for ``after`` only.
    adhesion_spread
        Standard deviation of the logarithm of how strongly particles of one size
        hold, above 0 (an assumption).
    hamaker, plane_modulus, viscosity
        As for ``removal_ratio``.

    Returns
    -------
    CleanResult
        Relative, not a count on a wafer.

    Raises
    ------
    ModelError
        Where sizes, spread or a coverage is out of its range.
    """
    d = np.asarray(diameters, dtype=np.float64)
    if d.ndim != 1 or d.size == 0:
        raise ModelError(refuse("particle sizes", d.shape, "a list of one or more"))
    above_zero("adhesion spread", adhesion_spread, "typical 0.7")
    after: list[Array] = []
    left = np.ones_like(d)
    strength = np.empty((0, d.size))
    coverage = np.empty(0)
    for step in steps:
        if not 0 <= step.coverage <= 1:
            raise ModelError(refuse(f"cleaning step {step.name!r}: coverage", step.coverage, "0 to 1"))
        ratio = removal_ratio(
            d, step.shear_rate, hamaker=hamaker, plane_modulus=plane_modulus, viscosity=viscosity
        )
        strength, coverage = np.vstack([strength, ratio]), np.append(coverage, step.coverage)
        left = _survivors(strength, coverage, adhesion_spread)
        after.append(left)
    return CleanResult(left, tuple(after))


def _survivors(strength: Array, coverage: Array, spread: float) -> Array:
    """Share of each size that outlives steps of given strength (n_steps, n_sizes), each missing 1 - coverage.

    Between two neighbouring strengths the same steps are too weak: so a sum over those intervals of
    the share of particles that hold so strongly times the chance that all stronger steps missed them.
    """
    order = np.argsort(strength, axis=0)
    ranked = np.take_along_axis(strength, order, axis=0)
    missed = 1 - coverage[order]
    with np.errstate(divide="ignore"):
        weaker = ndtr(np.log(ranked) / spread)
    ends = np.zeros((1, strength.shape[1]))
    share = np.diff(np.concatenate([ends, weaker, ends + 1]), axis=0)
    chance = np.concatenate([np.cumprod(missed[::-1], axis=0)[::-1], ends + 1])
    return np.asarray((share * chance).sum(axis=0))
