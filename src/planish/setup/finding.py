"""What a check of a setup finds, and the wording all refusals share."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from planish import units
from planish.errors import refuse

HAIR = 1e-9  # [m] lengths closer than this are the same
Level = Literal["error", "warning", "unlikely", "note"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding: errors stop a setup from being used, warnings, unlikely values and notes do not.

    ``place`` is the dotted path inside the setup, ``message`` the whole line.
    """

    level: Level
    place: str
    message: str


def wrong(place: str, value: Any, allowed: str, remedy: str = "") -> Finding:
    """Return an error in the wording `place = value: must be allowed (remedy)`.

    Parameters
    ----------
    place
        Path of the key.
    value
        As written.
    allowed
        What it must be.
    remedy
        What to do, or a typical value.

    Returns
    -------
    Finding
        At level "error".
    """
    shown = value if isinstance(value, float | bool) else short(value)
    return Finding("error", place, refuse(place, shown, allowed, remedy))


def missing(place: str, allowed: str, remedy: str = "") -> Finding:
    """Return an error for a key that has to be given.

    Parameters
    ----------
    place
        Path of the key.
    allowed
        What it must be.
    remedy
        What to do, or a typical value.

    Returns
    -------
    Finding
        At level "error".
    """
    return Finding(
        "error", place, f"{place}: not given: must be {allowed}" + (f" ({remedy})" if remedy else "")
    )


def mm(value: float) -> str:
    """Return a length in mm as text."""
    return units.show(value, "length", digits=6)


def nearest(word: str, known: Any) -> str:
    """Return what a word may have been meant for.

    Parameters
    ----------
    word
        As written.
    known
        The words there are.

    Returns
    -------
    str
        ``did you mean 'x'?``, or a list of what is known where nothing is near.
    """
    options = [str(k) for k in known]
    close = difflib.get_close_matches(str(word), options, n=1, cutoff=0.55)
    return f"did you mean {close[0]!r}?" if close else "known: " + listed(options)


def listed(options: Sequence[str], most: int = 16) -> str:
    """Return words in a row; of many the first, and how many there are.

    Parameters
    ----------
    options
        The words.
    most
        That are named.

    Returns
    -------
    str
        With commas between.
    """
    more = len(options) - most
    return ", ".join(options[:most]) + (f" and {more} more" if more > 0 else "")


def short(value: Any, limit: int = 60) -> Any:
    """Return a value that is safe to put into one line: long ones are cut.

    Parameters
    ----------
    value
        Any.
    limit
        Characters at most.

    Returns
    -------
    Any
        Text where text was given; else something whose ``repr`` is that short.
    """
    text = value if isinstance(value, str) else repr(value)
    text = text if len(text) <= limit else text[: limit - 1] + "…"
    return text if isinstance(value, str) else _Plain(text)


class _Plain(str):
    """Text whose repr is itself, so that lists and tables are not quoted twice."""

    __slots__ = ()

    def __repr__(self) -> str:
        return str(self)
