"""Files and folders written whole or not at all: a temporary name beside the target, flushed, then renamed.

A link stays a link and what it points to is written; a file that is there keeps its permissions; a device or a pipe,
which cannot be renamed over, is written straight into once all of the content is known.

The temporary name (``.NAME.MACHINE-PID-START-RANDOM.part``) says which process writes it. A process that
is killed leaves it behind; the next write into the same folder takes away what dead processes left.
"""

from __future__ import annotations

import contextlib
import errno
import io
import os
import re
import secrets
import shutil
import stat
import time
import zlib
from collections.abc import Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from typing import BinaryIO

from planish.errors import DataError

#: A part of another machine (or of a boot before this one) goes when nothing was written to it for a day.
STRANGER_SECONDS = 86400.0
_PART = re.compile(
    r"\.(?P<name>.+)\.(?P<machine>[0-9a-f]{8})-(?P<pid>\d+)-(?P<start>\d+)-[0-9a-f]{8}(?P<old>\.old)?\.part",
    re.DOTALL,
)
_ANYONE = 0o666
PATIENCE_S = 2.0  # for a line that somebody else is adding
_CUT = b" (cut off)\n"  # behind a line that a crash left half written
_LONGEST_NAME = 150  # bytes of a name that are kept in the temporary one


def write_whole(path: Path, content: bytes | str, *, mode: int = _ANYONE, new: bool = False) -> None:
    """Write a file, whole or not at all.

    Parameters
    ----------
    path
        The file; missing folders are made.
    content
        Text is written as UTF-8.
    mode, new
        As in :func:`whole_file`.

    Raises
    ------
    FileExistsError
        As in :func:`whole_file`.
    IsADirectoryError
        As in :func:`whole_file`.
    """
    with whole_file(path, mode=mode, new=new) as out:
        out.write(content.encode() if isinstance(content, str) else content)


def write_asked(path: Path, content: bytes | str) -> Path:
    """Write a file that a person named, whole or not at all, and return its path.

    Parameters
    ----------
    path
        The file; missing folders are made.
    content
        Text is written as UTF-8.

    Raises
    ------
    DataError
        Where it cannot be written.
    """
    try:
        write_whole(path, content)
    except OSError as problem:
        reason = problem.strerror or type(problem).__name__
        raise DataError(f"{path}: cannot be written ({reason}); name another file") from None
    return path


def write_together(contents: Mapping[Path, bytes | str]) -> None:
    """Write several files, each whole; none of them where one cannot be written.

    Parameters
    ----------
    contents
        By file; text is written as UTF-8. All of them lie on the disk under temporary names before the first is renamed.

    Raises
    ------
    OSError
        As for :func:`whole_file`.
    """
    with contextlib.ExitStack() as all_of_them:
        for path, content in contents.items():
            out = all_of_them.enter_context(whole_file(path))
            out.write(content.encode() if isinstance(content, str) else content)
            out.flush()


@contextlib.contextmanager
def whole_file(path: Path, *, mode: int = _ANYONE, new: bool = False) -> Iterator[BinaryIO]:
    """Open a file to write in that gets the name ``path`` only when the block ends without an error.

    Parameters
    ----------
    path
        The file; missing folders are made.
    mode
        Its permissions, less what the user's mask takes away, as for any plain new file. A file that is there keeps
        its own, unless fewer are asked for here.
    new
        Leave a file that has the name by then as it is.

    Yields
    ------
    BinaryIO
        The open file.

    Raises
    ------
    FileExistsError
        If ``new`` and there is such a file.
    IsADirectoryError
        If ``path`` is a folder.
    """
    if not path.name or path.is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    if path.exists() and not path.is_file():
        if new:
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path))
        content = io.BytesIO()
        yield content
        with open(path, "wb") as out:
            out.write(content.getbuffer())
        return
    path = Path(os.path.realpath(path))
    path.parent.mkdir(parents=True, exist_ok=True)
    sweep(path.parent)
    temporary = _part(path)
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    handle = os.open(temporary, flags, mode)
    try:
        with os.fdopen(handle, "wb") as out:
            yield out
            if mode == _ANYONE and not new:
                _keep_mode(path, out.fileno())
            out.flush()
            os.fsync(out.fileno())
        if new:
            os.link(temporary, path)
            temporary.unlink()
        else:
            os.replace(temporary, path)
    except BaseException:
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise


@contextlib.contextmanager
def whole_folder(path: Path, *, mode: int = 0o777) -> Iterator[Path]:
    """Give an empty folder to write in that takes the place of ``path`` when the block ends without an error.

    Parameters
    ----------
    path
        For writers that need one. What stood there before is there until the block ends, and comes back if
        the process is killed between the two renames that this takes.
    mode
        As in :func:`whole_file`.

    Yields
    ------
    Path
        The empty folder.

    Raises
    ------
    OSError
        If it cannot be written, or the name is longer than 150 bytes.
    """
    if len(os.fsencode(path.name)) > _LONGEST_NAME:
        raise OSError(errno.ENAMETOOLONG, os.strerror(errno.ENAMETOOLONG), str(path))
    path = Path(os.path.realpath(path))
    path.parent.mkdir(parents=True, exist_ok=True)
    sweep(path.parent)
    temporary = _part(path)
    before = _part(path, old=True)
    try:
        temporary.mkdir(mode)
        yield temporary
        for below, _, names in os.walk(temporary):
            for name in names:
                _to_disk(Path(below) / name)
        if path.exists():
            path.rename(before)
        temporary.rename(path)
    except BaseException:
        if before.exists() and not path.exists():
            before.rename(path)
        _remove(temporary)
        raise
    _remove(before)


