"""A setup file with some values set otherwise, for this once: loaded, or checked."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING

from planish.setup.changes import change_lines, read_changes
from planish.setup.check import check
from planish.setup.load import load

if TYPE_CHECKING:
    from planish.setup.finding import Finding
    from planish.setup.models import Setup


def load_changed(path: str | os.PathLike[str], settings: Sequence[str] = ()) -> Setup:
    """Return the setup of a file with values set; the notes of its results say which.

    Parameters
    ----------
    path
        The setup file.
    settings
        Lines such as ``recipe.step.main.time=90 s`` (`planish.setup.changes.read_changes`).

    Raises
    ------
    SetupError
        For a file, a path or a value that cannot be used.
    """
    setup = load(path)
    if not settings:
        return setup
    changes = read_changes(settings)
    told = (f"set for this run: {line}" for line in change_lines(changes))
    return setup.replace(changes).with_notes(*told)


def check_changed(path: str | os.PathLike[str], settings: Sequence[str] = ()) -> list[Finding]:
    """Return what there is to say about a setup file with values set, errors first.

    Parameters
    ----------
    path
        The setup file.
    settings
        As for :func:`load_changed`.

    Raises
    ------
    SetupError
        For a line that says no change; what is wrong with the file is among the findings.
    """
    return check(path, read_changes(settings))
