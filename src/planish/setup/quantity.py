"""Field types of a setup: text quantities, shares, names, with their limits and typical ranges.

Each annotation carries its dimension, its limits (what is possible; anything
else is refused) and its typical range with the source of that range (what the
trade uses; anything else is questioned), so that the validator, the check, the
JSON Schema, the commented setup and the bench all read the same.
A validated field holds the SI float.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any, ClassVar

from pydantic import AfterValidator, BaseModel, ConfigDict, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.fields import FieldInfo
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from planish import units

PRACTICE = "common practice, no source"


def refused(allowed: str, remedy: str = "", **more: Any) -> PydanticCustomError:
    """Return the error that `planish.setup.validate` turns into the one-line refusal.

    Parameters
    ----------
    allowed
        What the value must be.
    remedy
        What to do, or a typical value.
    **more
        ``at`` (index or key inside the field) and ``value`` (the entry there), where it is not the field itself.

    Returns
    -------
    PydanticCustomError
        To be raised by a validator.
    """
    return PydanticCustomError("refused", "must be {allowed}", {"allowed": allowed, "remedy": remedy, **more})


@dataclass(frozen=True, slots=True)
class Quantity:
    """A text quantity: its dimension, the limits (inclusive, as text), and what is typical.

    ``above`` is an exclusive lower limit. ``least``: what a value other than 0
    must come to at least, where 0 stands for "none"; ``zero`` says with what 0 goes. ``source`` says who calls
    the range typical; ``either_way``: it is one of sizes, and the sign only
    says which way something turns or runs. The dimension "number" is a bare
    number whose unit depends on other values.
    """

    dimension: str
    low: str | None = None
    high: str | None = None
    typical: tuple[str, str] | None = None
    above: str | None = None
    least: str | None = None
    source: str = PRACTICE
    either_way: bool = False
    zero: str = ""

    @property
    def limits(self) -> tuple[float, float]:
        """The (low, high) limits in SI, infinite where there is none."""
        low = self.low if self.low is not None else self.above
        return (
            self._number(low) if low is not None else -math.inf,
            self._number(self.high) if self.high is not None else math.inf,
        )

    @property
    def allowed(self) -> str:
        """The limits in words."""
        if self.zero and self.low is not None and self.least is not None and self.high is not None:
            low, least, high = (pretty_text(each) for each in (self.low, self.least, self.high))
            return f"from {least} to {high}, or {low} {self.zero}"
        least = f"at least {pretty_text(self.least)}" if self.least is not None else ""
        if self.low is not None and self.high is not None:
            return f"from {pretty_text(self.low)} to {pretty_text(self.high)}" + (
                least and f", {least} where it is not 0"
            )
        if self.above is not None:
            return (
                f"above {pretty_text(self.above)}"
                + (least and f", {least}")
                + (f" and up to {pretty_text(self.high)}" if self.high is not None else "")
            )
        if self.low is not None:
            return f"{pretty_text(self.low)} or more"
        if self.high is not None:
            return f"{pretty_text(self.high)} or less"
        return "a number" if self.dimension == "ratio" else f"a {self.dimension.replace('_', ' ')}"

    @property
    def usual(self) -> str:
        """The typical range in words, or nothing."""
        if self.typical is None:
            return ""
        low, high = self.typical
        return (
            f"typical {pretty_text(low)} to {pretty_text(high)}"
            if low != high
            else f"typical {pretty_text(low)}"
        )

    @property
    def typical_si(self) -> tuple[float, float] | None:
        """The typical range in SI."""
        return (
            None if self.typical is None else (self._number(self.typical[0]), self._number(self.typical[1]))
        )

    def unusual(self, value: float) -> bool:
        """Return whether an SI value lies outside the typical range; a 0 that says "none" does not."""
        low, high, none = _usual(self)
        size = abs(value) if self.either_way else value
        return not (low <= size <= high or (none and value == 0.0))

    def _number(self, text: str) -> float:
        return float(text) if self.dimension == "number" else units.to_si(text, self.dimension)

    def read(self, value: Any) -> float:
        """Return the SI value, or raise what pydantic turns into a finding."""
        if (
            self.dimension in ("ratio", "number")
            and isinstance(value, int | float)
            and not isinstance(value, bool)
        ):
            try:
                number = float(value)
            except OverflowError:
                number = math.inf
            if not math.isfinite(number):
                raise refused(f"a finite number, {self.allowed}", self.usual)
        elif self.dimension == "number":
            raise refused(f"a bare finite number in SI, {self.allowed}", self.usual)
        else:
            try:
                number = units.to_si(value, self.dimension)
            except units.UnitError as error:
                raise refused(error.allowed, error.remedy or self.usual) from None
        low, high = self.limits
        # A hair of room, so that a limit written in other units is still allowed.
        under = low - 1e-12 * abs(low) if math.isfinite(low) else low
        over = high + 1e-12 * abs(high) if math.isfinite(high) else high
        if not under <= number <= over or (self.above is not None and number <= low):
            raise refused(self.allowed, self._too_small if 0.0 < number < 1e-6 * low else self.usual)
        if low == 0.0 < number < (1.0 - 1e-9) * self._floor(high):
            raise refused(self.allowed, self._too_small)
        return number

    def si(self, value: Any) -> float:
        """Return the SI value; a UnitError says what is allowed, for values that stand outside a model."""
        try:
            return self.read(value)
        except PydanticCustomError as error:
            context = error.context or {}
            raise units.UnitError(str(value)[:60], context["allowed"], context["remedy"]) from None

    @property
    def _too_small(self) -> str:
        return "this is too near 0 to mean anything" + (self.usual and f"; {self.usual}")

    def _floor(self, high: float) -> float:
        """Return the SI value below which a number that is not 0 means nothing."""
        if self.least is not None:
            return self._number(self.least)
        if self.dimension == "number":
            return 0.0
        usual = self._number(self.typical[0]) if self.typical is not None else 0.0
        if usual > 0.0:
            return 1e-6 * usual
        return 1e-15 * high if math.isfinite(high) else 0.0

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        words = [self.allowed, self.usual and f"{self.usual} ({self.source})"]
        out: dict[str, Any] = {"type": "string"}
        if self.dimension == "ratio":
            out = {"anyOf": [{"type": "number"}, {"type": "string", "pattern": "%\\s*$"}]}
        else:
            words.insert(
                0, f"number with a unit, as in '{pretty_text('1 ' + units.TRADE_UNITS[self.dimension])}'"
            )
            out["pattern"] = r"^\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*\S+"
        out["$comment"] = "; ".join(word for word in words if word)  # schema.py joins it to the description
        return out


@lru_cache(maxsize=512)
def _usual(what: Quantity) -> tuple[float, float, bool]:
    """Return the typical range in SI with a hair of room, and whether a 0 says "none"."""
    usual = what.typical_si
    if usual is None:
        return -math.inf, math.inf, True
    room = 1e-9 * max(abs(usual[0]), abs(usual[1]))
    return usual[0] - room, usual[1] + room, what.low is not None and what.limits[0] <= 0.0


class Unsaid:
    """Marks a key that parts leave out: forms show it with the model's own default, which says "off" or is usual."""


