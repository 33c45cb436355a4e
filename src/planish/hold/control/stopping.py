"""Stop the control of a step at once: one line in its journal, with nothing else read, waited for or computed."""

from __future__ import annotations

import os
from pathlib import Path

from planish.errors import DataError, refuse
from planish.hold.control.journal import Entry, JournalFile

JOURNAL = "journal.jsonl"
STOPPED = "switched off: no move is made; the settings in force stay"
NOBODY = "not said"


def stop_control(folder: str | os.PathLike[str], *, when: str, by: str = NOBODY, why: str = "") -> str:
    """Switch the control of a step off, whatever state its plan and journal are in.

    Parameters
    ----------
    folder
        Of the controlled step.
    when, by, why
        As text: the time, who says so, and for what reason.

    Returns
    -------
    str
        What was done, in words.

    Raises
    ------
    DataError
        Where no step is controlled, and where the folder cannot be written.
    """
    path = Path(folder) / JOURNAL
    if not path.is_file():
        raise DataError(f"{path}: is not there: no step is controlled in {folder} (name its folder)")
    JournalFile(path).add(off_entry(when, by, why))
    return STOPPED


def off_entry(when: str, by: str, why: str) -> Entry:
    """Return the event of switching off.

    Parameters
    ----------
    when
        The time, as text.
    by
        Who says so.
    why
        For what reason; kept.

    Returns
    -------
    Entry
        For a journal.
    """
    return Entry("off", one_line("when", when), one_line("by", by), one_line("why", why, empty=True), {})


def one_line(name: str, value: str, *, empty: bool = False) -> str:
    """Return a short text of one line, or refuse it.

    Parameters
    ----------
    name
        What it is called.
    value
        As given.
    empty
        Whether there may be none.

    Returns
    -------
    str
        Without blanks around it.

    Raises
    ------
    DataError
        For anything else.
    """
    if (
        not isinstance(value, str)
        or len(value) > 200
        or not value.isprintable()
        or not (value.strip() or empty)
    ):
        raise DataError(refuse(name, value, f"text of one line, {'0' if empty else '1'} to 200 characters"))
    return value.strip()
