"""The setup file with fitted values: its comments kept, each value with its band and where it comes from."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from planish._version import __version__
from planish.engine.record import counted
from planish.fit.calibrate.held_spreads import HeldSpreads
from planish.setup import paths

if TYPE_CHECKING:
    import datetime
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from planish.fit.calibrate.observed import Observed
    from planish.fit.calibrate.parameters import Parameter
    from planish.fit.calibrate.solve import Solution
    from planish.fit.calibrate.told import Untold
    from planish.setup.changes import Changes
    from planish.setup.models import Setup

    Array = NDArray[np.float64]

_DIGITS = 6  # of a fitted value in a file
_FAINT = 0.001  # a correlation that is less is left out


class Found(Protocol):
    """What of a fit is written into a setup; its answer has all of it."""

    @property
    def setup(self) -> Setup:
        """As it was."""

    @property
    def parameters(self) -> tuple[Parameter, ...]:
        """The free numbers."""

    @property
    def observed(self) -> tuple[Observed, ...]:
        """What they were fitted to."""

    @property
    def solution(self) -> Solution:
        """Where the fit ended."""

    @property
    def untold(self) -> tuple[Untold, ...]:
        """What the data cannot tell."""

    @property
    def level(self) -> float:
        """Of the intervals."""

    @property
    def date(self) -> datetime.date:
        """Of the fit."""

    @property
    def held(self) -> HeldSpreads:
        """How the fitted numbers follow what was held."""

    @property
    def changes(self) -> Changes:
        """The changes that put the values into the setup."""

    def values(self) -> list[tuple[float, float, float]]:
        """Return value, low and high of each number [SI]."""


def fitted_setup(found: Found) -> Setup:
    """Return the setup with the fitted values and a table that says how they were fitted.

    Rows of values that were fitted before and stand as they were are kept.

    Parameters
    ----------
    found
        The fit.
    """
    before = found.setup.tree.get("fitted") or {}
    changes: dict[str, Any] = dict(found.changes)
    held = found.held
    whole = found.solution.estimated.covariance + held.slopes @ held.slopes.T
    rows = [
        _row(one, value, low, high, math.sqrt(max(float(whole[index, index]), 0.0)))
        for index, (one, (value, low, high)) in enumerate(zip(found.parameters, found.values(), strict=True))
    ]
    new = {row["key"] for row in rows}
    rows = [
        row for row in before.get("value", []) if row["key"] not in new and _holds(found.setup, row)
    ] + rows
    files = {(name, digest): None for one in found.observed for name, digest in one.files}
    if len(rows) > len(new):
        files = {**{(row["file"], row["sha256"]): None for row in before.get("file", [])}, **files}
    table: dict[str, Any] = {
        "planish": __version__,
        "date": found.date.isoformat(),
        "method": _method(found),
        "level": found.level,
    }
    if files:
        table["file"] = [{"file": name, "sha256": digest} for name, digest in files]
    table["value"] = rows
    kept = {row["key"] for row in rows} - new
    pairs = [row for row in before.get("together", []) if {row["first"], row["second"]} <= kept]
    pairs += _pairs(found.parameters, held, whole)
    if pairs:
        table["together"] = pairs
    followed = {row["second"] for row in pairs} - {row["key"] for row in rows}
    if followed:
        table["held"] = [
            {"key": key, "value": value}
            for key, value in zip(held.keys, held.values, strict=True)
            if key in followed
        ]
    changes["fitted"] = table
    return found.setup.replace(changes)


def _pairs(parameters: Sequence[Parameter], held: HeldSpreads, whole: Array) -> list[dict[str, Any]]:
    """Return a row for each two values whose errors go together: two fitted ones, or a fitted and a held one."""
    errors = np.sqrt(np.maximum(np.diag(whole), 1e-300))
    fitted = whole / np.outer(errors, errors)
    followed = held.slopes / errors[:, None]
    pairs = [
        (one.path, other.path, float(fitted[i, j]))
        for i, one in enumerate(parameters)
        for j, other in enumerate(parameters[:i])
    ]
    pairs += [
        (one.path, key, float(followed[i, h]))
        for i, one in enumerate(parameters)
        for h, key in enumerate(held.keys)
    ]
    return [
        {"first": first, "second": second, "correlation": round(size, 6)}
        for first, second, size in pairs
        if abs(size) >= _FAINT
    ]


def _holds(setup: Setup, row: dict[str, Any]) -> bool:
    place = paths.show(paths.resolve(row["key"], setup.tree, grow=True), setup.tree)
    origin = setup.origins.get(place)
    return origin is not None and origin.origin == "setup" and bool(origin.spread)


def _method(found: Found) -> str:
    known = any(found.solution.precision > 0)
    losses = {"huber": "robust least squares", "linear": "least squares"}
    return (
        f"{losses[found.solution.loss]} of {counted(found.solution.predicted.size, 'value')} in "
        f"{counted(len(found.observed), 'set')}, {'with' if known else 'without'} what the parts state of their spreads"
    )


def _row(one: Parameter, value: float, low: float, high: float, error: float) -> dict[str, Any]:
    if one.log:
        spread = f"{100.0 * math.sqrt(math.expm1(error**2)):.3g} %"
    else:
        step = abs(one.shown(value + error) - one.shown(value))
        spread = f"{step:.3g} {one.unit}".strip()
    texts = {"value": value, "low": low, "high": high}
    return {
        "key": one.path,
        **{name: one.text(each, _DIGITS) for name, each in texts.items()},
        "spread": spread,
    }


def with_comments(found: Found) -> str:
    """Return the fitted setup as TOML: a comment behind each fitted value says its band and where it comes from.

    Parameters
    ----------
    found
        The fit.
    """
    import tomlkit

    setup = fitted_setup(found)
    document: Any = tomlkit.parse(setup.to_toml())
    for one, (_, low, high) in zip(found.parameters, found.values(), strict=True):
        words = (
            f"fitted {found.date.isoformat()}: {100 * found.level:g} % interval {one.told(low)} to {one.told(high)}; "
            f"{_told_by(found, one)}; see [fitted]"
        )
        _comment(document, paths.resolve(one.path, setup.tree, grow=True), words)
    table = document.get("fitted")
    if table is not None and hasattr(table, "trivia"):
        table.comment("written by planish fit: what was fitted, to which files, and how far it may be off")
    text = tomlkit.dumps(document)
    return text if tomlkit.parse(text).unwrap() == setup.document else setup.to_toml()


def _told_by(found: Found, one: Parameter) -> str:
    """Return what a value rests on: the data, or what was known before."""
    if any(one.path in each.paths for each in found.untold):
        return "these data do not tell it alone"
    names = list(dict.fromkeys(name for each in found.observed for name, _ in each.files))
    return (
        f"from {', '.join(names[:3])}{' and more' if len(names) > 3 else ''}"
        if names
        else "from measurements"
    )


def _comment(document: Any, keys: tuple[paths.Key, ...], words: str) -> None:
    """Put a comment behind the value at a place, before what stands there already."""
    here = document
    for key in keys[:-1]:
        here = here[key]
    item = here.item(keys[-1]) if hasattr(here, "item") and isinstance(keys[-1], str) else None
    if item is None or not hasattr(item, "comment"):
        return
    old = item.trivia.comment.removeprefix("#").strip()
    kept = "" if not old or old.startswith("fitted ") else f"; {old}"
    item.comment(f"{words}{kept}")
