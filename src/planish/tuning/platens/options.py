"""Which platen an option is of: paths that begin with ``platen.N.`` are of the Nth, others of every platen that has them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from planish.errors import PlanishError, SetupError, refuse
from planish.setup import paths
from planish.tuning.limits import KINDS

if TYPE_CHECKING:
    from planish.setup.models import Setup

_OF_ONE = re.compile(r"platen\.(?P<number>[^.]*)(?:\.(?P<path>.+))?", re.DOTALL)


def bounds_by_platen(bounds: Mapping[str, str], setups: Sequence[Setup]) -> list[dict[str, str]]:
    """Return bounds by platen; those of one platen stand after those of all, and so count there.

    Parameters
    ----------
    bounds
        By what they bound.
    setups
        Platen after platen.

    Raises
    ------
    SetupError
        For a platen that there is not.
    """
    each: list[dict[str, str]] = [{} for _ in setups]
    for key, text in sorted(bounds.items(), key=lambda item: _OF_ONE.fullmatch(item[0]) is not None):
        for number, path in _meant(key, setups, "--bound"):
            if not path:
                raise SetupError(
                    refuse("--bound", key, "with what is bound there", f"as {key}.zone_pressure=1..6 psi")
                )
            each[number].pop(path, None)
            each[number][path] = text
    return each


def kept_by_platen(keep: Iterable[str], setups: Sequence[Setup]) -> list[list[str]]:
    """Return paths that stay as they are, by platen; ``platen.N`` alone is all of that platen.

    Parameters
    ----------
    keep
        Paths.
    setups
        Platen after platen.

    Raises
    ------
    SetupError
        For a platen that there is not.
    """
    each: list[list[str]] = [[] for _ in setups]
    for key in keep:
        for number, path in _meant(key, setups, "--keep"):
            each[number].append(path or "recipe.step")
    return each


def changes_by_platen(changes: Mapping[str, object], setups: Sequence[Setup]) -> list[dict[str, object]]:
    """Return changes by platen: a path without a number is changed on all.

    Parameters
    ----------
    changes
        Path to value.
    setups
        Platen after platen.

    Raises
    ------
    SetupError
        For a platen that there is not.
    """
    each: list[dict[str, object]] = [{} for _ in setups]
    for key, value in changes.items():
        found = _OF_ONE.fullmatch(key)
        if found is None:
            for one in each:
                one.setdefault(key, value)
            continue
        number = _number(found, key, len(setups), "--set")
        if found["path"] is None:
            raise SetupError(refuse("--set", key, "with a path", f"as {key}.recipe.step.main.time=40 s"))
        each[number][found["path"]] = value
    return each


def _meant(key: str, setups: Sequence[Setup], option: str) -> list[tuple[int, str]]:
    """Return platens, from 0, and the path there; "" where none is given."""
    found = _OF_ONE.fullmatch(key)
    if found is not None:
        return [(_number(found, key, len(setups), option), found["path"] or "")]
    everywhere = [(number, key) for number in range(len(setups))]
    if key in KINDS:
        return everywhere
    # where none has it, the first one says what is wrong with it
    return [(number, key) for number, setup in enumerate(setups) if _has(setup, key)] or everywhere


def _number(found: re.Match[str], key: str, count: int, option: str) -> int:
    text = found["number"]
    if not text.isdecimal() or not 1 <= int(text) <= count:
        raise SetupError(refuse(option, key, f"of platen.1 to platen.{count}"))
    return int(text) - 1


def _has(setup: Setup, path: str) -> bool:
    try:
        paths.resolve(path, setup.tree)
    except PlanishError:
        return False
    return True
