"""Polyurethane softens as it warms: what is left of its modulus, and what that does to a pad stack.

The modulus falls as E(T) = E_0 exp(-b (T - T_0)), with b the share of it lost per kelvin and T_0 the
temperature for which it is stated. What flows, flows at a pressure that falls with it, so summits of a warm
pad under the pressure p stand as those of the cold one under p/f, f = E(T)/E_0, with f times the pressure
on what touches: real area and separation are those at p/f, whatever the heights.

Through the stack the temperature is taken as straight between the polishing surface and what the pad lies on,
and each layer as warm as its middle. Under loads wider than the stack is thick, layers give way in series, each
by its thickness over its confined modulus; that mean stands for all widths.

Limits. Above 100 °C (``HOTTEST``) a pad is taken as soft as there. b is one number within some 40 K of T_0; a transition (melting of hard segments, a glass transition)
within that range is not followed. Water that the pad takes up softens it too, and is not followed.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, isfinite
from typing import Protocol

from planish.errors import ModelError, refuse

SOURCES: tuple[str, ...] = (
    "Storage modulus of polishing-pad polyurethanes at 30 °C over that at 90 °C, 1.5 to 5 or so, 0.7 to 2.7 % per kelvin:"
    " data sheets and patents on pads (from memory)",
    "A warm pad as the cold one under a load divided by the share of its modulus left: derivation of our own",
)

HOTTEST = 373.15
"""Temperature [K] above which a wet pad is taken as soft as there: its water boils, which nothing here follows."""

SAME = 1e-9
"""Difference [K] below which two temperatures are the same but for rounding."""


class Layer(Protocol):
    """One layer of a stack: Young's modulus [Pa], Poisson ratio, thickness [m]."""

    @property
    def modulus(self) -> float:
        """Young's [Pa]."""
        ...

    @property
    def poisson(self) -> float:
        """Poisson ratio."""
        ...

    @property
    def thickness(self) -> float:
        """[m]."""
        ...


def modulus_left(loss: float, temperature: float, reference: float) -> float:
    """Return the modulus of a warm pad over the one stated.

    Parameters
    ----------
    loss
        b, the share lost per kelvin [1/K], 0 or more.
    temperature, reference
        Of the pad, and for which its modulus is stated [K].

    Returns
    -------
    float
        [1]; above 1 on a pad colder than that, and above ``HOTTEST`` what it is there.

    Raises
    ------
    ModelError
        Where a value is out of its range.
    """
    if not (isfinite(loss) and loss >= 0):
        raise ModelError(refuse("share of the modulus lost per kelvin [1/K]", loss, "0 or more"))
    if not (temperature > 0 and reference > 0):
        raise ModelError(refuse("temperatures of the pad [K]", (temperature, reference), "above 0"))
    warmer = min(temperature, HOTTEST) - reference
    return exp(-loss * warmer) if abs(warmer) > SAME else 1.0


def middle_temperatures(surface: float, base: float, thicknesses: Sequence[float]) -> list[float]:
    """Return the temperature in the middle of each layer, on a straight line through layers that conduct alike.

    Parameters
    ----------
    surface, base
        Of the polishing surface, and of what the pad lies on [K].
    thicknesses
        From the surface down [m].

    Returns
    -------
    list[float]
        [K], as many.
    """
    whole, deep = sum(thicknesses), 0.0
    found = []
    for thickness in thicknesses:
        found.append(surface + (base - surface) * (deep + 0.5 * thickness) / whole)
        deep += thickness
    return found


def stack_give(layers: Sequence[Layer], left: Sequence[float]) -> float:
    """Return how much more a stack gives way than when its moduli are as stated.

    Parameters
    ----------
    layers
        As stated, from the surface down.
    left
        Of each modulus [1].

    Returns
    -------
    float
        [1], the mean of 1/``left`` by the layers' own give under a wide load; 1 where nothing has softened.
    """
    give = [
        layer.thickness
        * (1 + layer.poisson)
        * (1 - 2 * layer.poisson)
        / (layer.modulus * (1 - layer.poisson))
        for layer in layers
    ]
    # as a departure from 1, so that a pad at its stated temperature gives exactly 1
    return 1.0 + sum(each * (1.0 / share - 1.0) for each, share in zip(give, left, strict=True)) / sum(give)
