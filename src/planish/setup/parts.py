"""The catalogue of generic parts: planish's own, those of packages, and those of the user's folders."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

from planish.engine.fixed import FixedDict
from planish.errors import SetupError, refuse
from planish.setup.part import OURS, Part, own_parts, parts_in
from planish.setup.part_folders import FILES, PartFile, part_files, part_folders

PART_KINDS: tuple[str, ...] = tuple(FILES)


def catalogue(kind: str, folders: tuple[Path, ...] = ()) -> Mapping[str, Part]:
    """Return the parts of a kind.

    planish's own come first, then those of installed packages and of ``$PLANISH_PARTS``, then those of
    ``folders``.

    Parameters
    ----------
    kind
        "pad", "conditioner", ...: one of ``PART_KINDS``.
    folders
        With the parts in these too.

    Returns
    -------
    Mapping[str, Part]
        By name.

    Raises
    ------
    SetupError
        For a kind that there is not, a part file that cannot be used, or a name that two places give.
    PluginError
        For an installed package whose parts cannot be found.
    """
    if kind not in PART_KINDS:
        raise SetupError(f"part kind = {kind!r}: must be one of {', '.join(PART_KINDS)}")
    others = part_files(kind, folders)
    return _with_others(kind, tuple(others)) if others else own_parts(kind)


@lru_cache(maxsize=64)
def _with_others(kind: str, others: tuple[PartFile, ...]) -> FixedDict[str, Part]:
    # Checking them builds the whole model of a setup, which few who look into the catalogue need.
    from planish.setup.part_files import check_part, read_tables

    out = dict(own_parts(kind))
    places = dict.fromkeys(out, OURS)
    for file in others:
        for name, part in parts_in(kind, read_tables(file), file.origin).items():
            if name in out:
                raise SetupError(
                    refuse(
                        f"{file.path}: name of a {kind}",
                        name,
                        f"one that {places[name]} has not given",
                        "give the part another name",
                    )
                )
            check_part(file.path, kind, name, part.tree())
            out[name], places[name] = part, str(file.path)
    return FixedDict(out)


class PartRow(NamedTuple):
    """One line of the catalogue as listed: ``value`` is the number as text, ``unit`` its unit or ""."""

    kind: str
    part: str
    key: str
    value: str
    unit: str
    spread: str
    source: str
    origin: str

    @property
    def is_ours(self) -> bool:
        """Whether planish brings the part."""
        return self.origin == OURS


def list_parts(
    kind: str | None = None, name: str | None = None, folders: Iterable[str | os.PathLike[str]] = ()
) -> list[PartRow]:
    """Return the catalogue, one row a value; all of it, or one kind, or the parts of one name.

    Parameters
    ----------
    kind, name
        What to keep of it.
    folders
        With the parts in these folders too, as ``parts_folders`` of a setup names them.

    Raises
    ------
    SetupError
        For a kind or a name that the catalogue does not hold.
    """
    kinds = PART_KINDS if kind is None else (kind,)
    if isinstance(folders, str) or not isinstance(folders, Iterable):
        raise SetupError(refuse("folders", folders, "a list of folders"))
    places = part_folders({"parts_folders": [os.fspath(each) for each in folders]}, Path())
    rows: list[PartRow] = []
    names: list[str] = []
    for each in kinds:
        for part in catalogue(each, places).values():
            names.append(part.name)
            if name is not None and part.name != name:
                continue
            for key, entry in part.values.items():
                value, unit = number_and_unit(entry.value)
                rows.append(
                    PartRow(each, part.name, key, value, unit, entry.spread, entry.source, part.origin)
                )
    if name is not None and not rows:
        raise SetupError(f"part = {name!r}: must be one of {', '.join(names)}")
    return rows


def number_and_unit(value: Any) -> tuple[str, str]:
    """Split ``"800 mm"`` into ("800", "mm"); anything else is a value without unit."""
    if isinstance(value, list):
        return "; ".join(", ".join(f"{k} {v}" for k, v in item.items()) for item in value), ""
    if not isinstance(value, str):
        return str(value), ""
    number, _, unit = value.partition(" ")
    try:
        float(number)
    except ValueError:
        return value, ""
    return number, unit
