"""The folder of a study or a choice: its plan, and the runs done so far as Parquet parts, each written whole or not at all.

What is in a part is never computed again, and what is not in one never was: what was stopped or killed goes on
from there when the same is asked for again. Every run carries the hash of what it was computed from.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planish._version import __version__
from planish.engine.files import sweep, write_whole
from planish.errors import DataError, refuse
from planish.tuning.study.runs import ID, RUN, Move

if TYPE_CHECKING:
    import polars as pl

    from planish.setup.models import Setup

PLAN, PARTS = "plan.json", "parts"
STUDY, CHOICE = "planish study", "planish choice"
FORMAT = 1
_CALLED = {STUDY: "a study", CHOICE: "a choice"}
_ELSEWHERE = "name another folder, or empty this one"


def plan_of(setup: Setup, asked: dict[str, Any], kind: str = STUDY) -> dict[str, Any]:
    """Return the plan of a study or a choice: all that its numbers follow from.

    Parameters
    ----------
    setup
        That it runs.
    asked
        How, as JSON can hold it.
    kind
        ``STUDY`` or ``CHOICE``.

    Returns
    -------
    dict[str, Any]
        For the folder's plan file.
    """
    return {
        "file": kind,
        "format": FORMAT,
        "version": __version__,
        "setup": {"name": setup.name, "digest": setup.digest(), "text": setup.to_toml()},
        "asked": json.loads(json.dumps(asked)),
    }


def run_ids(plan: dict[str, Any], moves: Sequence[Move], of: Sequence[str] = ("wafers", "seed")) -> list[str]:
    """Return the id of each run: a hash of version, setup, what is predicted, and what the run changes.

    Parameters
    ----------
    plan
        Of the study.
    moves
        Of the runs.
    of
        What is asked that a run's figures follow from.

    Returns
    -------
    list[str]
        Twenty letters each.
    """
    what = {key: plan["asked"][key] for key in of}
    start = hashlib.sha256(_text([plan["version"], plan["setup"]["digest"], what]).encode())
    found = []
    for move in moves:
        one = start.copy()
        one.update(_text(move).encode())
        found.append(one.hexdigest()[:20])
    return found


def _text(value: Any) -> str:
    return json.dumps(value, sort_keys=True, separators=(",", ":"), default=str)


class Store:
    """The folder of one study or choice, held by this process alone."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def begin(self, plan: dict[str, Any]) -> None:
        """Write the plan, or see that the one there is the same.

        Parameters
        ----------
        plan
            Of what is asked for.

        Raises
        ------
        DataError
            For a folder that holds another one, or a plan that cannot be read.
        """
        place, called = self._folder / PLAN, _CALLED[plan["file"]]
        if not place.exists():
            if list((self._folder / PARTS).glob("*.parquet")):
                raise DataError(f"{self._folder}: holds runs of {called} without its plan ({_ELSEWHERE})")
            write_whole(place, json.dumps(plan, indent=1, ensure_ascii=False) + "\n")
            return
        try:
            there = json.loads(place.read_text(encoding="utf-8"))
            kind, number = there["file"], there["format"]
        except (OSError, ValueError, KeyError, TypeError):
            raise DataError(f"{place}: not the plan of {called} ({_ELSEWHERE})") from None
        if kind in _CALLED and kind != plan["file"]:
            raise DataError(f"{self._folder}: holds {_CALLED[kind]}, not {called} ({_ELSEWHERE})")
        if kind != plan["file"] or number != FORMAT:
            raise DataError(refuse(f"{place}: format", number, str(FORMAT), _ELSEWHERE))
        for name, words in (("version", "planish"), ("setup", "setup"), ("asked", "plan")):
            if there.get(name) != plan[name]:
                told = _differs(there.get(name), plan[name])
                raise DataError(f"{self._folder}: holds {called} with another {words} ({told}): {_ELSEWHERE}")

    def done(self) -> pl.DataFrame:
        """Return all runs that were done, in order.

        Raises
        ------
        DataError
            For a part that cannot be read.
        """
        import polars as pl

        sweep(self._folder / PARTS)
        frames = []
        for part in sorted((self._folder / PARTS).glob("part-*.parquet")):
            try:
                frames.append(pl.read_parquet(part))
            except Exception as error:  # whatever the reader makes of damage
                raise DataError(
                    f"{part}: cannot be read ({type(error).__name__}): damaged (take it out: its runs are made again)"
                ) from error
        if not frames:
            return pl.DataFrame({RUN: [], ID: []}, schema={RUN: pl.Int64, ID: pl.String})
        return joined(frames)

    def add(self, columns: dict[str, list[Any]]) -> None:
        """Write one more part.

        Parameters
        ----------
        columns
            Of a batch of runs.
        """
        made = framed(columns)
        held = io.BytesIO()
        made.write_parquet(held)
        write_whole(self._folder / PARTS / f"part-{columns[RUN][0]:08d}.parquet", held.getvalue())


def framed(columns: dict[str, list[Any]]) -> pl.DataFrame:
    """Return columns as a frame.

    Parameters
    ----------
    columns
        Of one length.

    Returns
    -------
    pl.DataFrame
        Whole numbers stay whole.
    """
    import polars as pl

    return pl.DataFrame(columns, strict=False, infer_schema_length=None)


def joined(frames: Sequence[pl.DataFrame]) -> pl.DataFrame:
    """Return the runs of all parts in order; a figure that a part lacks is null there.

    Parameters
    ----------
    frames
        Of the parts.

    Returns
    -------
    pl.DataFrame
        A row a run.
    """
    import polars as pl

    return pl.concat(frames, how="diagonal_relaxed").sort(RUN)


def _differs(there: Any, here: Any) -> str:
    if isinstance(there, dict) and isinstance(here, dict):
        if there.get("digest") != here.get("digest"):
            return f"digest {there.get('digest')}, here {here.get('digest')}"
        key = next((key for key in here if there.get(key) != here[key]), "text")
        if key == "text":
            return "its text differs"
        return f"{key} {_text(there.get(key))[:120]}, here {_text(here[key])[:120]}"
    return f"{there}, here {here}"


@contextmanager
def held(folder: Path) -> Iterator[Store]:
    """Give the folder's store to this process alone.

    Parameters
    ----------
    folder
        Made where it is missing.

    Yields
    ------
    Store
        Until the block ends.

    Raises
    ------
    DataError
        Where another process has it, or it cannot be written.
    """
    try:
        (folder / PARTS).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise DataError(f"{folder}: cannot be written ({error.strerror}): name another folder") from None
    try:
        import fcntl
    except ImportError:  # no POSIX: who runs two in one folder makes runs twice, to the same numbers
        yield Store(folder)
        return
    handle = os.open(folder / PARTS, os.O_RDONLY)  # noqa: TID251  # a folder, opened to lock it
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise DataError(
                f"{folder}: another process makes its runs (wait for it, or name another folder)"
            ) from None
        yield Store(folder)
    finally:
        os.close(handle)
