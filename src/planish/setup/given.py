"""What a prediction takes for a setup: a loaded one, its SI records, or the path of its file."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any, TypeAlias, Union

from planish.errors import SetupError
from planish.setup.si import Bench

if TYPE_CHECKING:
    from planish.setup.models import Setup

SetupLike: TypeAlias = Union["Setup", Bench, str, "os.PathLike[str]"]
ALLOWED = "a setup (planish.load gives one), its SI records (setup.bench) or the path of a setup file"


def as_bench(setup: SetupLike) -> Bench:
    """Return the SI records of what was given for a setup.

    Raises
    ------
    SetupError
        For anything else, and for a file that cannot be used.
    """
    if isinstance(setup, Bench):
        return setup
    return as_setup(setup).bench


def as_setup(setup: Any) -> Setup:
    """Return the setup that was given, read from its file where a path was."""
    from planish.setup.models import Setup

    if isinstance(setup, Setup):
        return setup
    if isinstance(setup, str | os.PathLike):
        from planish.setup.load import load

        return load(setup)
    raise SetupError(f"setup: a {type(setup).__name__} was given: must be {ALLOWED}")
