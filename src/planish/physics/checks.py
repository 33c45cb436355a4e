"""What many functions ask of their values before they count with them."""

from __future__ import annotations

import math

from planish.errors import ModelError, refuse


def above_zero(what: str, value: float, remedy: str = "") -> None:
    """Refuse a ``value`` that is not finite and above 0.

    Parameters
    ----------
    what
        The value's name, as a person would say it, with its unit.
    value
        The value.
    remedy
        What to do, or a typical value.

    Raises
    ------
    ModelError
        Naming ``what`` it is.
    """
    if not (math.isfinite(value) and value > 0):
        raise ModelError(refuse(what, value, "above 0", remedy))


def zero_or_more(what: str, value: float, remedy: str = "") -> None:
    """Refuse a ``value`` that is not finite and 0 or more.

    Parameters
    ----------
    what
        The value's name, as a person would say it, with its unit.
    value
        The value.
    remedy
        What to do, or a typical value.

    Raises
    ------
    ModelError
        Naming ``what`` it is.
    """
    if not (math.isfinite(value) and value >= 0):
        raise ModelError(refuse(what, value, "0 or more", remedy))
