"""Arrays that are slow to make, kept on disk under the hash of what they were made from.

The folder is ``$PLANISH_CACHE``, or ``planish`` in ``$XDG_CACHE_HOME`` or in
``~/.cache``. Files are written whole or not at all. One that cannot be read back
in full is made again, and where nothing can be written everything still works,
only slower.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from planish.engine.files import whole_file

Arrays = Mapping[str, NDArray[np.float64]]

_FORMAT = 1
_STAMP = "stored_under"


def cache_folder() -> Path:
    """Return where cached arrays are kept. The folder need not exist."""
    chosen = os.environ.get("PLANISH_CACHE")
    if chosen:
        return Path(chosen)
    general = os.environ.get("XDG_CACHE_HOME")
    return (Path(general) if general else Path.home() / ".cache") / "planish"


def cached_arrays(key: str, build: Callable[[], Arrays]) -> dict[str, NDArray[np.float64]]:
    """Return the arrays stored under ``key``, or build and store them.

    ``key`` must change whenever ``build`` would return other numbers: put a hash of
    every input and a version in it. ``build`` takes nothing and returns named arrays.
    """
    stamp = np.frombuffer(hashlib.sha256(f"{_FORMAT} {key}".encode()).digest(), dtype=np.uint8)
    path = cache_folder() / f"{stamp.tobytes().hex()[:40]}.npz"
    known = _read(path, stamp)
    if known is not None:
        return known
    made = {name: np.asarray(values) for name, values in build().items()}
    # a full or read-only disk costs time, not the result
    with contextlib.suppress(OSError), whole_file(path) as out:
        np.savez(out, **{**made, _STAMP: stamp})  # type: ignore[arg-type]
    return made


def _read(path: Path, stamp: NDArray[np.uint8]) -> dict[str, NDArray[np.float64]] | None:
    """Return the stored arrays, or None where there are none, or they are damaged or another key's."""
    try:
        # numpy.load would take other formats too. The members of the archive carry checksums.
        with path.open("rb") as file, np.lib.npyio.NpzFile(file, allow_pickle=False) as stored:
            arrays = {name: stored[name] for name in stored.files}
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile, RuntimeError):
        return None
    found = arrays.pop(_STAMP, None)
    return arrays if found is not None and np.array_equal(found, stamp) else None
