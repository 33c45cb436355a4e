"""What a qualification needs beside its answer: a checklist to fill in, the key of a seal."""

from __future__ import annotations

from pathlib import Path

from planish.engine.files import write_asked
from planish.errors import DataError
from planish.hold.qualify.checklist import TEXT
from planish.hold.qualify.record import read_key


def write_checklist(path: Path) -> Path:
    """Write a checklist to fill in, where there is no file yet.

    Parameters
    ----------
    path
        Where to.

    Returns
    -------
    Path
        The same.

    Raises
    ------
    DataError
        For a file that is there, and where it cannot be written.
    """
    if path.exists():
        raise DataError(f"-o {path}: is there already: must be a new file, so that no checklist is lost")
    return write_asked(path, TEXT)


def seal_key(path: Path | None) -> bytes | None:
    """Return the key of a seal, None where none is named.

    Parameters
    ----------
    path
        Of the key file.

    Raises
    ------
    DataError
        For a key that cannot be read or used.
    """
    return None if path is None else read_key(path)
