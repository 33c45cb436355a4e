"""The errors a user can meet. Each says what is wrong, where, and what to do.

The command line turns any of these into one line on standard error and exit
code 2; everything else that escapes is a defect of planish.
"""

from __future__ import annotations


class PlanishError(Exception):
    """Base of every error caused by what was given to planish.

    Parameters
    ----------
    message:
        What is wrong and what to do, in one line. By custom it reads
        ``place: value: must be ... (remedy)``.
    """

    def __init__(self, message: str) -> None:
        super().__init__(" ".join(str(message).split()))


class SetupError(PlanishError):
    """A setup file or one of its values cannot be used."""


class DataError(PlanishError):
    """A measurement file (sites, traces, layout) cannot be used."""


class ModelError(PlanishError):
    """The physics has no answer for the values given (outside its validity)."""


class FitError(PlanishError):
    """The data given do not determine what was to be fitted."""


def refuse(place: str, value: object, allowed: str, remedy: str = "") -> str:
    """Return the one-line wording that all refusals share.

    ``refuse("setup.toml: head.ring.gap", "-0.2 mm", "0 mm or more", "typical 0.2-1 mm")``
    gives ``setup.toml: head.ring.gap = '-0.2 mm': must be 0 mm or more (typical 0.2-1 mm)``.
    """
    tail = f" ({remedy})" if remedy else ""
    return f"{place} = {value!r}: must be {allowed}{tail}"
