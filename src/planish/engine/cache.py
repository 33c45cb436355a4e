"""Arrays that are slow to make, kept on disk under the hash of what they were made from.

The folder is ``$PLANISH_CACHE``, or ``planish`` in ``$XDG_CACHE_HOME`` or in
``~/.cache``. Files are written whole or not at all, each behind a checksum of all
its bytes. A damaged one is thrown away and made again, which the log tells; where
nothing can be written everything still works, only slower.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import itertools
import logging
import os
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from planish.engine.files import write_whole

Arrays = Mapping[str, NDArray[np.float64]]

_FORMAT = 2
#: [bytes] What is kept at the most; what was made longest ago goes first. Looked at every so many things kept.
MOST_BYTES = 500_000_000
LOOK_EVERY = 16
_SUM = hashlib.sha256().digest_size
_LOG = logging.getLogger(__name__)
_kept = itertools.count()


def cache_folder() -> Path:
    """Return where cached arrays are kept. The folder need not exist."""
    chosen = os.environ.get("PLANISH_CACHE")
    if chosen:
        return Path(chosen)
    general = os.environ.get("XDG_CACHE_HOME")
    return (Path(general) if general else Path.home() / ".cache") / "planish"


def cached_arrays(key: str, build: Callable[[], Arrays]) -> dict[str, NDArray[np.float64]]:
    """Return stored arrays, or build and store them.

    Parameters
    ----------
    key
        Must change whenever ``build`` would return other numbers: put a hash of every input and a version
        in it.
    build
        Takes nothing and returns named arrays.

    Returns
    -------
    dict[str, NDArray[np.float64]]
        Arrays by name.
    """
    stamp = hashlib.sha256(f"{_FORMAT} {key}".encode()).digest()
    path = cache_folder() / f"{stamp.hex()[:40]}.arrays"
    known = _read(path, stamp)
    if known is not None:
        return known
    made = {name: np.asarray(values) for name, values in build().items()}
    content = io.BytesIO()
    np.savez(content, **made)  # type: ignore[arg-type]
    # a full or read-only disk costs time, not the result
    with contextlib.suppress(OSError):
        write_whole(path, _checksum(stamp, content.getbuffer()) + content.getbuffer())
        if next(_kept) % LOOK_EVERY == 0:
            _make_room(path.parent)
    return made


def _make_room(folder: Path) -> None:
    """Take away what was made longest ago until no more than ``MOST_BYTES`` are kept."""
    with os.scandir(folder) as entries:
        found = [(e.stat(), e.path) for e in entries if e.is_file() and e.name.endswith((".arrays", ".npz"))]
    over = sum(stat.st_size for stat, _ in found) - MOST_BYTES
    for stat, path in sorted(found, key=lambda item: item[0].st_mtime):
        if over <= 0:
            return
        Path(path).unlink(missing_ok=True)
        over -= stat.st_size


def _read(path: Path, stamp: bytes) -> dict[str, NDArray[np.float64]] | None:
    """Return the stored arrays; None where there are none. A damaged file, or another key's, is thrown away."""
    try:
        content = memoryview(path.read_bytes())
    except OSError:
        return None
    if bytes(content[:_SUM]) != _checksum(stamp, content[_SUM:]):
        _LOG.warning("planish: %s: this kept result is damaged; it is thrown away and computed anew", path)
        with contextlib.suppress(OSError):
            path.unlink()
        return None
    # Only now, since what reads the arrays trusts the sizes that they state.
    with np.load(io.BytesIO(content[_SUM:]), allow_pickle=False) as stored:
        return {name: stored[name] for name in stored.files}


def _checksum(stamp: bytes, content: memoryview) -> bytes:
    """Checksum of stored bytes under their key."""
    found = hashlib.sha256(stamp)
    found.update(content)
    return found.digest()
