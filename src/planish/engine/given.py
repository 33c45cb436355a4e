"""What a function was given, checked for its kind: the refusal names the argument as the function calls it."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, TypeVar

from planish.errors import DataError, refuse

Kind = TypeVar("Kind")


def as_path(value: Any, place: str) -> Path:
    """Return the path that was given.

    Parameters
    ----------
    value
        Text or a path.
    place
        What the function calls it.

    Returns
    -------
    Path
        Whether or not anything is there.

    Raises
    ------
    DataError
        For anything else, and for text that cannot be the name of a file.
    """
    if not isinstance(value, str | os.PathLike) or "\0" in os.fspath(value):
        if isinstance(value, str):
            raise DataError(refuse(place, value, "the path of a file"))
        raise DataError(f"{place}: a {type(value).__name__} was given: must be the path of a file")
    return Path(value)


def of_kind(value: Any, kind: type[Kind], place: str, allowed: str) -> Kind:
    """Return what was given.

    Parameters
    ----------
    value, kind
        It, and what it must be.
    place
        What the function calls it.
    allowed
        What it must be, in words.

    Returns
    -------
    Kind
        The same.

    Raises
    ------
    DataError
        For anything else.
    """
    if isinstance(value, kind) and not (isinstance(value, bool) and kind is not bool):
        return value
    raise DataError(f"{place}: a {type(value).__name__} was given: must be {allowed}")
