"""Text quantities such as ``"3 psi"`` to SI floats and back: the border that each value crosses twice.

Inside, planish computes in SI. At the edges people write psi, rpm, lbf, Å/min,
ml/min, °C. The units they usually write are looked up in a table generated from
pint (``tools/make_unit_table.py``); any other unit goes to pint itself, which is
imported only then because that costs half a second.

A *dimension* here is what a value is for ("thickness", "modulus", "rate"), not
only its physical dimension: it decides the unit in which the value is shown.
Turning speeds and frequencies are kept apart, so that "2 Hz" is never taken for
2 rad/s.
"""

from __future__ import annotations

import difflib
import math
import numbers
import re
from functools import lru_cache
from typing import Any, Literal

from planish._unit_table import TABLE, TEMPERATURES
from planish.errors import DataError, PlanishError, refuse

SOURCES: tuple[str, ...] = (
    "Unit factors: the unit registry of pint (BIPM SI brochure and NIST SP 811 definitions)",
)

# dimension: (kind in the table, unit of the trade, SI unit)
_DIMENSIONS: dict[str, tuple[str, str, str]] = {
    "length": ("length", "mm", "m"),
    "depth": ("length", "um", "m"),
    "thickness": ("length", "nm", "m"),
    "area": ("area", "cm^2", "m^2"),
    "volume": ("volume", "ml", "m^3"),
    "pressure": ("pressure", "psi", "Pa"),
    "modulus": ("pressure", "MPa", "Pa"),
    "stress": ("pressure", "MPa", "Pa"),
    "speed": ("speed", "m/s", "m/s"),
    "acceleration": ("acceleration", "m/s^2", "m/s^2"),
    "rate": ("speed", "nm/min", "m/s"),
    "wear_rate": ("speed", "um/h", "m/s"),
    "angular_speed": ("angular_speed", "rpm", "rad/s"),
    "frequency": ("frequency", "1/min", "1/s"),
    "flow": ("flow", "ml/min", "m^3/s"),
    "time": ("time", "s", "s"),
    "duration": ("time", "h", "s"),
    "force": ("force", "lbf", "N"),
    "mass": ("mass", "g", "kg"),
    "temperature": ("temperature", "degC", "K"),
    "temperature_difference": ("temperature_difference", "K", "K"),
    "per_pressure": ("per_pressure", "1/Pa", "1/Pa"),
    "per_temperature": ("per_temperature", "%/K", "1/K"),
    "stiffness_per_area": ("stiffness_per_area", "kPa/um", "Pa/m"),
    "density": ("density", "g/cm^3", "kg/m^3"),
    "viscosity": ("viscosity", "mPa*s", "Pa*s"),
    "energy_per_mol": ("energy_per_mol", "kJ/mol", "J/mol"),
    "areal_density": ("areal_density", "1/mm^2", "1/m^2"),
    "number_density": ("number_density", "1/ml", "1/m^3"),
    "heat_capacity": ("heat_capacity", "J/(kg*K)", "J/(kg*K)"),
    "conductivity": ("conductivity", "W/(m*K)", "W/(m*K)"),
    "heat_transfer": ("heat_transfer", "W/(m^2*K)", "W/(m^2*K)"),
    "force_per_length": ("force_per_length", "kN/m", "N/m"),
    "power": ("power", "W", "W"),
    "intensity": ("intensity", "W/cm^2", "W/m^2"),
    "energy": ("energy", "J", "J"),
    "angle": ("angle", "deg", "rad"),
    "ratio": ("ratio", "%", ""),
}

TRADE_UNITS: dict[str, str] = {name: trade for name, (_, trade, _) in _DIMENSIONS.items()}
SI_UNITS: dict[str, str] = {name: si for name, (_, _, si) in _DIMENSIONS.items()}

# What stands in formulas and labels beside the texts: one unit in SI, or how many of it one SI unit is.
PSI: float = TABLE["pressure"][1]["psi"]  # [Pa] of 1 psi
RPM: float = TABLE["angular_speed"][1]["rpm"]  # [rad/s] of 1 rpm
LBF: float = 4.4482216152605  # [N] of 1 lbf, exactly: 0.45359237 kg times 9.80665 m/s^2
NM_PER_MIN: float = 1.0 / TABLE["speed"][1]["nm/min"]  # [nm/min] of 1 m/s
ZERO_CELSIUS: float = TEMPERATURES["degC"][1]  # [K] of 0 °C

_NUMBER = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*", re.DOTALL)
_NOT_FINITE = re.compile(r"\s*[+-]?(nan|inf|infinity)\b", re.IGNORECASE)
_PINT_SAFE = re.compile(r"[A-Za-z][A-Za-z0-9_*/^() +\-]{0,39}|1/[A-Za-z(][A-Za-z0-9_*/^() +\-]{0,37}")
_LONG_DIGITS = re.compile(r"\d{3,}|\*\*\d{2}|\^\(?-?\d{2}")
_SPELLING = str.maketrans(
    {"µ": "u", "μ": "u", "Å": "A", "\u212b": "A", "·": "*", "⋅": "*", "²": "^2", "³": "^3", "−": "-"}
)
_PRETTY = (
    ("ANGSTROM", "Å"), ("um", "µm"), ("degC", "°C"), ("degF", "°F"), ("^2", "²"), ("^3", "³"), ("*", "·"),
)  # fmt: skip