MOVES_NOTHING = "descriptive: moves no answer"


class Descriptive:
    """Marks a key that moves no answer: it names or describes. Forms, checks and the docs say so."""

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        out: dict[str, Any] = dict(handler(schema))
        out["$comment"] = "; ".join(filter(None, (out.get("$comment"), MOVES_NOTHING)))
        return out


def pretty_text(text: str) -> str:
    """Return a text quantity with its unit as it is printed: ``"20 um"`` -> ``"20 µm"``."""
    number, _, unit = text.partition(" ")
    return f"{number} {units.pretty(unit)}".strip()


def ratio(
    low: str = "0", high: str = "1", typical: tuple[str, str] | None = None, least: str | None = None
) -> Quantity:
    """Return the annotation of a share: a bare number, or text such as ``"35 %"``.

    Parameters
    ----------
    low, high
        What is possible, inclusive.
    typical
        What is usual; None where no one can say.
    least
        What a value other than 0 must come to at least.

    Returns
    -------
    Quantity
        Of dimension "ratio".
    """
    return Quantity("ratio", low, high, typical, least=least)


def _name(text: str) -> str:
    if not text.strip() or len(text) > 80 or any(ord(c) < 32 for c in text):
        raise refused("a name of 1 to 80 characters on one line")
    return text.strip()


Name = Annotated[str, AfterValidator(_name)]


class Section(BaseModel):
    """Base of every table of a setup: unknown keys refused, values fixed once read."""

    # Validators are built when first used: only the whole setup's is needed, and it holds those of its sections.
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, defer_build=True)

    gone: ClassVar[dict[str, str]] = {}
    """Keys that earlier versions knew, each with what to say in its place."""

    @classmethod
    def known(cls) -> dict[str, FieldInfo]:
        """Return the fields by key; a section some of whose keys come from records adds those."""
        return cls.model_fields
