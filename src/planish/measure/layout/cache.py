"""Layout maps kept on disk and found again by the content of the layout file.

They carry a checksum (see ``layout_store``). A damaged entry is thrown away, the layout is read anew, and
the maps say so in a note.
"""

from __future__ import annotations

import hashlib
import logging
import re
import shutil
from dataclasses import replace
from pathlib import Path

from planish.engine.cache import cache_folder
from planish.errors import DataError
from planish.measure.layout.maps import LayoutMaps

_LOG = logging.getLogger(__name__)
_LEAST_BYTES = 1 << 20  # smaller files are read faster than a cache is opened


def folder() -> Path:
    """Return where layout maps are kept: beside all else that planish keeps."""
    return cache_folder() / "layouts"


def find(path: Path, key: str) -> tuple[LayoutMaps | None, str]:
    """Find maps kept for this content and request.

    Parameters
    ----------
    path
        The layout; hashed only if something was kept for a file of its size.
    key
        Names the request.

    Returns
    -------
    tuple[LayoutMaps | None, str]
        The maps or None; and what to say of an entry that was damaged, or "".
    """
    try:
        size = path.stat().st_size
        pattern = re.compile(rf"{size}-[0-9a-f]{{32}}-{_short(key)}\.zarr")
        likely = [p for p in folder().iterdir() if pattern.fullmatch(p.name)] if size >= _LEAST_BYTES else []
        if not likely:
            return None, ""
        with path.open("rb") as raw:
            digest = hashlib.file_digest(raw, lambda: hashlib.blake2b(digest_size=16)).hexdigest()
    except OSError:
        return None, ""
    for entry in likely:
        if entry.name == _name(size, digest, key):
            try:
                found = LayoutMaps.open(entry)
                if found.digest == digest:
                    return replace(found, source=str(path)), ""
            except DataError:
                pass
            note = "the maps kept of this layout were damaged: thrown away, and the layout read anew"
            _LOG.warning("planish: %s: %s", entry, note)
            _throw_away(entry)
            return None, note
    return None, ""


def keep(path: Path, key: str, maps: LayoutMaps) -> None:
    """Keep maps. A cache that cannot be written is no reason to lose the result.

    Parameters
    ----------
    path
        The layout.
    key
        Names the request.
    maps
        To be kept.
    """
    try:
        size = path.stat().st_size
        if size >= _LEAST_BYTES and maps.digest:
            maps.save(folder() / _name(size, maps.digest, key))
    except (OSError, DataError):
        return


def _throw_away(entry: Path) -> None:
    if entry.is_dir() and not entry.is_symlink():
        shutil.rmtree(entry, ignore_errors=True)
    else:
        entry.unlink(missing_ok=True)


def _short(key: str) -> str:
    return hashlib.blake2b(key.encode(), digest_size=8).hexdigest()


def _name(size: int, digest: str, key: str) -> str:
    return f"{size}-{digest}-{_short(key)}.zarr"
