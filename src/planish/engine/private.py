"""Folders of the user's own: where planish keeps what it keeps, and who may enter.

``mkdir(mode=...)`` says nothing about a folder that is there already, nor about the parents it makes, so modes are set
after the fact. POSIX only.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path

from planish.errors import DataError

FOLDER, FILE = 0o700, 0o600


def user_folder(name: str, variable: str) -> Path:
    """Return the folder of one kind of thing that planish keeps for this user; it is not made here.

    Parameters
    ----------
    name
        Of the folder, in planish's own in the user's data folder ($XDG_DATA_HOME, or ~/.local/share).
    variable
        Of the environment, which goes before it.
    """
    chosen = os.environ.get(variable)
    if chosen:
        return Path(chosen)
    general = os.environ.get("XDG_DATA_HOME")
    return (Path(general) if general else Path.home() / ".local" / "share") / "planish" / name


def private_folder(folder: Path) -> Path:
    """Make a folder that only this user may enter, and set one right that is there already.

    Parameters
    ----------
    folder
        Its parents are made too.

    Returns
    -------
    Path
        The same.

    Raises
    ------
    DataError
        Where it is no folder, or another user's.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=FOLDER)
        make_private(folder, folder.stat(), FOLDER)
    except FileExistsError:
        raise DataError(f"{folder}: is a file, not a folder; name another") from None
    return folder


def make_private(path: Path, told: os.stat_result, wanted: int) -> bool:
    """Set the mode of a file or folder; True where others had rights before.

    Parameters
    ----------
    path
        Of it.
    told
        What the system says of it.
    wanted
        The mode.

    Raises
    ------
    DataError
        Where it is another user's.
    """
    if told.st_uid != os.geteuid():
        raise DataError(
            f"{path}: belongs to user {told.st_uid}, not to the one who runs this ({os.geteuid()}); "
            "run planish as that user, or give the folder to this one (chown -R)"
        )
    mode = stat.S_IMODE(told.st_mode)
    if mode != wanted:
        os.chmod(path, wanted)
    return bool(mode & 0o077)
