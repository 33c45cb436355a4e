"""What a part states of how far a value of its own may be off: one standard deviation, as text beside the value."""

from __future__ import annotations

import math

from planish.errors import SetupError, refuse

ALLOWED = "a share of the value such as '20 %', or a number above 0 in the value's own unit"


def step_of(value: object, spread: str) -> float:
    """Return one standard deviation in the unit in which the value is written.

    Parameters
    ----------
    value
        A number, or text such as ``"150 nm"``.
    spread
        As a part states it: ``"20 %"`` of the value, or ``"20 nm"``; a bare number where the value is one.

    Raises
    ------
    SetupError
        For a spread that is none, or is written in another unit than the value.
    """
    number, unit = parted(value)
    try:
        size, of = parted(spread)
    except ValueError:
        size, of = math.nan, ""
    step = abs(number) * size / 100 if of == "%" and unit != "%" else size
    if not (math.isfinite(step) and size > 0 and of in ("%", unit)):
        raise SetupError(refuse("spread", spread, ALLOWED, f"the value is {value}"))
    return step


def moved(value: object, spread: str, sign: int) -> str | float:
    """Return a value moved by its spread, written as it was.

    Parameters
    ----------
    value, spread
        As for :func:`step_of`.
    sign
        1 for up, -1 for down.
    """
    number, unit = parted(value)
    there = number + sign * step_of(value, spread)
    return f"{there!r} {unit}".strip() if isinstance(value, str) else there


def factor(share: float, amount: float) -> float:
    """Return what a positive value is multiplied by when it is drawn: log-normal about it, so that it stays positive.

    Parameters
    ----------
    share
        One standard deviation over the value.
    amount
        A number drawn from a standard normal.

    Notes
    -----
    ``exp(amount sqrt(ln(1 + share^2)))``: its standard deviation over its mean is ``share``, its median 1; for a small
    share it is ``1 + amount share``.
    """
    return math.exp(amount * math.sqrt(math.log1p(share * share)))


def drawn(value: object, spread: str, amount: float) -> str | float:
    """Return a value moved by a number of spreads, written as it was.

    Parameters
    ----------
    value, spread
        As for :func:`step_of`. A spread that is a share of a positive value moves it by :func:`factor`, any other in
        equal steps.
    amount
        A number drawn from a standard normal.
    """
    number, unit = parted(value)
    step = step_of(value, spread)
    share = spread.strip().endswith("%") and unit != "%"
    there = float(number * factor(step / number, amount) if share and number > 0 else number + amount * step)
    return f"{there!r} {unit}".strip() if isinstance(value, str) else there


def parted(value: object) -> tuple[float, str]:
    """Return the number and the unit of a value; ValueError for what has none."""
    if not isinstance(value, str):
        return float(value), ""  # type: ignore[arg-type]  # a value with a spread is text or a number
    text = value.strip()
    if text.endswith("%"):
        return float(text[:-1]), "%"
    number, _, unit = text.partition(" ")
    return float(number), unit.strip()
