"""Which parts are there, and what does each bring?"""

from __future__ import annotations

import os
from collections.abc import Iterable

from planish.errors import SetupError
from planish.setup.parts import PART_KINDS, PartRow, list_parts


def parts_by_name(
    kind: str | None = None, folders: Iterable[str | os.PathLike[str]] = ()
) -> dict[tuple[str, str], list[PartRow]]:
    """Return the rows of each part of the catalogue by its kind and name.

    Parameters
    ----------
    kind
        What to keep of it; all unless given.
    folders
        With the parts in these folders too.

    Raises
    ------
    SetupError
        For a kind that there is not, or a folder that cannot be used.
    """
    if kind is not None and kind not in PART_KINDS:
        raise SetupError(f"parts kind = {kind!r}: must be one of {', '.join(sorted(PART_KINDS))}")
    found: dict[tuple[str, str], list[PartRow]] = {}
    for row in list_parts(kind, folders=folders):
        found.setdefault((row.kind, row.part), []).append(row)
    return found
