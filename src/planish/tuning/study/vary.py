"""A key of the setup that a study varies, and the values it takes: ``2..6 psi/9``, or a list."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planish import units
from planish.engine.record import Record
from planish.errors import PlanishError, SetupError, refuse
from planish.setup import paths
from planish.setup.fields import key_at

if TYPE_CHECKING:
    from planish.setup.models import Setup

Array = NDArray[np.float64]
MOST_VALUES = 100_000  # of one key
_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_RANGE = re.compile(
    rf"\s*(?P<low>{_NUMBER})\s*(?P<first>[^\d\s.].*?)?\s*\.\.\s*(?P<high>{_NUMBER})\s*(?P<unit>[^\d\s./].*?)?\s*"
    r"(?:/\s*(?P<count>\d+)\s*)?"
)
_LOOKS_LIKE = re.compile(r"\.\.\s*[+-]?[\d.]")
ALLOWED = (
    "a range with how many values, as '2..6 psi/9', or values with commas, as 'hard-microporous, soft-felt'"
)


@dataclass(frozen=True, slots=True, repr=False)
class Varied(Record):
    """One key with its values.

    Attributes
    ----------
    path
        As the setup calls it (`planish.setup.paths`).
    values
        As they would stand in the file; of a range without a count its two ends.
    ends
        Of a range: its two numbers, in ``unit``; none of a list.
    unit
        As written ("" for bare numbers and for lists).
    counted
        Whether the values are all that is asked for: a range without a count can only be drawn from.
    numbers
        Of each value, in SI; NaN where the values are no quantities.
    si_unit
        Of the numbers.
    words
        What the key is.
    """

    path: str
    values: tuple[Any, ...]
    ends: tuple[float, float] | None
    unit: str
    counted: bool
    numbers: Array
    si_unit: str
    words: str

    @property
    def numeric(self) -> bool:
        """Whether its values are quantities."""
        return bool(np.all(np.isfinite(self.numbers)))

    def at(self, number: float) -> Any:
        """Return the value that stands for a number in the range's own unit, as the file would have it."""
        return _written(number, self.unit)

    def to_si(self, number: float) -> float:
        """Return a number in the range's own unit in SI: it goes straight between the ends."""
        assert self.ends is not None
        low, high = self.ends
        return float(np.interp(number, (low, high), (self.numbers[0], self.numbers[-1])))

    def _told(self) -> str:
        return f"{self.path}, {len(self.values)} values from {self.values[0]} to {self.values[-1]}"


def varied(setup: Setup, path: str, given: object) -> Varied:
    """Return a key with the values that were asked for.

    Parameters
    ----------
    setup
        That it is a key of.
    path
        Dotted path of the key.
    given
        Text such as ``"2..6 psi/9"`` (nine values, ends among them), ``"40..70"`` (to be drawn from),
        ``"hard-microporous, soft-felt"``; or a sequence of values as they would stand in the file.

    Returns
    -------
    Varied
        With its values in SI where they are quantities.

    Raises
    ------
    SetupError
        For a path that leads nowhere, and for a text that says no values.
    """
    tree = setup.tree
    found = paths.show(paths.resolve(path, tree, grow=True), tree)
    ends, unit, counted = None, "", True
    if isinstance(given, str) and _LOOKS_LIKE.search(given):
        ends, unit, count = _range(found, given)
        counted = count is not None
        values: list[Any] = [_written(float(number), unit) for number in np.linspace(*ends, count or 2)]
    elif isinstance(given, str):
        values = _listed(found, given)
    elif isinstance(given, Sequence | np.ndarray):
        values = [item.item() if isinstance(item, np.generic) else item for item in given]
    else:
        raise SetupError(refuse(f"vary {found}", given, ALLOWED))
    if not values:
        raise SetupError(refuse(f"vary {found}", given, ALLOWED))
    if len(values) > MOST_VALUES:
        raise SetupError(refuse(f"vary {found}", f"{len(values)} values", f"at most {MOST_VALUES} values"))
    if len({repr(value) for value in values}) < len(values):
        raise SetupError(refuse(f"vary {found}", given, "values that differ"))
    numbers, si_unit, words = _in_si(setup, found, values)
    if ends is not None and not np.all(np.isfinite(numbers)):  # a key of no known unit: as written
        numbers, si_unit = np.linspace(*ends, len(values)), unit or "1"
    return Varied(found, tuple(values), ends, unit, counted, numbers, si_unit, words)


def _range(path: str, text: str) -> tuple[tuple[float, float], str, int | None]:
    found = _RANGE.fullmatch(text)
    if found is None:
        raise SetupError(refuse(f"vary {path}", text, ALLOWED))
    low, high = float(found["low"]), float(found["high"])
    unit = (found["unit"] or found["first"] or "").strip()
    if found["first"] and found["unit"] and found["first"].strip() != unit:
        raise SetupError(refuse(f"vary {path}", text, "one unit for both ends"))
    count = None if found["count"] is None else int(found["count"])
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        raise SetupError(refuse(f"vary {path}", text, "a range from a lower to a higher number"))
    if count is not None and not 2 <= count <= MOST_VALUES:
        raise SetupError(refuse(f"vary {path}", text, f"2 to {MOST_VALUES} values behind the stroke"))
    return (low, high), unit, count


def _written(number: float, unit: str) -> Any:
    """Return a number as a file would have it, to twelve digits: 0.1 + 0.2 is 0.3."""
    short = float(f"{number:.12g}")
    bare = int(short) if short.is_integer() and abs(short) < 1e15 else short
    return f"{bare!r} {unit}" if unit else bare


def _listed(path: str, text: str) -> list[Any]:
    if text.lstrip().startswith("["):
        try:
            values = tomllib.loads(f"values = {text}")["values"]
        except tomllib.TOMLDecodeError:
            raise SetupError(refuse(f"vary {path}", text, "a list as in TOML, or " + ALLOWED)) from None
        return list(values) if isinstance(values, list) else [values]
    return [_item(item.strip()) for item in text.split(",") if item.strip()]


def _item(text: str) -> Any:
    try:
        value = tomllib.loads(f"value = {text}")["value"]
    except (tomllib.TOMLDecodeError, RecursionError):
        return text
    return value if isinstance(value, str | bool | int | float) else text


def _in_si(setup: Setup, path: str, values: list[Any]) -> tuple[Array, str, str]:
    """Return the values in SI, their unit, and what the key is; NaN where they are no quantities."""
    nothing = np.full(len(values), np.nan)
    here = paths.resolve(path, setup.tree, grow=True)
    info = key_at(setup.motion, here)
    words = "" if info is None else info.description.partition(";")[0]
    dimension = "" if info is None else info.dimension
    bare = all(isinstance(value, int | float) and not isinstance(value, bool) for value in values)
    if dimension in ("", "ratio", "number") and bare:
        return np.array(values, dtype=np.float64), "1", words
    if not dimension or dimension == "number":
        return nothing, "", words
    try:
        numbers = [units.to_si(value, dimension) for value in values]
    except PlanishError:
        return nothing, "", words  # the runs say what is wrong with them
    return np.array(numbers), "1" if dimension == "ratio" else units.unit_of(dimension, "si"), words
