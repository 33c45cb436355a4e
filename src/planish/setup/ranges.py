"""Ranges as people write them: ``1..6 psi``, one unit for both ends."""

from __future__ import annotations

import re

_END = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*)")


def range_ends(text: str) -> tuple[str, str] | None:
    """Return the two ends of a range as text, the unit of the second with the first where that has none.

    Parameters
    ----------
    text
        Such as ``"1..6 psi"``, ``"10 s..2 min"`` or ``"..90 s"``.

    Returns
    -------
    tuple[str, str] | None
        An empty text for an end that is not said; None for what is no range, or says neither end.
    """
    low, dots, high = (piece.strip() for piece in text.partition(".."))
    if not dots or not (low or high):
        return None
    first, second = _END.fullmatch(low), _END.fullmatch(high)
    if first and second and second[2] and not first[2]:
        low = f"{low} {second[2]}"
    return low, high
