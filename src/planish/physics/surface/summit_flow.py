"""The pressure that a summit cannot exceed: where it begins to flow, how near a surface is to it, what a tail then carries.

Plain numbers, without a table of heights (that is ``asperities``): a setup asks them as it is read.
"""

from __future__ import annotations

from math import erf, exp, pi, sqrt

from planish.errors import ModelError, refuse
from planish.physics.checks import above_zero


def elastic_depth(tip_radius: float, modulus: float, flow_pressure: float) -> float:
    """Return how far a summit can be pressed in before it flows.

    Parameters
    ----------
    tip_radius, modulus, flow_pressure
        R [m], plane modulus E* [Pa] and flow pressure H [Pa], inf where it never flows.

    Returns
    -------
    float
        delta_c = R (3 pi H/(4 E*))^2 [m], where the mean Hertz pressure is H.

    Raises
    ------
    ModelError
        Where a value is not above 0.
    """
    above_zero("summit tip radius [m]", tip_radius)
    above_zero("summit plane modulus [Pa]", modulus)
    if not flow_pressure > 0:
        raise ModelError(refuse("flow pressure of the summits [Pa]", flow_pressure, "above 0"))
    return tip_radius * (0.75 * pi * flow_pressure / modulus) ** 2


def plasticity_index(spread: float, *, tip_radius: float, modulus: float, flow_pressure: float) -> float:
    """Return how far a surface is from flowing.

    Parameters
    ----------
    spread
        Of the heights that touch [m]: the length s of an exponential tail, which is its standard deviation.
    tip_radius, modulus, flow_pressure
        As for :func:`elastic_depth`.

    Returns
    -------
    float
        psi = (E*/H) sqrt(s/R); below about 1 summits are elastic under any usual load, above about 2 most of
        the load lies on summits that flow. It does not depend on the load.

    Raises
    ------
    ModelError
        Where a value is not above 0.
    """
    above_zero("spread of the summit heights [m]", spread)
    depth = elastic_depth(tip_radius, modulus, flow_pressure)
    return 0.75 * pi * sqrt(spread / depth)


def tail_pressure(tail_length: float, *, tip_radius: float, modulus: float, flow_pressure: float) -> float:
    """Return the mean real pressure on an exponential tail of summits, which is the same under any load.

    Parameters
    ----------
    tail_length
        s [m].
    tip_radius, modulus, flow_pressure
        As for :func:`elastic_depth`.

    Returns
    -------
    float
        [Pa]; E* sqrt(s/(pi R)) where nothing flows.

    Raises
    ------
    ModelError
        Where a value is not above 0.

    Notes
    -----
    With x = delta_c/s: [4 E*/(3 pi) sqrt(s/R) gamma(5/2, x) + H exp(-x) (2 + x)]/(1 + exp(-x)).
    """
    above_zero("summit tail length [m]", tail_length)
    x = elastic_depth(tip_radius, modulus, flow_pressure) / tail_length
    elastic = modulus * sqrt(tail_length / (pi * tip_radius))
    if x > 700.0:  # exp(-x) is 0 there, and H may be inf
        return elastic
    # gamma(5/2, x)/Gamma(5/2), what is elastic of it
    elastic *= erf(sqrt(x)) - sqrt(x / pi) * exp(-x) * (2.0 + 4.0 / 3.0 * x)
    return (elastic + flow_pressure * exp(-x) * (2.0 + x)) / (1.0 + exp(-x))
