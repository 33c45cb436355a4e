"""What many functions ask of their values before they count with them."""

from __future__ import annotations

import math

from planish.errors import ModelError, refuse


def above_zero(what: str, value: float) -> None:
    """Refuse a ``value`` that is not finite and above 0.

    Raises
    ------
    ModelError
        Naming ``what`` it is.
    """
    if not (math.isfinite(value) and value > 0):
        raise ModelError(refuse(what, value, "above 0"))


def zero_or_more(what: str, value: float) -> None:
    """Refuse a ``value`` that is not finite and 0 or more.

    Raises
    ------
    ModelError
        Naming ``what`` it is.
    """
    if not (math.isfinite(value) and value >= 0):
        raise ModelError(refuse(what, value, "0 or more"))
