"""The setups that a choice tries: shared among processes, kept in a folder as they come, and read from there after a stop."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.engine.execute import Cancel, CancelledError, run_all
from planish.engine.given import as_path
from planish.errors import DataError
from planish.results.plain import clean
from planish.tuning.study.runs import ID, REFUSED, RUN
from planish.tuning.study.store import CHOICE, Store, held, plan_of, run_ids
from planish.tuning.tradeoffs.predicted import Seen, Trial

if TYPE_CHECKING:
    from planish.measure.layout.maps import LayoutMaps

PIECES = 4  # a worker and generation
MOST = 64  # setups in one piece, which is what a kill can lose
BEYOND, BROKEN = "beyond", "broken"
_FOLLOWED = ("aims", "limits", "wafers", "maps", "place")  # of the question, by the figures of one setup


def maps_digest(maps: LayoutMaps) -> str:
    """Return a short hash of what a die is predicted from.

    Parameters
    ----------
    maps
        Of the layout.
    """
    hasher = hashlib.sha256(repr((maps.cell, maps.density.shape)).encode())
    for field in (maps.density, maps.perimeter, maps.line_width, maps.space):
        hasher.update(np.ascontiguousarray(field).tobytes())
    return hasher.hexdigest()[:20]


@contextmanager
def tries(
    trial: Trial,
    question: dict[str, Any],
    folder: str | os.PathLike[str] | None,
    *,
    workers: int | None,
    cancel: Cancel | None,
) -> Iterator[Tries]:
    """Give what tries setups, with the runs that a folder holds of the same question.

    Parameters
    ----------
    trial
        Tries changes of the setup.
    question
        All that is asked of the choice, as JSON can hold it.
    folder
        Where runs are kept; None for nowhere.
    workers, cancel
        Processes, and a switch that stops between two pieces of work.

    Yields
    ------
    Tries
        Until the block ends.

    Raises
    ------
    DataError
        For a folder that holds another choice, that another process is at, or that cannot be written.
    """
    plan = plan_of(trial.setup, clean(question), CHOICE)
    if folder is None:
        yield Tries(trial, plan, None, workers, cancel)
        return
    with held(as_path(folder, "folder")) as store:
        store.begin(plan)
        yield Tries(trial, plan, store, workers, cancel)


class Tries:
    """Tries setups in an order that the search decides, each once.

    Parameters
    ----------
    trial, plan
        What is tried, and of which choice.
    store
        Keeps it; None for nowhere.
    workers, cancel
        As for :func:`tries`.
    """

    def __init__(
        self,
        trial: Trial,
        plan: dict[str, Any],
        store: Store | None,
        workers: int | None,
        cancel: Cancel | None,
    ) -> None:
        self._trial, self._plan, self._store = trial, plan, store
        self._workers, self._cancel = workers, cancel
        self._count = 0
        self._there = {} if store is None else _read(store, len(trial.aims))

    def of(self, changes: Sequence[dict[str, Any]], tell: Callable[[int], None] | None = None) -> list[Seen]:
        """Return what comes of each of the next setups: from the folder, else tried now and kept.

        Parameters
        ----------
        changes
            Of each setup, in the order of the search.
        tell
            Called with how many of all are done.

        Raises
        ------
        DataError
            Where the folder holds another setup under that number.
        CancelledError
            If it was stopped.
        """
        ids, begin = run_ids(self._plan, changes, _FOLLOWED), self._count
        found: dict[int, Seen] = {}
        for place, ident in enumerate(ids):
            there = self._there.get(begin + place)
            if there is not None and there[0] != ident:
                raise DataError(
                    f"parts: run {begin + place} is not one of this plan: must be made by it (empty the folder, or name another)"
                )
            if there is not None:
                found[place] = there[1]
        todo = [place for place in range(len(ids)) if place not in found]
        share = PIECES * (self._workers or os.cpu_count() or 1)
        size = max(1, min(len(todo) // share, MOST))
        pieces = [todo[at : at + size] for at in range(0, len(todo), size)]

        def each(piece: int, seen: list[Seen]) -> None:
            found.update(zip(pieces[piece], seen, strict=True))
            if self._store is not None:
                self._store.add(_columns([(begin + at, ids[at], found[at]) for at in pieces[piece]]))
            if tell is not None:
                tell(begin + len(found))

        try:
            run_all(
                partial(_seen, trial=self._trial),
                [[changes[at] for at in piece] for piece in pieces],
                workers=self._workers,
                processes=True,
                cancel=self._cancel,
                each=each,
            )
        except CancelledError:
            go_on = "they are lost: give a folder to keep them"
            if self._store is not None:
                go_on = "the same command goes on from there"
            raise CancelledError(f"stopped after {begin + len(found)} setups tried: {go_on}") from None
        if tell is not None and not todo:
            tell(begin + len(found))
        self._count += len(ids)
        return [found[place] for place in range(len(ids))]


def _seen(piece: Sequence[dict[str, Any]], *, trial: Trial) -> list[Seen]:
    return [trial.seen(changes) for changes in piece]


def _columns(rows: Sequence[tuple[int, str, Seen]]) -> dict[str, list[Any]]:
    """Return setups tried as columns: number, id, why it has no answer, how far beyond limits and which, a column an aim."""
    made: dict[str, list[Any]] = {
        RUN: [number for number, _, _ in rows],
        ID: [ident for _, ident, _ in rows],
        REFUSED: [one.refused for _, _, one in rows],
        BEYOND: [float(one.beyond) for _, _, one in rows],
        BROKEN: [json.dumps(one.broken) for _, _, one in rows],
    }
    count = max((len(one.figures) for _, _, one in rows if one.figures is not None), default=0)
    for aim in range(count):
        made[_aim(aim)] = [None if one.figures is None else one.figures[aim] for _, _, one in rows]
    return made


def _read(store: Store, aims: int) -> dict[int, tuple[str, Seen]]:
    """Return id and outcome of the setups that a folder holds, by number."""
    found: dict[int, tuple[str, Seen]] = {}
    for row in store.done().iter_rows(named=True):
        figures = None
        if row.get(_aim(0)) is not None:
            figures = tuple(float(row[_aim(aim)]) for aim in range(aims))
        found[row[RUN]] = (
            row[ID],
            Seen(figures, row[BEYOND], row[REFUSED], tuple(json.loads(row[BROKEN]))),
        )
    return found


def _aim(number: int) -> str:
    return f"aim {number + 1}"
