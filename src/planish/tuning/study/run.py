"""Many runs of one setup, shared among processes or a cluster, kept as they come, and gone on with after a stop."""

from __future__ import annotations

import os
from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from planish.engine.execute import Cancel, CancelledError, Progress, run_all
from planish.engine.given import as_path
from planish.errors import DataError, PlanishError, SetupError, refuse
from planish.setup.given import as_setup, asked_of
from planish.tuning.study.design import designed
from planish.tuning.study.result import StudyResult
from planish.tuning.study.runs import ID, RUN, Move, Predicted, rows
from planish.tuning.study.store import Store, framed, held, joined, plan_of, run_ids
from planish.tuning.study.vary import Varied, varied

if TYPE_CHECKING:
    import polars as pl

    from planish.setup.given import SetupLike
    from planish.setup.models import Setup

BATCH = 64  # runs in one part: some half a second of wafers, which is what a kill can lose
BATCHES = 32  # in a small study at least, so that workers share it
TRIED = 8  # values of a key that are tried before all of them are said to be wrong


def study(
    setup: SetupLike,
    vary: Mapping[str, object] | None = None,
    *,
    samples: int | None = None,
    sobol: int | None = None,
    morris: int | None = None,
    seed: int = 0,
    wafers: int | None = None,
    folder: str | os.PathLike[str] | None = None,
    workers: int | None = None,
    address: str | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> StudyResult:
    """Predict many variants of a setup.

    Parameters
    ----------
    setup
        A loaded setup, or the path of a setup file.
    vary
        Key to its values: ``{"recipe.step.main.ring_pressure": "2..6 psi/9", "pad.part": "hard-microporous, soft-felt"}``,
        or a sequence of values. Without more, every value of one is run with every value of the others.
    samples
        So many draws instead of a grid: of the varied keys, evenly in their ranges; where no key varies, of all stated
        spreads at once, each cut off at three standard deviations, log-normal where it is a share of the value, else
        normal.
    sobol
        So many base samples (a power of 2) for Sobol indices of the varied keys: (keys + 2) times as many runs.
    morris
        So many trajectories for Morris's elementary effects: (keys + 1) times as many runs.
    seed
        Of all that is left to chance, lots too.
    wafers
        Of a lot; one wafer on a fresh pad unless given.
    folder
        Keeps plan and runs as they come. The same call with the same folder goes on where it was stopped.
    workers
        Processes here (default: one a core). The numbers do not depend on it.
    address
        Of a Dask scheduler such as "tcp://host:8786", which then does the work.
    progress
        Called with (runs done, all runs).
    cancel
        Stops between two batches of runs.

    Returns
    -------
    StudyResult
        All runs in order; those that no setup can be made of, or that have no answer, say why.

    Raises
    ------
    SetupError
        For a key that is none, or none of whose values can be used.
    DataError
        For a folder that holds another study.
    CancelledError
        If it was stopped; says how to go on.
    """
    described = as_setup(setup)
    given = {} if vary is None else vary
    if not isinstance(given, Mapping):
        raise SetupError(
            refuse("vary", given, "a table of key and values, as {'head.ring.gap': '0.2..1 mm/9'}")
        )
    if wafers is not None and (isinstance(wafers, bool) or not isinstance(wafers, int) or wafers < 1):
        raise SetupError(refuse("wafers", wafers, "a whole number, 1 or more"))
    keys = [varied(described, path, values) for path, values in given.items()]
    for one in keys:
        try_values(described, one)
    design = designed(described, keys, samples=samples, sobol=sobol, morris=morris, seed=seed)
    first = Predicted(described, wafers, seed, design.spread)
    stands = _as_it_stands(first)
    of = Predicted(described, wafers, seed, design.spread, frozenset(stands.notes))
    options: dict[str, object] = {
        "vary": {one.path: _kept(values) for one, values in zip(keys, given.values(), strict=True)},
        "samples": samples,
        "sobol": sobol,
        "morris": morris,
        "wafers": wafers,
    }
    in_order = [[one.path, _kept(values)] for one, values in zip(keys, given.values(), strict=True)]
    plan = plan_of(described, {**options, "vary": in_order, "seed": seed})
    moves = [design.move(run) for run in range(design.size)]
    ids = run_ids(plan, moves)
    shared: dict[str, Any] = {"workers": workers, "address": address, "progress": progress, "cancel": cancel}
    if folder is None:
        found = _made(of, moves, ids, None, **shared)
    else:
        with held(as_path(folder, "folder")) as store:
            store.begin(plan)
            found = _made(of, moves, ids, store, **shared)
    asked = asked_of([described], seed=seed, options=options)
    return StudyResult.of(
        design,
        found,
        order=stands.figures,
        seed=seed,
        wafers=wafers,
        said=stands.said,
        asked=asked,
        rests_on=stands.sources,
    )


def _kept(values: object) -> object:
    if isinstance(values, np.ndarray):
        return values.tolist()
    return list(values) if isinstance(values, tuple) else values


def try_values(setup: Setup, one: Varied) -> None:
    """Refuse a key none of whose values makes a setup.

    Parameters
    ----------
    setup
        In which each is tried, alone.
    one
        The key and its values.

    Raises
    ------
    SetupError
        With what is wrong with the first of them.
    """
    places = np.unique(np.linspace(0, len(one.values) - 1, TRIED).astype(int))
    values = [one.values[at] for at in places]
    if one.ends is not None and not one.counted:
        values.append(one.at(sum(one.ends) / 2))
    refusal: PlanishError | None = None
    for value in values:
        try:
            setup.replace({one.path: value})
        except PlanishError as error:
            refusal = refusal or error
        else:
            return
    raise SetupError(f"vary {one.path}: none of its values can be used: {refusal}")


class _Stands(NamedTuple):
    """The setup that nothing was changed in: its figures' names, its notes as they are and as a study tells them."""

    figures: tuple[str, ...]
    notes: tuple[str, ...]
    said: tuple[str, ...]
    sources: tuple[str, ...]


def _as_it_stands(of: Predicted) -> _Stands:
    try:
        found = of.predicted(of.setup)
    except PlanishError as error:
        rig = of.setup.rig
        return _Stands((), rig.notes, (f"the setup as it stands has no answer: {error}",), rig.sources)
    said = tuple(f"as it stands: {note}" for note in found.notes)
    return _Stands(tuple(found.summary()), found.notes, said, tuple(found.sources()))


def _made(
    of: Predicted,
    moves: list[Move],
    ids: list[str],
    store: Store | None,
    *,
    workers: int | None,
    address: str | None,
    progress: Progress | None,
    cancel: Cancel | None,
) -> pl.DataFrame:
    """Return all runs, those that the folder holds from there."""
    before = None if store is None else store.done()
    there = set() if before is None else _same(before, ids)
    todo = [run for run in range(len(moves)) if run not in there]
    size = max(1, min(BATCH, len(moves) // BATCHES))
    pieces = [
        [(run, ids[run], moves[run]) for run in todo[at : at + size]] for at in range(0, len(todo), size)
    ]
    done = len(there)

    def each(place: int, columns: dict[str, list[Any]]) -> None:
        nonlocal done
        if store is not None:
            store.add(columns)
        done += len(pieces[place])
        if progress is not None:
            progress(done, len(moves))

    if progress is not None:
        progress(done, len(moves))
    try:
        found = run_all(
            partial(rows, of=of),
            pieces,
            workers=workers,
            processes=True,
            address=address,
            cancel=cancel,
            each=each,
        )
    except CancelledError:
        go_on = (
            "the same command goes on from there"
            if store is not None
            else "they are lost: give a folder to keep them"
        )
        raise CancelledError(f"stopped after {done} of {len(moves)} runs: {go_on}") from None
    frames = [framed(columns) for columns in found]
    return joined(frames if before is None or not before.height else [before, *frames])


def _same(before: pl.DataFrame, ids: list[str]) -> set[int]:
    """Return the numbers of the runs that were done; the plan is the same, and so are they."""
    found = dict(zip(before[RUN].to_list(), before[ID].to_list(), strict=True))
    wrong = next((run for run, ident in found.items() if run >= len(ids) or ids[run] != ident), None)
    if wrong is not None:
        raise DataError(
            f"parts: run {wrong} is not one of this plan: must be made by it (empty the folder, or name another)"
        )
    return set(found)
