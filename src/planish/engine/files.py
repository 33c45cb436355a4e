"""Files written whole or not at all: a temporary name beside the target, flushed to disk, then renamed."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO


def write_whole(path: Path, content: bytes) -> None:
    """Write ``content`` to ``path``, whole or not at all; missing folders are made."""
    with whole_file(path) as out:
        out.write(content)


@contextlib.contextmanager
def whole_file(path: Path, mode: int | None = None) -> Iterator[BinaryIO]:
    """Open a file to write in that gets the name ``path`` only when the block ends without an error.

    It gets the permissions ``mode``, or those that a plain new file would have; missing folders are made.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:64]}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as out:
            yield out
            out.flush()
            os.fsync(out.fileno())
        os.chmod(temporary, 0o666 & ~_umask() if mode is None else mode)
        os.replace(temporary, path)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(temporary)
        raise


def _umask() -> int:
    current = os.umask(0)
    os.umask(current)
    return current
