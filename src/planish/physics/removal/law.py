"""What a rate law is: one record that says all planish needs to know of it.

A law is a few terms, and says of each what does the work in it. What grains and summits do, the mechanical
factor, acts on mechanical terms; what the slurry's chemistry does, the chemical factor, on chemical ones; both act
on a term in which the two cannot be told apart. What is dissolved in the slurry acts on purely chemical terms alone. All
factors are 1 at the conditions at which the coefficients were calibrated (:mod:`planish.physics.removal.factors`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish import units
from planish.errors import ModelError, refuse

Array = NDArray[np.float64]
#: Coefficients by name, SI; the friction found under the wafer may stand in one as an array.
Coefficients = Mapping[str, float | Array]
Scale = Literal["wafer", "die"]
SCALES: tuple[Scale, ...] = ("wafer", "die")
Kind = Literal["mechanical", "chemical", "both"]
KINDS: tuple[Kind, ...] = ("mechanical", "chemical", "both")
Joined = Literal["sum", "series"]
JOINED: tuple[Joined, ...] = ("sum", "series")


@dataclass(frozen=True, slots=True)
class Coefficient:
    """One coefficient of a law.

    Attributes
    ----------
    name, meaning
        As a setup writes it, and what it is in a few words.
    unit
        Its SI unit as text, "1" for a pure number.
    dimension
        The kind of text quantity that a setup gives ("per_pressure", "pressure", "rate", "energy_per_mol",
        "ratio"); "number" for a bare SI number.
    low, high
        What is possible, inclusive, as text with unit.
    typical
        What is usual, as text with unit; None where no one can say.
    default
        Taken where a setup does not give it, SI; None where it must.
    """

    name: str
    meaning: str
    unit: str
    dimension: str = "number"
    low: str = "0"
    high: str = "1e300"
    typical: tuple[str, str] | None = None
    default: float | None = None

    def si(self, text: str) -> float:
        """Return one of the limits in SI."""
        return float(text) if self.dimension == "number" else units.to_si(text, self.dimension)


Value = Callable[[Coefficients, Array, Array, Array], Array]
"""From coefficients, pressure [Pa], speed [m/s] and temperature [K] to a term [m/s]; arrays that broadcast."""


@dataclass(frozen=True, slots=True)
class Term:
    """A term of the rate.

    Attributes
    ----------
    text
        As it stands in the formula.
    kind
        What does the work: "mechanical" (grains and summits), "chemical" (the slurry), or "both" together.
    value
        ``value(c, p, v, temperature)``: the term [m/s].
    warm
        Whether the term itself changes with temperature, beside the chemical factor.
    """

    text: str
    kind: Kind
    value: Value
    warm: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Law:
    """A rate law: from pressure [Pa], speed [m/s] and state to the rate [m/s] at which a film goes.

    Attributes
    ----------
    name, meaning, formula
        The word in a setup, one line of what it says, and the rate as an expression.
    coefficients
        In the order of the formula.
    terms
        The terms of the formula, each with what does the work in it.
    joined
        "sum", or "series": a chemical and a mechanical term, of which the slower rules.
    scaling
        The coefficients that, multiplied together by one number, multiply the rate by it.
    leading
        The coefficient that a measured rate at the reference condition settles; the rate must be linear
        in it. "" where a setup has to give all coefficients.
    threshold, speed_power, activation, friction
        The coefficient, if any, that is the pressure [Pa] below which nothing goes; the power of the speed
        (the rate is else taken as linear in it); the activation energy [J/mol] of a warm term; the
        coefficient of friction, in place of which that of the slurry on summits is used.
    scales
        Where the law may be used.
    sources
        What it rests on, each said as far as it was read.
    chemical, warm, together
        Whether a term of it is the slurry's chemistry alone, whether one changes with temperature by itself, and
        whether grains, summits and slurry do all of the work together.

    Raises
    ------
    ModelError
        Where the record names a coefficient that it does not have, or a limit that is no quantity.
    """

    name: str
    meaning: str
    formula: str
    coefficients: tuple[Coefficient, ...]
    terms: tuple[Term, ...]
    sources: tuple[str, ...]
    scaling: tuple[str, ...]
    joined: Joined = "sum"
    leading: str = ""
    threshold: str = ""
    speed_power: str = ""
    activation: str = ""
    friction: str = ""
    scales: tuple[Scale, ...] = SCALES
    floors: Mapping[str, float] = field(init=False, repr=False, compare=False)
    chemical: bool = field(init=False, repr=False, compare=False)
    warm: bool = field(init=False, repr=False, compare=False)
    together: bool = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        place = f"removal law {self.name!r}"
        names = [each.name for each in self.coefficients]
        if not names or len(set(names)) != len(names):
            raise ModelError(
                refuse(f"{place}: coefficients", ", ".join(names), "one or more, each named once")
            )
        roles = (self.leading, self.threshold, self.speed_power, self.activation, self.friction)
        for role in (*self.scaling, *roles):
            if role and role not in names:
                raise ModelError(refuse(place, role, f"a coefficient of it: {', '.join(names)}"))
        if not self.scaling or not self.sources:
            lacking = "sources" if self.scaling else "scaling"
            raise ModelError(refuse(f"{place}: {lacking}", (), "one entry or more"))
        if not self.scales or not set(self.scales) <= set(SCALES):
            raise ModelError(refuse(f"{place}: scales", self.scales, f"of {', '.join(SCALES)}"))
        for term in self.terms:
            if term.kind not in KINDS:
                raise ModelError(
                    refuse(f"{place}: term {term.text}", term.kind, f"one of {', '.join(KINDS)}")
                )
        if self.joined not in JOINED or not self.terms:
            raise ModelError(refuse(f"{place}: terms", self.joined, "one or more, joined as sum or series"))
        if self.joined == "series" and {term.kind for term in self.terms} != {"mechanical", "chemical"}:
            raise ModelError(
                refuse(f"{place}: terms in series", len(self.terms), "a mechanical and a chemical one")
            )
        floors = {}
        for each in self.coefficients:
            try:
                floors[each.name] = each.si(each.low)
                for text in (each.high, *(each.typical or ())):
                    each.si(text)
            except (ValueError, KeyError, units.UnitError) as problem:
                raise ModelError(
                    refuse(f"{place}: limits of {each.name}", str(problem), f"quantities of {each.dimension}")
                ) from problem
        object.__setattr__(self, "floors", MappingProxyType(floors))
        object.__setattr__(self, "chemical", any(term.kind == "chemical" for term in self.terms))
        object.__setattr__(self, "warm", any(term.warm for term in self.terms))
        object.__setattr__(self, "together", all(term.kind == "both" for term in self.terms))

    @property
    def constant(self) -> str:
        """The coefficient that is the law's only one and multiplies pressure times speed, "" where there is none."""
        alone = self.coefficients[0]
        return alone.name if len(self.coefficients) == 1 and alone.dimension == "per_pressure" else ""

    def checked(self, coefficients: Mapping[str, float]) -> Mapping[str, float]:
        """Return ``coefficients``, with the defaults of those left out.

        Raises
        ------
        ModelError
            For one that is missing, unknown, not finite, or below what is possible.
        """
        place = f"removal law {self.name!r}"
        usual = {each.name: each.default for each in self.coefficients if each.default is not None}
        coefficients = {**usual, **coefficients}
        for each in self.coefficients:
            if each.name not in coefficients:
                raise ModelError(refuse(f"{place}: {each.name}", None, f"given [{each.unit}]"))
        for name, value in coefficients.items():
            if name not in self.floors:
                raise ModelError(refuse(place, name, f"a coefficient of {', '.join(self.floors)}"))
            if not np.isfinite(value):
                raise ModelError(refuse(f"{place}: {name}", value, "a finite number"))
            if value < self.floors[name]:
                raise ModelError(refuse(f"{place}: {name}", value, f"{self.floors[name]:g} or more"))
        return coefficients

    def values(
        self, coefficients: Coefficients, p: Array, v: Array, temperature: Array, friction: ArrayLike | None
    ) -> list[Array]:
        """Return the values of the terms, unchecked: they are asked for in every step.

        Parameters
        ----------
        coefficients
            As :meth:`checked` returns them.
        p, v
            Pressure on summits [Pa] and relative speed [m/s], arrays that broadcast, not negative.
        temperature
            Of the pad's surface [K]; read by warm terms alone.
        friction
            Coefficient of friction [1], in place of the law's own where it has one; None leaves that.

        Returns
        -------
        list[Array]
            [m/s], in order.
        """
        if self.friction and friction is not None:
            coefficients = {**coefficients, self.friction: np.asarray(friction)}
        return [
            np.asarray(term.value(coefficients, p, v, temperature), dtype=np.float64) for term in self.terms
        ]

    def rate(
        self,
        values: Sequence[Array | float],
        mechanical: Array | float,
        chemical: Array | float,
        dissolved: Array | float = 1.0,
    ) -> Array:
        """Return the rate from the values of the terms and the factors on them.

        Parameters
        ----------
        values
            Of the terms in order [m/s], arrays that broadcast.
        mechanical, chemical
            Factors, 1 at the law's reference; arrays that broadcast.
        dissolved
            Factor of oxidiser and inhibitor, on purely chemical terms alone.

        Returns
        -------
        Array
            [m/s].
        """
        on: dict[Kind, Array | float] = {
            "mechanical": mechanical,
            "chemical": chemical * dissolved,
            "both": mechanical * chemical,
        }
        parts = [on[term.kind] * value for term, value in zip(self.terms, values, strict=True)]
        if self.joined == "series":
            return slower(*parts)
        return np.asarray(sum(parts))


def slower(one: ArrayLike, other: ArrayLike) -> Array:
    """Return the rate of two steps in series, a b/(a + b): the slower one rules; 0 if both are 0.

    Parameters
    ----------
    one, other
        Their rates alone, arrays that broadcast.
    """
    a, b = np.broadcast_arrays(np.asarray(one, dtype=np.float64), np.asarray(other, dtype=np.float64))
    slow, fast = np.minimum(a, b), np.maximum(a, b)
    share = np.divide(slow, fast, out=np.zeros(slow.shape), where=fast > 0)
    return np.asarray(slow / (1.0 + share))
