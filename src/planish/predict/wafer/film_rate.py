"""The removal rate of a material in a step: its law with the factors on it, at any pad temperature."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import ModelError, refuse
from planish.physics.removal.factors import thermal_exponent, thermal_factor
from planish.physics.removal.laws import LAWS
from planish.physics.surface.softening import HOTTEST

if TYPE_CHECKING:
    from planish.physics.removal.law import Law
    from planish.setup.si import Removal

Array = NDArray[np.float64]
_NO_TEMPERATURE = np.zeros(())


@dataclass(eq=False)
class FilmRate:
    """What a step makes of a material's law.

    Attributes
    ----------
    law, coefficients
        Of the material, and the law's coefficients, checked.
    pressure, speed
        On its summits [Pa] and as the law takes it [m/s], (n_r,).
    friction
        Coefficient of friction on summits [1].
    mechanical
        Factor on the law's mechanical terms (n_r,): grains, and the pressure on summits in contact.
    chemical
        Factor on its chemical terms at the reference temperature: fresh slurry.
    overall
        Factor on all of it: share of the pad that is not feed hole, batch of slurry, chance.
    dissolved
        Factor on its purely chemical terms: oxidiser and inhibitor.
    softening, warmth
        By which share the mechanical factor falls for each kelvin above ``warmth`` [K], at which it is as given [1/K].
    """

    law: Removal
    coefficients: Mapping[str, float]
    pressure: Array
    speed: Array
    friction: float
    mechanical: Array
    chemical: float
    overall: float
    dissolved: float = 1.0
    softening: float = 0.0
    warmth: float = 0.0

    @cached_property
    def _cold(self) -> list[Array]:
        return self._values(_NO_TEMPERATURE)

    def _values(self, temperature: Array) -> list[Array]:
        if self.pressure.min() < 0:
            raise ModelError(refuse("pressure on summits [Pa]", float(self.pressure.min()), "0 or more"))
        return self._record.values(self.coefficients, self.pressure, self.speed, temperature, self.friction)

    @cached_property
    def _record(self) -> Law:
        return LAWS.get(self.law.law)

    @cached_property
    def parts(self) -> tuple[Array, Array, Array] | None:
        """The rate's mechanical, common and chemical terms [m/s], (n_r,) each, by their factors; None in series or warm."""
        record = self._record
        if record.joined != "sum" or record.warm:
            return None
        if record.together:
            alone = np.zeros(())
            return alone, self.overall * record.rate(self._cold, self.mechanical, 1.0), alone
        mechanical = record.rate(self._cold, self.mechanical, 0.0)
        chemical = record.rate(self._cold, 0.0, 1.0, self.dissolved)
        both = record.rate(self._cold, self.mechanical, 1.0, self.dissolved) - mechanical - chemical
        return self.overall * mechanical, self.overall * both, self.overall * chemical

    def at(self, temperature: Array, chemical: float | None = None) -> Array:
        """Return the rate.

        Parameters
        ----------
        temperature
            Of the pad [K], (n_t, n_r) or (n_t, 1).
        chemical
            In place of the step's own chemical factor.

        Returns
        -------
        Array
            [m/s], (n_t, n_r).
        """
        answer: float | Array = self.chemical if chemical is None else chemical
        faster, softer = self._exponents(temperature)
        rate: Array
        if self.parts is None:
            values, grown = self._values(temperature), answer * self._faster(temperature)
            softly = np.exp(softer) * self.mechanical
            rate = np.asarray(self.overall * self._record.rate(values, softly, grown, self.dissolved))
        elif self._record.together:
            rate = np.exp(faster + softer) * (answer * self.parts[1])
        else:
            mechanical, both, alone = self.parts
            grown = answer * self._faster(temperature)
            rate = np.exp(softer) * (mechanical + grown * both) + grown * alone
        whole = (temperature.shape[0], self.pressure.size)
        return rate if rate.shape == whole else np.broadcast_to(rate, whole)

    def _faster(self, temperature: Array) -> Array | float:
        """Return what warmth does to the chemical factor."""
        law = self.law
        if not law.activation_energy:
            return 1.0
        return thermal_factor(temperature, law.reference.temperature, law.activation_energy)

    def _exponents(self, temperature: Array) -> tuple[Array | float, Array | float]:
        """Return the logarithms of what warmth does to the chemical and to the mechanical factor; 0 where nothing."""
        energy, reference = self.law.activation_energy, self.law.reference.temperature
        return (
            thermal_exponent(temperature, reference, energy) if energy else 0.0,
            -self.softening * (np.minimum(temperature, HOTTEST) - self.warmth) if self.softening else 0.0,
        )

    def near(self, radii: Array, radius: float) -> FilmRate:
        """Return the rate at one radius, as a film of one node.

        Parameters
        ----------
        radii
            Of the nodes [m], (n_r,).
        radius
            [m]; between nodes on a straight line.

        Returns
        -------
        FilmRate
            Of one node.
        """

        def there(values: Array | float) -> Array:
            on_nodes = np.broadcast_to(np.asarray(values, dtype=np.float64), radii.shape)
            return np.array([np.interp(radius, radii, on_nodes)])

        return replace(
            self,
            pressure=there(self.pressure),
            speed=there(self.speed),
            mechanical=there(self.mechanical),
        )

    def under(self, pressure: Array, temperature: float) -> Array:
        """Return the rate of one node at other pressures.

        Parameters
        ----------
        pressure
            On its summits [Pa], (n,).
        temperature
            Of the pad [K].

        Returns
        -------
        Array
            [m/s], (n,).
        """
        speed, mechanical = (np.broadcast_to(each, pressure.shape) for each in (self.speed, self.mechanical))
        at = replace(self, pressure=pressure, speed=speed, mechanical=mechanical)
        return np.asarray(at.at(np.array([[temperature]]))[0])

    def mean_parts(self, weights: Array) -> tuple[float, float] | None:
        """Return the mean rates [m/s] of what the chemical factor leaves alone and of what goes with it.

        Both at the law's reference temperature, the pad as soft as at ``warmth``; None for a law in series or warm.

        Parameters
        ----------
        weights
            Of the nodes, (n_r,), summing to 1.
        """
        if self.parts is None:
            return None
        if self._record.together:
            return 0.0, float(weights @ self.parts[1])
        still, both, alone = (float(weights @ np.broadcast_to(part, weights.shape)) for part in self.parts)
        return still, both + alone

    def mean_at_reference(self, weights: Array) -> Callable[[float], float]:
        """Return the mean rate [m/s] at the law's reference temperature as a function of the chemical factor.

        The pad is as soft as at ``warmth``. :meth:`mean_parts` says more of a law that is linear in that factor.

        Parameters
        ----------
        weights
            Of the nodes, (n_r,), summing to 1.
        """
        record, values = self._record, self._values(np.asarray(self.law.reference.temperature))
        return lambda chemical: (
            self.overall
            * float(
                weights
                @ (record.rate(values, self.mechanical, chemical, self.dissolved) + np.zeros_like(weights))
            )
        )
