"""The numbers of a setup that a fit may move: where each stands, how far it may go, what is known of it before.

A number is fitted in a coordinate of its own: its natural logarithm where it is positive and its usual range wide, else
the number itself, in SI. What a part states of its spread is known of it before the data (log-normal where the
coordinate is a logarithm); the search goes a little beyond the usual range of its key, and never beyond what is
allowed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from planish import units
from planish.errors import FitError, PlanishError, SetupError, refuse
from planish.physics.removal.laws import LAWS
from planish.setup import paths, spread
from planish.setup.fields import key_at, keys
from planish.setup.finding import nearest
from planish.setup.ranges import range_ends
from planish.setup.removal import REFERENCE_CONTENTS, coefficients_of

if TYPE_CHECKING:
    from planish.setup.models import Setup
    from planish.setup.quantity import Quantity

#: Most over least of the usual range above which a positive number is fitted by its logarithm.
WIDE = 20.0
#: Where nothing is known before: a number counts as told if the data tell its logarithm to this, or it to a quarter of
#: its usual range.
LOOSE_LOG, LOOSE_SHARE = math.log(2.0), 0.25
_BEYOND_LOG, _BEYOND = math.log(10.0), 0.5  # the search goes this far beyond the usual range
_STEP = 0.01  # of a difference: of the loose scale at most, and of what is known before


@dataclass(frozen=True, slots=True)
class Parameter:
    """One number of the setup that is fitted.

    Attributes
    ----------
    path
        Dotted, as the setup calls it.
    words
        What the key is.
    dimension
        As of its key; "ratio" and "number" have no unit.
    unit
        In which it is written, "" for none.
    start
        As the setup has it [SI].
    low, high
        Within which it is searched [SI].
    log
        Whether its coordinate is its logarithm.
    known
        Standard deviation of the coordinate that a part states; None where nothing is stated.
    loose
        That of a number of which hardly anything is known.
    source
        Who states the spread.
    beside
        Changes that must go with a new value.
    """

    path: str
    words: str
    dimension: str
    unit: str
    start: float
    low: float
    high: float
    log: bool
    known: float | None
    loose: float
    source: str
    beside: Mapping[str, object]

    @property
    def scale(self) -> float:
        """Of the coordinate: what is known before the data, or the loose scale."""
        return self.loose if self.known is None else self.known

    @property
    def step(self) -> float:
        """Of the coordinate, for differences."""
        return _STEP * min(self.loose, 5.0 * self.scale)

    def coordinate(self, value: float) -> float:
        """Return the coordinate of an SI value."""
        return math.log(value) if self.log else value

    def value(self, coordinate: float) -> float:
        """Return the SI value of a coordinate."""
        return math.exp(coordinate) if self.log else coordinate

    def bounds(self) -> tuple[float, float]:
        """Return the least and the largest coordinate."""
        return self.coordinate(self.low), self.coordinate(self.high)

    def shown(self, value: float) -> float:
        """Return an SI value in the unit in which it is written."""
        if not self.unit:
            return value
        return units.in_unit(value, self.unit, self.dimension)

    def text(self, value: float, digits: int = 17) -> str | float:
        """Return an SI value as a setup would have it.

        Parameters
        ----------
        value
            In SI.
        digits
            That count.
        """
        number = float(f"{self.shown(value):.{digits}g}")
        return f"{number!r} {self.unit}" if self.unit else number

    def told(self, value: float, digits: int = 4) -> str:
        """Return an SI value as a person reads it.

        Parameters
        ----------
        value
            In SI.
        digits
            That count.
        """
        return f"{self.shown(value):.{digits}g} {units.pretty(self.unit)}".strip()

    def changes(self, value: float) -> dict[str, object]:
        """Return the changes that give the setup an SI value of this number."""
        return {**self.beside, self.path: self.text(value)}


def parameters(
    setup: Setup,
    free: Sequence[str],
    bounds: Mapping[str, str] | None = None,
    *,
    told: str = "free",
) -> tuple[Parameter, ...]:
    """Return the numbers of a setup that a fit may move.

    Parameters
    ----------
    setup
        As loaded.
    free
        Their dotted paths.
    bounds
        By path, text such as ``"100..400 nm/min"`` within which one is searched.
    told
        What the list is called in refusals.

    Raises
    ------
    SetupError
        For a path that leads nowhere, is no number, or that the setup does not state.
    FitError
        For no path at all, one given twice, and bounds that hold no value.
    """
    if isinstance(free, str) or not isinstance(free, Sequence) or not free:
        raise FitError(
            refuse(
                told, free, "one or more dotted paths of numbers of the setup", "such as removal.oxide.rate"
            )
        )
    found: dict[str, Parameter] = {}
    for path in free:
        one = _parameter(setup, path, told)
        if one.path in found:
            raise FitError(f"{told} {one.path}: given twice: must be given once")
        found[one.path] = one
    for path, text in dict(bounds or {}).items():
        place = paths.show(paths.resolve(path, setup.tree, grow=True), setup.tree)
        if place not in found:
            raise FitError(f"bounds of {path}: it is not free: must be one of {', '.join(found)}")
        found[place] = _within(found[place], text)
    return tuple(found.values())


def _parameter(setup: Setup, path: object, told: str) -> Parameter:
    if not isinstance(path, str):
        raise FitError(refuse(told, path, "a dotted path as text, such as removal.oxide.rate"))
    here = paths.resolve(path, setup.tree, grow=True)
    place = paths.show(here, setup.tree)
    if len(here) == 4 and here[0] == "removal" and here[2] == "coefficients":
        return _coefficient(setup, str(here[1]), str(here[3]), place)
    info = key_at(setup.motion, here)
    if info is None:
        known = [one.path for one in keys(setup.motion) if one.dimension]
        table = [one for one in known if one.startswith(f"{place}.")]
        if table:
            inside = ", ".join(one.removeprefix(f"{place}.") for one in table[:6])
            raise SetupError(f"{told} {path}: is a table: must be one number in it (such as {inside})")
        raise SetupError(
            f"{told} {path}: no such key: must be a number of the setup ({nearest(place, known)})"
        )
    if not info.dimension:
        what = "true or false" if info.switch else "text"
        raise SetupError(
            f"{told} {path}: is {what}: must be a number with a range, such as removal.oxide.rate"
        )
    try:
        value = setup.si(place)
    except SetupError:
        value = None
    if value is None:
        raise SetupError(
            f"{told} {path}: the setup does not state it, so that there is nothing to begin with: "
            f"{_instead(setup, place)}"
        )
    if not isinstance(value, int | float):
        raise SetupError(f"{told} {path}: is a list: must be one number of it (such as {place}.1)")
    return _made(
        setup,
        place,
        info.description,
        info.dimension,
        float(value),
        (-math.inf if info.low is None else info.low, math.inf if info.high is None else info.high),
        info.typical,
    )


def _instead(setup: Setup, place: str) -> str:
    """Return what to do about a key that the setup does not state."""
    table, _, key = place.rpartition(".")
    if key in ("shore_d", "shore_a", "modulus", "polymer_modulus", "polymer_shore_d"):
        held = setup.get(table)
        said = next(
            (one for one in held if one.startswith(("shore", "modulus", "polymer")) and "spread" not in one),
            "",
        )
        if said:
            return f"free {table}.{said} in its place, as which the setup states the stiffness"
    if key == "rate":
        return f"free a coefficient of its law in its place ({table}.coefficients)"
    return "give it a value first"


def _coefficient(setup: Setup, material: str, name: str, place: str) -> Parameter:
    """Return a coefficient of a removal law."""
    table = setup.model.removal.get(material)
    if table is None:
        raise SetupError(
            f"{place}: no removal law of {material!r} ({nearest(material, setup.model.removal)})"
        )
    law = LAWS.get(table.law)
    known = coefficients_of(law)
    if name not in known:
        raise SetupError(f"{place}: unknown key for the law {law.name!r} ({nearest(name, known)})")
    record = next(one for one in law.coefficients if one.name == name)
    if name in table.coefficients:
        value = known[name].si(table.coefficients[name])
    elif record.default is not None:
        value = record.default
    else:
        rate = paths.join(paths.join("removal", material), "rate")
        raise SetupError(f"{place}: the setup states the rate of {material} in its place: free {rate}")
    quantity: Quantity = known[name]
    return _made(
        setup, place, record.meaning, quantity.dimension, value, quantity.limits, quantity.typical_si
    )


def _made(
    setup: Setup,
    place: str,
    words: str,
    dimension: str,
    value: float,
    allowed: tuple[float, float],
    usual: tuple[float, float] | None,
) -> Parameter:
    unit = _unit(setup, place, dimension)
    if usual is not None and usual[0] == usual[1]:
        usual = None
    positive = value > 0 and allowed[0] >= 0
    log = positive and (usual is None or (usual[0] > 0 and usual[1] / usual[0] > WIDE))
    if log:
        low, high = usual or (value / 100.0, value * 100.0)
        low, high = low * math.exp(-_BEYOND_LOG), high * math.exp(_BEYOND_LOG)
        low, high, loose = min(low, value / 2), max(high, value * 2), LOOSE_LOG
    else:
        width = usual[1] - usual[0] if usual is not None else 4.0 * (abs(value) or 1.0)
        low, high = usual or (value - width / 2, value + width / 2)
        low, high = min(low - _BEYOND * width, value), max(high + _BEYOND * width, value)
        loose = LOOSE_SHARE * width
    low, high = max(low, allowed[0]), min(high, allowed[1])
    known, source = _known(setup, place, value, unit, dimension, log)
    return Parameter(
        place, words.partition(";")[0], dimension, unit, value, low, high, log, known, loose, source,
        _beside(setup, place),
    )  # fmt: skip


def _unit(setup: Setup, place: str, dimension: str) -> str:
    """Return the unit in which the setup writes a number, else that of the trade."""
    if dimension in ("ratio", "number"):
        return ""
    written = setup.origins[place].value if place in setup.origins else None
    try:
        return spread.parted(written)[1] if isinstance(written, str) else units.TRADE_UNITS[dimension]
    except ValueError:
        return units.TRADE_UNITS[dimension]


def _known(
    setup: Setup, place: str, value: float, unit: str, dimension: str, log: bool
) -> tuple[float | None, str]:
    """Return the standard deviation of the coordinate that is stated, and who states it."""
    size, source = 0.0, ""
    origin = setup.origins.get(place)
    if origin is not None and origin.spread:
        number, _ = spread.parted(origin.value)
        step = spread.step_of(origin.value, origin.spread)
        size, source = (step / abs(number) if number else 0.0), origin.source
        if not number:
            return (None, "") if log else (_in_si(step, origin.value, dimension), source)
    here = place.rpartition(".")[0]
    material = next((m for m in setup.model.removal if paths.join("removal", m) == here), None)
    if material is not None and place.endswith(".rate"):
        own = setup.model.removal[material].spread
        if own > size:
            size, source = own, f"{here}.spread"
    if not size > 0:
        return None, ""
    if log:
        return math.sqrt(math.log1p(size * size)), source
    step = size * abs(value)
    if origin is not None and unit and dimension == "temperature":
        step = _in_si(spread.step_of(origin.value, origin.spread), origin.value, dimension)
    return step, source


def _in_si(step: float, written: object, dimension: str) -> float:
    """Return a difference, told in the unit of a written value, in SI."""
    unit = spread.parted(written)[1]
    if not unit:
        return step
    return step * units.factor_offset(unit, dimension)[0]


def _beside(setup: Setup, place: str) -> dict[str, object]:
    """Return what must be written beside a new value, or the setup would take it for unsaid.

    A part whose table the setup leaves out must be named; a part's rate was measured with the part's slurry, and stays
    relative to it.
    """
    section = place.split(".", 1)[0]
    if section != "removal":
        part = setup.parts.get(section, "")
        return {f"{section}.part": part} if part and section not in setup.document else {}
    beside: dict[str, object] = {}
    for material in setup.model.removal:
        here = paths.join("removal", material)
        if place.startswith(f"{here}."):
            for key in REFERENCE_CONTENTS:
                origin = setup.origins.get(f"{here}.reference.{key}")
                if origin is not None and origin.origin != "setup":
                    beside[f"{here}.reference.{key}"] = origin.value
    return beside


def _within(one: Parameter, text: object) -> Parameter:
    """Return a parameter that is searched between bounds told as text."""
    allowed = f"a range such as '{one.text(one.low, 3)}'.. in one unit, as '100..400 nm/min'"
    ends = range_ends(text) if isinstance(text, str) else None
    if ends is None or not all(ends):
        raise FitError(refuse(f"bounds of {one.path}", text, allowed))
    try:
        low, high = (_read(one, piece) for piece in ends)
    except (ValueError, PlanishError) as error:
        raise FitError(refuse(f"bounds of {one.path}", text, "two numbers in one unit", str(error))) from None
    if not low < high:
        raise FitError(refuse(f"bounds of {one.path}", text, "from a lower to a higher number"))
    kept = max(low, one.low), min(high, one.high)
    if not kept[0] < kept[1]:
        raise FitError(
            refuse(
                f"bounds of {one.path}",
                text,
                f"within {one.told(one.low)} to {one.told(one.high)}, where the model is searched at all",
            )
        )
    return replace(one, low=kept[0], high=kept[1])


def _read(one: Parameter, text: str) -> float:
    value = units.to_si(text, one.dimension) if one.unit else float(text)
    if not math.isfinite(value):
        raise ValueError("not finite")
    return value
