"""The base of the records that planish hands out: fixed inside, and short where they are shown."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from planish.engine.fixed import fix_fields, sealed

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

LONGEST = 240  # characters that a record tells of itself


class Record:
    """Base of frozen dataclasses (``repr=False``): read-only arrays, and a text of a line or two.

    A subclass says in ``_told`` what it is, with its headline figures and their units; unless it
    does, its fields are named with their numbers, an array with its shape.
    """

    __slots__ = ()

    def __post_init__(self) -> None:
        fix_fields(cast("DataclassInstance", self))

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {shortened(self._told(), LONGEST)}>"

    def _told(self) -> str:
        record = cast("DataclassInstance", self)
        return ", ".join(
            f"{field.name} {brief(getattr(self, field.name))}"
            for field in fields(record)
            if field.compare and getattr(self, field.name) is not None
        )


class Kept(Record):
    """Base of records that a cache keeps: their arrays can never be written to again, by nobody."""

    __slots__ = ()

    def __post_init__(self) -> None:
        fix_fields(cast("DataclassInstance", self), sealed)


def brief(value: Any) -> str:
    """Return a value in a few characters: a number to four digits, an array or a collection by its size.

    Parameters
    ----------
    value
        Anything.

    Returns
    -------
    str
        On one line.
    """
    shape = getattr(value, "shape", None)
    if isinstance(shape, tuple) and shape:  # arrays and data frames
        return "x".join(str(size) for size in shape) + " values"
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, float | np.floating):
        return f"{value:.4g}"
    if isinstance(value, str):
        return shortened(value, 40)
    if isinstance(value, tuple | list) and all(isinstance(item, float | int | str) for item in value):
        return shortened("(" + ", ".join(brief(item) for item in value) + ")", 60)
    if isinstance(value, dict | tuple | list):
        return f"({len(value)})"
    if isinstance(value, int):
        return str(value)
    return type(value).__name__


def shortened(text: str, most: int) -> str:
    """Return a text on one line, cut where it is longer than it may be.

    Parameters
    ----------
    text
        Any.
    most
        Characters.

    Returns
    -------
    str
        On one line.
    """
    line = " ".join(text.split())
    return line if len(line) <= most else line[: most - 1].rstrip() + "…"


def counted(number: int, thing: str) -> str:
    """Return ``"1 step"``, ``"2 steps"``.

    Parameters
    ----------
    number
        How many.
    thing
        Of what, in the singular.

    Returns
    -------
    str
        The two together.
    """
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def figure(value: float | None, unit: str, digits: int = 4) -> str:
    """Return a number with its unit: ``"312.4 nm"``.

    Parameters
    ----------
    value
        ``None`` for what is not defined.
    unit
        Behind the number.
    digits
        That count.

    Returns
    -------
    str
        ``"none"`` for what is not defined.
    """
    if value is None or value != value:
        return "none"
    return f"{value:.{digits}g} {unit}".rstrip()


def same(one: Any, other: Any) -> bool:
    """Return whether two values are equal to the last bit: records field by field, arrays with NaN equal to NaN.

    Parameters
    ----------
    one, other
        Anything.

    Returns
    -------
    bool
        True or False.
    """
    if one is other:
        return True
    if isinstance(one, np.ndarray) or isinstance(other, np.ndarray):
        return np.array_equal(one, other, equal_nan=np.asarray(one).dtype.kind == "f")
    if isinstance(one, tuple | list) and isinstance(other, tuple | list):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(same(item, other[key]) for key, item in one.items())
    if is_dataclass(one) and type(one) is type(other):
        return all(same(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))
    return bool(one == other or (one != one and other != other))
