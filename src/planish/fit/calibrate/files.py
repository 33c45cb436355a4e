"""Files as a fit remembers them: by name and by what is in them."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from pathlib import Path


def named_files(paths: Iterable[Path]) -> tuple[tuple[str, str], ...]:
    """Return name and SHA-256 of files.

    Parameters
    ----------
    paths
        Of files that were read.
    """
    return tuple((path.name, _digest(path)) for path in dict.fromkeys(paths))


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
