"""Files that only the server's own user may read: how they are made, set right, written and locked.

``mkdir(mode=...)`` says nothing about a folder that is there already, nor about the parents it makes, so
modes are set after the fact and looked over whenever a server starts. POSIX only: modes and ``flock``.
"""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Iterator
from pathlib import Path

from planish.engine.private import FILE as FILE
from planish.engine.private import FOLDER, make_private
from planish.engine.private import private_folder as private_folder


def repair(folder: Path) -> list[str]:
    """Take the rights of others from everything under a folder; return a note for each kind of change.

    Links are not followed.

    Raises
    ------
    DataError
        Where something belongs to another user, who could read it or change it.
    """
    private_folder(folder)
    opened: list[str] = []
    for place, folders, names in os.walk(folder, followlinks=False):
        for wanted, found in ((FOLDER, folders), (FILE, names)):
            for name in found:
                path = Path(place) / name
                try:
                    told = path.lstat()
                    if not stat.S_ISLNK(told.st_mode) and make_private(path, told, wanted):
                        opened.append(str(path.relative_to(folder)))
                except FileNotFoundError:
                    continue
    if not opened:
        return []
    shown = ", ".join(sorted(opened)[:3]) + (" ..." if len(opened) > 3 else "")
    return [f"{folder}: {len(opened)} files or folders were open to others and now are not ({shown})"]


def write_private(path: Path, content: bytes) -> None:
    """Write a file whole or not at all, readable by this user only from its first byte on."""
    from planish.engine.files import whole_file

    private_folder(path.parent)
    with whole_file(path, mode=FILE) as out:
        out.write(content)


@contextlib.contextmanager
def locked(path: Path) -> Iterator[None]:
    """Hold ``path`` (with ``.lock`` after its name) against other processes; for moments only."""
    import fcntl

    private_folder(path.parent)
    handle = os.open(path.with_name(path.name + ".lock"), os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, FILE)  # noqa: TID251  a lock has no content
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)  # gives the lock back
