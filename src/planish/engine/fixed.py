"""What is shared or handed out is never changed: read-only arrays, and tables that refuse to be written to.

A cache that hands out an array which somebody then writes to gives the next caller other numbers. So
whatever is kept, and whatever a result holds, goes through here first.
"""

from __future__ import annotations

from dataclasses import fields
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Callable

    from _typeshed import DataclassInstance

S = TypeVar("S", bound=np.generic)
K = TypeVar("K")
V = TypeVar("V")
_PLAIN = frozenset({str, int, float, bool, type(None)})


def read_only(values: NDArray[S]) -> NDArray[S]:
    """Return values as they are, but read-only (a view: whoever made them can still write to them).

    Parameters
    ----------
    values
        Any array.

    Returns
    -------
    NDArray[S]
        A view of it.
    """
    seen = values.view()
    seen.flags.writeable = False
    return seen


def sealed(values: NDArray[S]) -> NDArray[S]:
    """Return values read-only for good, for a cache: what they are a view of is made read-only too.

    Parameters
    ----------
    values
        Any array.

    Returns
    -------
    NDArray[S]
        The same one.
    """
    below: object = values
    while isinstance(below, np.ndarray):
        below.flags.writeable = False
        below = below.base
    return values


def seal(*made: NDArray[Any]) -> None:
    """Make arrays that nobody else holds read-only: the quick way, for records made thousands of times a second."""
    for values in made:
        values.setflags(write=False)


class FixedDict(dict[K, V]):
    """A dict that refuses changes. It can be pickled and copied, which ``types.MappingProxyType`` cannot."""

    __slots__ = ()

    def _refuse(self, *_args: object, **_named: object) -> NoReturn:
        raise TypeError("this table is read-only: make a dict of it, and change that")

    __setitem__ = __delitem__ = __ior__ = _refuse  # type: ignore[assignment]
    clear = pop = popitem = setdefault = update = _refuse  # type: ignore[assignment]

    def __reduce__(self) -> tuple[type[FixedDict[K, V]], tuple[dict[K, V]]]:
        return type(self), (dict(self),)


def fixed(value: Any, how: Callable[[Any], Any] = read_only) -> Any:
    """Return a value with the arrays in it read-only, lists as tuples and dicts as read-only tables.

    Parameters
    ----------
    value
        Any other object is returned as it is: a record fixes its own fields when it is made.
    how
        What makes an array read-only.

    Returns
    -------
    Any
        Of the same content.
    """
    if isinstance(value, np.ndarray):
        return how(value)
    if type(value) in (tuple, list):
        if set(map(type, value)) <= _PLAIN:  # long columns of names: nothing to fix in them
            return tuple(value)
        return tuple(fixed(item, how) for item in value)
    if type(value) is dict:
        return FixedDict({key: fixed(item, how) for key, item in value.items()})
    return value


def fix_fields(record: DataclassInstance, how: Callable[[Any], Any] = read_only) -> None:
    """Replace every field of a frozen record by its fixed self (see :func:`fixed`).

    A field that does not count in comparing two records (``compare=False``) is a notebook of what was
    worked out from the others; it is left as it is.

    Parameters
    ----------
    record
        Changed in place.
    how
        What makes an array read-only.
    """
    for name in _names(type(record)):
        value = getattr(record, name)
        if type(value) in _PLAIN:
            continue
        safe = fixed(value, how)
        if safe is not value:
            object.__setattr__(record, name, safe)


@lru_cache(maxsize=512)
def _names(kind: type[DataclassInstance]) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind) if field.compare)
