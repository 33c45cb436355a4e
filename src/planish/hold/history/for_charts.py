"""Wafers of a history as the columns that a chart is drawn of."""

from __future__ import annotations

import json
from bisect import bisect_right
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypedDict

import numpy as np

from planish.errors import DataError, refuse
from planish.hold.history import ask
from planish.hold.history.figures import FIGURES, factor_of, figure_named
from planish.hold.history.moments import told

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from planish.hold.history.chosen import Chosen
    from planish.setup.given import SetupLike

#: Columns at whose changes limits may be taken anew.
CHANGING = ("pad", "disk", "ring", "tool", "head", "platen", "recipe")


class ChartOptions(TypedDict, total=False):
    """What :func:`planish.hold_chart` takes of wafers besides their values and phases."""

    new_phase: Sequence[int]
    baseline: int | None
    centre: float | None
    sigma: float | None
    limit: float | None
    arl: float | None
    weight: float | None
    settling: bool
    reference: float | None
    head_start: float | None
    rules: Sequence[str]
    alpha: float | None
    widen: bool
    model: SetupLike | None
    age: str | None


def columns_of(
    connection: Connection, which: Chosen, values: Sequence[str], phase: str | None
) -> tuple[dict[str, Any], list[str], Callable[[int], str]]:
    """Return the columns of a chart, what the figures asked for are called in them, and what names a row, counted from 1.

    Parameters
    ----------
    connection
        To a history.
    which
        Wafers.
    values
        Figures that are charted.
    phase
        A column, or a kind of event, at whose changes limits are taken anew.

    Raises
    ------
    DataError
        For figures and phases that there are not, and where no wafer is meant.
    """
    columns = ["polished", "wafer", "tool", "head", "platen", "pad_wafers", *CHANGING[:3], "recipe"]
    plain = [_known(word) for word in values]
    columns += [FIGURES[name] for name in plain if name]
    beside = ["kept"] if None in plain else []
    rows = ask.wafer_rows(connection, which, list(dict.fromkeys([*columns, *beside])))
    if not rows:
        raise DataError(
            refuse("history: wafers that are meant by", which.told(), "some (planish log show lists them)")
        )
    kept = [json.loads(row.kept) if row.kept else {} for row in rows] if beside else []
    names = [figure_named(word, {name for each in kept for name in each}) for word in values]
    data: dict[str, Any] = {"pad_wafers": [row.pad_wafers for row in rows]}
    for name in names:
        if name in FIGURES:
            data[name] = np.array([row._mapping[FIGURES[name]] for row in rows], np.float64) * factor_of(name)
        else:
            data[name] = [each.get(name) for each in kept]
    if phase is not None:
        data["phase"] = _phases(connection, which, rows, phase)
    return data, names, lambda row: f"{rows[row - 1].wafer or 'cut'}, {told(rows[row - 1].polished)}"


def _known(word: str) -> str | None:
    try:
        return figure_named(word, ())
    except DataError:
        return None


def _phases(connection: Connection, which: Chosen, rows: Sequence[Any], phase: str) -> list[str]:
    if phase in CHANGING:
        return [str(row._mapping[phase]) or "not said" for row in rows]
    kind = " ".join(phase.split()).lower()
    kinds = ask.kinds(connection)
    if kind not in kinds:
        allowed = f"one of {', '.join(CHANGING)}, or a kind of event that was noted: {', '.join(kinds[:12]) or 'none yet'}"
        raise DataError(refuse("--phase", phase, allowed))
    happened = [one for one in ask.events(connection, which, 0, rows[-1].polished) if one["kind"] == kind]
    return [_since(row, happened) for row in rows]


def _since(row: Any, happened: Sequence[dict[str, Any]]) -> str:
    """Return since which event a wafer is: the last before it at its own place."""
    before = bisect_right(happened, row.polished, key=lambda one: one["at"])
    for one in reversed(happened[:before]):
        if all(one[name] in ("", row._mapping[name]) for name in ("tool", "head", "platen")):
            return f"{one['kind']} of {told(one['at'])}" + (f" ({one['part']})" if one["part"] else "")
    return "before the first"