def append_line(path: Path, line: str) -> None:
    """Add one line at the end of a file that is only ever added to, and flush it to the disk.

    Parameters
    ----------
    path
        The file; missing folders are made.
    line
        Without its end; it is written as UTF-8 by a single write. Where an earlier one was cut off by a crash, that is marked as
        such at its end, and this one begins a line of its own.

    Raises
    ------
    ValueError
        For a text of several lines.
    OSError
        Where it cannot be written.
    """
    if "\n" in line or "\r" in line:
        raise ValueError("a line of a file that is added to must be one line")
    path.parent.mkdir(parents=True, exist_ok=True)
    handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0), _ANYONE)
    try:
        # The end of a line that another is writing would look cut off; one who stands still must stop nobody, though.
        _hold(handle, PATIENCE_S)
        size = os.lseek(handle, 0, os.SEEK_END)
        cut = False
        if size:
            os.lseek(handle, size - 1, os.SEEK_SET)
            cut = os.read(handle, 1) != b"\n"
        content = (_CUT if cut else b"") + line.encode() + b"\n"
        if os.write(handle, content) != len(content):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))
        os.fsync(handle)
    finally:
        os.close(handle)


@contextlib.contextmanager
def locked(path: Path) -> Iterator[None]:
    """Keep other processes that ask for the same lock out until the block ends; they wait.

    Parameters
    ----------
    path
        A file that exists, locked by its own name with ``.lock`` behind it.

    Raises
    ------
    OSError
        Where the lock cannot be made.
    """
    handle = os.open(path.with_name(path.name + ".lock"), os.O_RDWR | os.O_CREAT, _ANYONE)
    try:
        _hold(handle)
        yield
    finally:
        os.close(handle)


def _hold(handle: int, most: float | None = None) -> None:
    """Lock an open file until it is closed; who asks for it too, waits, ``most`` [s] where that is said."""
    try:
        import fcntl
    except ImportError:  # no POSIX: one person at a time
        return
    if most is None:
        fcntl.flock(handle, fcntl.LOCK_EX)
        return
    end = time.monotonic() + most
    while True:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            if time.monotonic() > end:
                return
            time.sleep(0.002)
        else:
            return


def second_name(path: Path, other: Path) -> Path:
    """Give a file a second name; where the file system has no such thing, or is another one, a copy under that name.

    Parameters
    ----------
    path
        The file.
    other
        The name, which is free; its folder exists.

    Returns
    -------
    Path
        ``other``.
    """
    try:
        os.link(path, other)
    except FileExistsError:
        raise
    except OSError:
        write_whole(other, path.read_bytes(), mode=stat.S_IMODE(path.stat().st_mode))
    return other


def sweep(folder: Path) -> None:
    """Take away what killed processes left half written; what a living one writes stays.

    Parameters
    ----------
    folder
        In which they wrote.
    """
    try:
        names = os.listdir(folder)
    except OSError:
        return
    for name in names:
        if not name.endswith(".part"):
            continue
        found = _PART.fullmatch(name)
        if found is None or not _is_dead(folder / name, found):
            continue
        if found["old"]:
            # Killed between two renames: the folder of that name goes back, unless a new one is there.
            with contextlib.suppress(OSError):
                (folder / name).rename(folder / found["name"])
        _remove(folder / name)


def _part(path: Path, *, old: bool = False) -> Path:
    name = os.fsdecode(os.fsencode(path.name)[:_LONGEST_NAME])
    pid = os.getpid()
    writer = f"{_machine()}-{pid}-{_start_of(pid) or 0}-{secrets.token_hex(4)}"
    return path.with_name(f".{name}.{writer}{'.old' if old else ''}.part")


def _keep_mode(path: Path, handle: int) -> None:
    with contextlib.suppress(FileNotFoundError):
        os.fchmod(handle, stat.S_IMODE(path.stat().st_mode))


def _is_dead(path: Path, found: re.Match[str]) -> bool:
    """Whether the process that wrote a part no longer runs."""
    if found["machine"] != _machine():
        try:
            return time.time() - path.stat().st_mtime > STRANGER_SECONDS
        except OSError:
            return False
    pid = int(found["pid"])
    if pid == os.getpid():
        return False
    start = _start_of(pid)
    if start is None and not os.path.isdir("/proc/self"):
        return not _answers(pid)
    return str(start) != found["start"]  # another process may have the number by now


def _start_of(pid: int) -> int | None:
    """When a process began [clock ticks since boot]; None where there is no such process or no way to tell."""
    try:
        with open(f"/proc/{pid}/stat", "rb") as file:
            fields = file.read().rpartition(b")")[2].split()  # the name before it may hold blanks
        return None if fields[0] == b"Z" else int(fields[19])
    except (OSError, ValueError, IndexError):
        return None


def _answers(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


@lru_cache(maxsize=1)
def _machine() -> str:
    """Eight letters for what process numbers count in: this machine since it was started, this container."""
    told = [os.uname().nodename if hasattr(os, "uname") else ""]
    with contextlib.suppress(OSError):
        told.append(Path("/proc/sys/kernel/random/boot_id").read_text())
    with contextlib.suppress(OSError):
        told.append(str(os.stat("/proc/self/ns/pid").st_ino))
    return f"{zlib.crc32(' '.join(told).encode()):08x}"


def _to_disk(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _remove(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.unlink()
        return
    shutil.rmtree(path, ignore_errors=True)
