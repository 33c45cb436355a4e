"""Lengths given as options, kept to what a die can have: beyond it the numbers overflow or fill the memory."""

from __future__ import annotations

from planish.errors import DataError, PlanishError, refuse

# option: dimension, least and most [m], as people write them, remedy
_BOUNDS = {
    "--cell": ("length", 1e-10, 0.1, "0.1 nm to 100 mm", "50 um to 200 um suits most dies"),
    "--planarization-length": ("length", 1e-6, 1.0, "1 um to 1 m", "some mm on a stiff pad"),
    "--step-height": ("thickness", 1e-10, 1e-3, "0.1 nm to 1 mm", "some 100 nm to 1 um"),
}


def option_length(option: str, text: str) -> float:
    """Return the length [m] that ``option`` was given as text.

    Raises
    ------
    DataError
        Naming the option, where the text is no length or out of its bounds.
    """
    from planish.units import to_si

    dimension, low, high, allowed, remedy = _BOUNDS[option]
    try:
        value = to_si(text, dimension)
    except PlanishError as error:
        raise DataError(f"{option} = {error}") from None
    if not low <= value <= high:
        raise DataError(refuse(option, text, allowed, remedy))
    return value
