"""What does each input of a setup move: which answers, how far, which way, and what does the trade say of it?"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import partial
from pathlib import Path
from typing import Any

from planish.engine.execute import run_all
from planish.engine.record import Record, counted
from planish.errors import SetupError, refuse
from planish.inputs.moves import LEAST, Moved, moved
from planish.inputs.scenarios import write_files
from planish.inputs.tried import Input, inputs

NEAREST = 4  # keys named where one is not known
SETTINGS, WAFERS = 5, 50
"""How many settings an input is moved over, and how long a lot is, unless asked otherwise."""
FEW = 8  # inputs, below which processes take longer to start than they save


@dataclass(frozen=True, slots=True, repr=False)
class InputsMoved(Record):
    """What inputs move.

    Attributes
    ----------
    rows
        One an input.
    settings, wafers
        How many settings over each range, and wafers in a lot.
    """

    rows: tuple[Moved, ...]
    settings: int
    wafers: int

    def _told(self) -> str:
        return f"{counted(len(self.rows), 'input')}, of which {len(self.dead)} move nothing and bear no mark"

    @property
    def dead(self) -> tuple[Moved, ...]:
        """Those that move nothing and are not marked as descriptive."""
        return tuple(row for row in self.rows if not row.acts and not row.input.info.descriptive)

    @property
    def mismarked(self) -> tuple[Moved, ...]:
        """Those that are marked as descriptive and move something."""
        return tuple(row for row in self.rows if row.acts and row.input.info.descriptive)

    @property
    def against(self) -> tuple[tuple[Moved, str, str, str, str], ...]:
        """Each statement that is not met: row, answer, way found or "stands still", way stated, source."""
        return tuple(
            (row, one.answer, row.found(one.answer) or "stands still", one.way, one.source)
            for row in self.rows
            for one in row.statements
            if not one.agrees(row.found(one.answer))
        )

    @property
    def notes(self) -> tuple[str, ...]:
        """How it was tried, and what is not as stated."""
        told = [
            f"each input alone, {self.settings} settings over its usual range unless said otherwise, on invented "
            f"setups; lots of {self.wafers} wafers without chance; a change below {100 * LEAST:g} % is none",
        ]
        told += [
            f"{row.input.key}: {answer}: {found}; stated: {way} ({source})"
            for row, answer, found, way, source in self.against
        ]
        return tuple(told)

    def document(self) -> dict[str, Any]:
        """Return every input with what it moves, as JSON can hold it."""
        return {
            "inputs": [_document(row) for row in self.rows],
            "dead": [row.input.key for row in self.dead],
            "mismarked": [row.input.key for row in self.mismarked],
            "settings": self.settings,
            "wafers": self.wafers,
            "notes": list(self.notes),
        }


def _document(row: Moved) -> dict[str, Any]:
    info, tried = row.input.info, row.trial
    said = {one.answer: one for one in row.statements}
    return {
        "key": info.path,
        "about": info.description,
        "usual": info.usual,
        "source": info.source,
        "descriptive": info.descriptive,
        "on": tried.on if tried else "",
        "asked": list(tried.asks) if tried else [],
        "beside": {path: "left out" if value is None else value for path, value in tried.beside.items()}
        if tried
        else {},
        "settings": list(row.settings),
        "refused": list(row.refused),
        "moves": [
            {
                "answer": move.answer,
                "change_percent": 100 * move.change,
                "way": move.way,
                "told": f"{move.answer} {move.way} {_percent(100 * move.change)}",
                "stated": said[move.answer].way if move.answer in said else "",
            }
            for move in row.moves
        ],
        "stated": [
            {
                "answer": one.answer,
                "way": one.way,
                "source": one.source,
                "found": row.found(one.answer) or "stands still",
                "agrees": one.agrees(row.found(one.answer)),
            }
            for one in row.statements
        ],
    }


def _percent(value: float) -> str:
    """Return a change to two digits, above 100 % as a whole number."""
    return f"{value:.0f} %" if value >= 99.5 else f"{value:.2g} %"


def inputs_moved(
    keys: Sequence[str] = (),
    *,
    settings: int = SETTINGS,
    wafers: int = WAFERS,
    workers: int | None = None,
    tell: Callable[[float], None] | None = None,
) -> InputsMoved:
    """Move inputs over their usual ranges and return which answers go with them.

    Parameters
    ----------
    keys
        Beginnings of their paths, such as "pad.top"; every input unless given.
    settings
        Over each range, 2 or more.
    wafers
        Of a lot, 2 or more.
    workers
        Processes that share many inputs out, one a core unless given.
    tell
        Is told the share done.

    Returns
    -------
    InputsMoved
        A row an input.

    Raises
    ------
    SetupError
        For a key that no input has, or numbers out of range.
    """
    for name, value in (("settings", settings), ("wafers", wafers)):
        if value < 2:
            raise SetupError(refuse(name, value, "2 or more"))
    chosen = _chosen(inputs(), keys)
    told = tell or (lambda share: None)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        write_files(folder)
        rows = run_all(
            partial(moved, count=settings, wafers=wafers, folder=folder),
            chosen,
            workers=workers if len(chosen) >= FEW else 1,
            processes=True,
            progress=lambda done, of: told(done / of),
            each=lambda place, row: None,  # one by one: some take a hundred times as long as others
        )
    return InputsMoved(tuple(rows), settings, wafers)


def _chosen(known: Sequence[Input], keys: Sequence[str]) -> list[Input]:
    """Return the inputs at or below paths, in their own order."""
    chosen: dict[str, Input] = {}
    for key in keys:
        found = [one for one in known if one.key == key or one.key.startswith((f"{key}.", f"{key} ("))]
        if not found:
            close = get_close_matches(key, [one.key for one in known], n=NEAREST, cutoff=0.0)
            hint = f"nearest of the {len(known)} there are: {', '.join(close)}"
            raise SetupError(refuse("input", key, "a key of the setup, or a table such as pad.top", hint))
        chosen |= {one.key: one for one in found}
    return [one for one in known if not keys or one.key in chosen]
