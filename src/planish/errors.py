"""The errors a user can meet. Each says what is wrong, where, and what to do.

The command line turns any of these into one line on standard error and exit
code 2; everything else that escapes is a defect of planish.
"""

from __future__ import annotations

# A refusal stays readable whatever it quotes; its end, where the remedy stands, is kept.
_LONGEST = 2000
_LONGEST_VALUE = 200


class PlanishError(Exception):
    """Base of every error caused by what was given to planish.

    Parameters
    ----------
    message
        What is wrong and what to do, in one line. By custom it reads
        ``place: value: must be ... (remedy)``.
    """

    def __init__(self, message: str) -> None:
        super().__init__(without_middle(" ".join(str(message).split()), _LONGEST))


class SetupError(PlanishError):
    """A setup file or one of its values cannot be used."""


class DataError(PlanishError):
    """A measurement file (sites, traces, layout) cannot be used."""


class ModelError(PlanishError):
    """The physics has no answer for the values given (outside its validity)."""


class FitError(PlanishError):
    """The data given do not determine what was to be fitted."""


class PluginError(PlanishError):
    """A law, process, part or motion that another package or session adds cannot be used."""


def refuse(place: str, value: object, allowed: str, remedy: str = "") -> str:
    """Return the one-line wording that all refusals share.

    Parameters
    ----------
    place
        What is refused, and where it stands.
    value
        What it is.
    allowed
        What it must be.
    remedy
        What to do, or a typical value.

    Returns
    -------
    str
        ``refuse("setup.toml: head.ring.gap", "-0.2 mm", "0 mm or more", "typical 0.2-1 mm")`` gives
        ``setup.toml: head.ring.gap = '-0.2 mm': must be 0 mm or more (typical 0.2-1 mm)``.
    """
    tail = f" ({remedy})" if remedy else ""
    return f"{place} = {without_middle(repr(value), _LONGEST_VALUE)}: must be {allowed}{tail}"


def without_middle(text: str, most: int) -> str:
    """Return a text with its middle left out where it is longer than it may be.

    Parameters
    ----------
    text
        Any.
    most
        Characters.

    Returns
    -------
    str
        At most about so long.
    """
    if len(text) <= most:
        return text
    head = most * 2 // 3
    return f"{text[:head]} … {text[len(text) - (most - head - 3) :]}"