class UnitError(PlanishError):
    """A text quantity cannot be read; ``allowed`` and ``remedy`` say what would be."""

    def __init__(self, value: object, allowed: str, remedy: str = "") -> None:
        self.value, self.allowed, self.remedy = value, allowed, remedy
        super().__init__(f"{value!r}: must be {allowed}" + (f" ({remedy})" if remedy else ""))


def dimensions() -> tuple[str, ...]:
    """Return the names of the dimensions that `to_si` knows."""
    return tuple(_DIMENSIONS)


def _lookup(dimension: str) -> tuple[str, str, str]:
    try:
        return _DIMENSIONS[dimension]
    except KeyError:
        raise UnitError(dimension, "one of the known dimensions", ", ".join(dimensions())) from None


def normalise(unit: str) -> str:
    """Return a unit in the spelling of the table.

    Parameters
    ----------
    unit
        As written.

    Returns
    -------
    str
        ``"µm"`` -> ``"um"``, ``"kg / m³"`` -> ``"kg/m^3"``.
    """
    text = unit.strip().translate(_SPELLING).replace("°", "deg").replace("**", "^")
    text = re.sub(r"\s*([/*^()])\s*", r"\1", text)
    return re.sub(r"\s+", "*", text)


@lru_cache(maxsize=4096)
def factor_offset(unit: str, dimension: str) -> tuple[float, float]:
    """Return (factor, offset) of a unit: SI = value * factor + offset.

    Parameters
    ----------
    unit
        Of the dimension.
    dimension
        One of `dimensions()`.

    Raises
    ------
    UnitError
        For an unknown dimension, and for a unit of another.
    """
    kind, trade, si_unit = _lookup(dimension)
    key = normalise(unit)
    if kind == "temperature":
        if key in TEMPERATURES:
            return TEMPERATURES[key]
    elif key in TABLE[kind][1]:
        return TABLE[kind][1][key], 0.0
    wrong = next((other for other, (_, units) in TABLE.items() if key in units and key), None)
    if key in TEMPERATURES and kind != "temperature_difference":
        wrong = "temperature"
    if wrong is not None and wrong != kind:
        raise UnitError(unit, f"a unit of {kind.replace('_', ' ')}", f"such as {trade or 'none'}")
    return _ask_pint(key, kind, si_unit, trade), 0.0


def _ask_pint(key: str, kind: str, si_unit: str, trade: str) -> float:
    """Return the factor of a unit that the table does not hold."""
    near = difflib.get_close_matches(key, TABLE.get(kind, ("", TEMPERATURES))[1], n=1, cutoff=0.5)
    remedy = f"did you mean {near[0]!r}?" if near else f"such as {trade}"
    allowed = f"a unit of {kind.replace('_', ' ')}"
    if kind in ("temperature", "ratio") or not _PINT_SAFE.fullmatch(key) or _LONG_DIGITS.search(key):
        raise UnitError(key, allowed, remedy)
    registry = _registry()
    try:
        quantity = registry.Quantity(1.0, registry.parse_units(key))
        turning = any(
            word in str(quantity.units) for word in ("radian", "revolution", "turn", "degree", "rpm")
        )
        if (kind == "angular_speed") != turning and kind in ("angular_speed", "frequency"):
            raise UnitError(key, allowed, remedy)
        factor = float(quantity.to(si_unit).magnitude)
    except UnitError:
        raise
    except Exception as error:
        raise UnitError(key, allowed, remedy) from error
    if not math.isfinite(factor) or factor <= 0.0:
        raise UnitError(key, allowed, remedy)
    return factor


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    return pint.UnitRegistry()


@lru_cache(maxsize=16384)
def _parse(text: str, dimension: str) -> float:
    kind, trade, _ = _lookup(dimension)
    example = (
        f"a number with a unit of {kind.replace('_', ' ')}" if kind != "ratio" else "a number or a share in %"
    )
    if len(text) > 120:
        raise UnitError(text[:40] + "…", example, f"such as '1 {trade}'")
    if _NOT_FINITE.match(text):
        raise UnitError(text, "a finite number", f"such as '1 {trade}'")
    match = _NUMBER.fullmatch(text)
    if match is None:
        remedy = f"such as '1 {trade}'"
        if re.match(r"\s*[+-]?\d+,\d", text):
            remedy = "write it without a comma, as 1000.5"
        raise UnitError(text, example, remedy)
    number, unit = float(match.group(1)), match.group(2)
    if unit.startswith(","):
        raise UnitError(text, example, "write it without a comma, as 1000.5")
    if not unit and kind != "ratio":
        raise UnitError(text, example, f"the unit is missing; such as '{match.group(1)} {trade}'")
    try:
        factor, offset = factor_offset(unit, dimension)
    except UnitError as error:
        raise UnitError(text, f"in {error.allowed}", error.remedy) from error
    value = number * factor + offset
    if not math.isfinite(value):
        raise UnitError(text, "a finite number", "it is too large")
    return value


