"""Layout maps kept on disk and found again by the content of the layout file."""

from __future__ import annotations

import hashlib
import os
import re
from dataclasses import replace
from pathlib import Path

from planish.errors import DataError
from planish.measure.layout_maps import LayoutMaps

_LEAST_BYTES = 1 << 20  # smaller files are read faster than a cache is opened


def folder() -> Path:
    """``$PLANISH_CACHE``, or ``~/.cache/planish``."""
    own = os.environ.get("PLANISH_CACHE")
    return (Path(own) if own else Path.home() / ".cache" / "planish") / "layouts"


def find(path: Path, key: str) -> LayoutMaps | None:
    """Maps kept for this content and request, or None.

    The file is hashed only if something was kept for a file of its size.
    """
    try:
        size = path.stat().st_size
        pattern = re.compile(rf"{size}-[0-9a-f]{{32}}-{_short(key)}\.zarr")
        likely = [p for p in folder().iterdir() if pattern.fullmatch(p.name)] if size >= _LEAST_BYTES else []
        if not likely:
            return None
        with path.open("rb") as raw:
            digest = hashlib.file_digest(raw, lambda: hashlib.blake2b(digest_size=16)).hexdigest()
    except OSError:
        return None
    for entry in likely:
        if entry.name == _name(size, digest, key):
            try:
                return replace(LayoutMaps.open(entry), source=str(path))
            except DataError:
                return None  # damaged: read the layout again
    return None


def keep(path: Path, key: str, maps: LayoutMaps) -> None:
    """Keep maps. A cache that cannot be written is no reason to lose the result."""
    try:
        size = path.stat().st_size
        if size >= _LEAST_BYTES and maps.digest:
            maps.save(folder() / _name(size, maps.digest, key))
    except (OSError, DataError):
        return


def _short(key: str) -> str:
    return hashlib.blake2b(key.encode(), digest_size=8).hexdigest()


def _name(size: int, digest: str, key: str) -> str:
    return f"{size}-{digest}-{_short(key)}.zarr"
