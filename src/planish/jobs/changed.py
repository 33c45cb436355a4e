"""A setup file with some values set otherwise, for this once: loaded, or checked."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING

from planish.errors import SetupError, refuse
from planish.setup.changes import change_lines, read_changes
from planish.setup.check import check
from planish.setup.load import load
from planish.setup.paths import PATH

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


def read_ranges(lines: Sequence[str], example: str, *, named: str = "--bound") -> dict[str, str]:
    """Return ranges by what they bound, out of lines such as ``zone_pressure=1..6 psi``.

    Parameters
    ----------
    lines
        As the user wrote them.
    example
        Such a line, for refusals.
    named
        What the door calls its field or option.

    Raises
    ------
    SetupError
        For a line without ``=``, and for one thing bound twice.
    """
    found: dict[str, str] = {}
    for line in lines:
        read = PATH.match(line)  # a name in quotes may hold the sign
        if read is None:
            raise SetupError(refuse(named, line, "what=low..high", f"as {named} '{example}'"))
        if read[1] in found:
            raise SetupError(f"{named} {read[1]}: given twice: must be given once")
        found[read[1]] = line[read.end() :].strip()
    return found