def to_si(text: str, dimension: str) -> float:
    """Return the SI value of a text quantity.

    Parameters
    ----------
    text
        A number and a unit, such as ``"250 nm/min"``. For the dimension
        "ratio" a bare number in text or a percentage.
    dimension
        What the value is for; one of `dimensions()`.

    Returns
    -------
    float
        The value in ``SI_UNITS[dimension]``.

    Raises
    ------
    UnitError
        For a bare number, an unknown unit, a unit of another dimension, or a
        value that is not finite.
    """
    if not isinstance(text, str):
        kind, trade, _ = _lookup(dimension)
        name = kind.replace("_", " ")
        number = isinstance(text, int | float) and not isinstance(text, bool) and abs(text) < 1e9
        remedy = f"write it as text, such as '{text} {trade}'" if number else f"such as '1 {trade}'"
        raise UnitError(text, f"text: a number with a unit of {name}", remedy)
    return _parse(text, dimension)


def in_unit(value: float, unit: str, dimension: str) -> float:
    """Return an SI value in a unit.

    Parameters
    ----------
    value
        In SI.
    unit, dimension
        As for :func:`factor_offset`.

    Raises
    ------
    UnitError
        As :func:`factor_offset`.
    """
    factor, offset = factor_offset(unit, dimension)
    return (value - offset) / factor


def as_si(value: float | str, dimension: str, place: str) -> float:
    """Return the SI value of what a function was given: a number, which is SI already, or text with its unit.

    Parameters
    ----------
    value
        As ``60.0`` or ``"1 min"`` for a time.
    dimension
        What the value is for; one of `dimensions()`.
    place
        What the function calls it, for the refusal.

    Returns
    -------
    float
        In ``SI_UNITS[dimension]``.

    Raises
    ------
    DataError
        For anything else, and for text that `to_si` refuses.
    """
    if isinstance(value, str):
        try:
            return to_si(value, dimension)
        except UnitError as error:
            raise DataError(refuse(place, value, error.allowed, error.remedy)) from None
    number = isinstance(value, numbers.Real) and not isinstance(value, bool)
    if not number or not math.isfinite(value):
        _, trade, si_unit = _lookup(dimension)
        allowed = f"a number in {si_unit or 'plain units'}, or text with its unit"
        raise DataError(refuse(place, value, allowed, f"such as '1 {trade}'"))
    return float(value)


def as_whole(value: int, place: str, least: int, most: int) -> int:
    """Return a whole number that a function was given.

    Parameters
    ----------
    value
        What was given.
    place
        What the function calls it, for the refusal.
    least, most
        That are allowed.

    Returns
    -------
    int
        The same.

    Raises
    ------
    DataError
        For anything else, or one that is not from ``least`` to ``most``.
    """
    whole = isinstance(value, numbers.Integral) and not isinstance(value, bool)
    if not whole or not least <= value <= most:
        raise DataError(refuse(place, value, f"a whole number from {least} to {most}"))
    return int(value)


def pretty(unit: str) -> str:
    """Return a unit as it is printed.

    Parameters
    ----------
    unit
        In the table's spelling.

    Returns
    -------
    str
        ``"um"`` -> ``"µm"``, ``"kg/m^3"`` -> ``"kg/m³"``.
    """
    if unit in ("A", "A/min", "A/s"):
        return unit.replace("A", "Å", 1)
    for plain, nice in _PRETTY[1:]:
        unit = unit.replace(plain, nice)
    return unit


def unit_of(dimension: str, system: Literal["trade", "si"] = "trade") -> str:
    """Return the unit in which a dimension is shown.

    Parameters
    ----------
    dimension
        One of `dimensions()`.
    system
        The trade's units, or SI.

    Returns
    -------
    str
        In the table's spelling.

    Raises
    ------
    UnitError
        For an unknown dimension.
    """
    _, trade, si_unit = _lookup(dimension)
    return si_unit if system == "si" else trade


def show(value: float, dimension: str, system: Literal["trade", "si"] = "trade", digits: int = 4) -> str:
    """Return an SI value as text for people: ``show(20684.27, "pressure")`` -> ``"3 psi"``.

    Parameters
    ----------
    value
        In ``SI_UNITS[dimension]``.
    dimension
        One of `dimensions()`.
    system
        The trade's units, or SI.
    digits
        That count.

    Returns
    -------
    str
        Number and unit.

    Raises
    ------
    UnitError
        For an unknown dimension.
    """
    unit = unit_of(dimension, system)
    return f"{in_unit(value, unit, dimension):.{digits}g} {pretty(unit)}".strip()
