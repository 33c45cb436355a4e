"""Which parts are there, and which laws, die processes and motions? What does each bring?"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from typing import Any, NamedTuple

from planish.engine.registry import Registry
from planish.errors import SetupError, refuse
from planish.physics.motion.speed import SOURCES as MOTION_SOURCES
from planish.physics.removal.law import Law
from planish.physics.removal.laws import LAWS
from planish.predict.die.level import Level
from planish.setup.changes import quantity_text
from planish.setup.motions.known import MOTIONS
from planish.setup.part import OURS
from planish.setup.parts import PART_KINDS, PartRow, list_parts, number_and_unit
from planish.setup.polisher import MotionKind
from planish.setup.processes import PROCESSES, Process


class _Line(NamedTuple):
    """One row of a record: without the kind, the name and the origin, which all its rows share."""

    key: str
    value: str
    unit: str = ""
    source: str = ""


def parts_by_name(
    kind: str | None = None, folders: Iterable[str | os.PathLike[str]] = ()
) -> dict[tuple[str, str], list[PartRow]]:
    """Return the rows of each part of the catalogue, or of each registered record, by its kind and name.

    Parameters
    ----------
    kind
        What to keep of the catalogue, all of it unless given; or "law", "process" or "motion" for those
        registered by planish and by installed packages.
    folders
        With the parts in these folders too.

    Returns
    -------
    dict[tuple[str, str], list[PartRow]]
        In the order of the catalogue or registry. The first row of a record is its meaning, with what it rests on.

    Raises
    ------
    SetupError
        For a kind that there is not, a folder that cannot be used, or folders where no part is asked for.
    PluginError
        For an installed package whose record cannot be used.
    """
    if kind in _RECORDS:
        if given := [os.fspath(each) for each in folders]:
            raise SetupError(
                refuse(
                    f"folders for kind {kind!r}", ", ".join(given), "left out", "a folder brings parts only"
                )
            )
        return _records(kind)
    if kind is not None and kind not in PART_KINDS:
        known = ", ".join(sorted((*PART_KINDS, *_RECORDS)))
        raise SetupError(f"parts kind = {kind!r}: must be one of {known}")
    found: dict[tuple[str, str], list[PartRow]] = {}
    for row in list_parts(kind, folders=folders):
        found.setdefault((row.kind, row.part), []).append(row)
    return found


def _records(kind: str) -> dict[tuple[str, str], list[PartRow]]:
    registry, lines = _RECORDS[kind]
    found = {}
    for record in registry:
        origin = registry.origin(record.name)
        told = origin if origin in (OURS, "this session") else f"package {origin}"
        found[kind, record.name] = [
            PartRow(kind, record.name, line.key, line.value, line.unit, "", line.source, told)
            for line in lines(record)
        ]
    return found


def _law(law: Law) -> Iterator[_Line]:
    yield _Line("meaning", law.meaning, source="; ".join(law.sources))
    yield _Line("formula", law.formula, "m/s")
    for each in law.coefficients:
        yield _Line(each.name, each.meaning, each.unit)


def _process(process: Process) -> Iterator[_Line]:
    rests_on = process.level.sources if isinstance(process.level, Level) else ()
    yield _Line("meaning", process.about, source="; ".join(rests_on))
    for name, key in process.level.known_keys().items():
        usual = getattr(process.level, name)
        text = usual if key.quantity is None else quantity_text(usual, key.quantity.dimension)
        yield _Line(name, *number_and_unit(text), process.source)


def _motion(motion: MotionKind) -> Iterator[_Line]:
    ours = MOTIONS.origin(motion.name) == OURS
    yield _Line("meaning", motion.what, source="; ".join(MOTION_SOURCES) if ours else "")
    yield _Line("pad moved by", motion.machine.drive.key)
    yield _Line("part, 300 mm wafers", motion.part(0.3).name)


_RECORDS: dict[str, tuple[Registry[Any], Callable[[Any], Iterator[_Line]]]] = {
    "law": (LAWS, _law),
    "process": (PROCESSES, _process),
    "motion": (MOTIONS, _motion),
}
