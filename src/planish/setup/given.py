"""What a prediction takes for a setup: a loaded one, its SI records, or the path of its file."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any, TypeAlias, Union

from planish.errors import SetupError
from planish.results.asked import Asked
from planish.setup.si import Rig

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planish.setup.models import Setup

SetupLike: TypeAlias = Union["Setup", Rig, str, "os.PathLike[str]"]
ALLOWED = "a setup (planish.load gives one), its SI records (setup.rig) or the path of a setup file"


def as_rig(setup: SetupLike) -> Rig:
    """Return the SI records of what was given for a setup.

    Raises
    ------
    SetupError
        For anything else, and for a file that cannot be used.
    """
    if isinstance(setup, Rig):
        return setup
    return as_setup(setup).rig


def as_described(setup: SetupLike) -> Setup | Rig:
    """Return SI records as they are, and for anything else the setup, read from its file where a path was given.

    Raises
    ------
    SetupError
        As :func:`as_rig`.
    """
    return setup if isinstance(setup, Rig) else as_setup(setup)


def asked_of(
    given: Sequence[Setup | Rig],
    *,
    seed: int | None = None,
    options: dict[str, object] | None = None,
    missing: str = "",
) -> Asked:
    """Return the call with these setups, as its answer keeps it (see :class:`~planish.results.asked.Asked`).

    Parameters
    ----------
    given
        The setups; those in SI alone hold no text to keep.
    seed
        Of its random numbers.
    options
        Its other arguments, by name.
    missing
        Why it cannot be made again, where it cannot.

    Returns
    -------
    Asked
        With the setups that can be kept.
    """
    if any(isinstance(one, Rig) for one in given):
        missing = "it came from SI records, which hold no setup text: predict from the setup itself"
    setups = tuple(one for one in given if not isinstance(one, Rig))
    return Asked(setups, seed, options or {}, missing)


def as_setup(setup: Any) -> Setup:
    """Return the setup that was given, read from its file where a path was."""
    from planish.setup.models import Setup

    if isinstance(setup, Setup):
        return setup
    if isinstance(setup, str | os.PathLike):
        from planish.setup.load import load

        return load(setup)
    raise SetupError(f"setup: a {type(setup).__name__} was given: must be {ALLOWED}")
