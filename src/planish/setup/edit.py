"""A document with values replaced: changes by dotted path, as `Setup.replace` takes them."""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from typing import Any

from planish.errors import SetupError
from planish.setup.paths import Key, resolve, show, step_into

_ZONES = "zone_pressures"


def edited(
    document: Mapping[str, Any], tree: Mapping[str, Any], changes: Mapping[str, Any]
) -> dict[str, Any]:
    """Return the document with values replaced.

    Names and places are those of the setup as it was before all changes; what an earlier change appends can be
    named too. Entries taken out of a list leave last, so that no place moves meanwhile.

    Parameters
    ----------
    document, tree
        The document as written, and as filled in; neither is changed.
    changes
        Dotted path to value as it would stand in the file; None takes the key out.

    Raises
    ------
    SetupError
        For a path that leads nowhere.
    """
    if not isinstance(changes, Mapping):
        raise SetupError(
            f"changes: a {type(changes).__name__} was given: must be a table of paths and values, such as "
            "{'recipe.step.main.time': '90 s'}"
        )
    new = deepcopy(dict(document))
    leaving: list[tuple[list[Any], int]] = []
    for path, value in changes.items():
        keys = _keys(path, tree, new)
        holder = _opened(new, tree, keys, path)
        last = keys[-1]
        if value is None and isinstance(holder, list) and isinstance(last, int):
            leaving.append((holder, last))
        elif value is None:
            holder.pop(last, None)
        elif isinstance(holder, list) and last == len(holder):
            holder.append(deepcopy(value))
        else:
            holder[last] = deepcopy(value)
    for holder, last in sorted(leaving, key=lambda item: -item[1]):
        del holder[last]
    return new


def _keys(path: str, tree: Mapping[str, Any], new: dict[str, Any]) -> tuple[Key, ...]:
    try:
        return resolve(path, tree, grow=True)
    except SetupError:
        try:  # something that an earlier change put in
            return resolve(path, _laid(new, tree), grow=True)
        except SetupError:
            pass
        raise


def _laid(new: Any, tree: Any) -> Any:
    """Return what ``new`` says, and what the filled-in document says where it says nothing."""
    if not isinstance(new, dict) or not isinstance(tree, Mapping):
        return new
    return {**tree, **{key: _laid(value, tree.get(key)) for key, value in new.items()}}


def _opened(new: dict[str, Any], tree: Mapping[str, Any], keys: tuple[Key, ...], path: str) -> Any:
    """Return the table or list in ``new`` that holds the last key.

    What the part or a default holds is copied in where it is a list; one zone pressure for all becomes a list of
    one a zone.
    """
    here: Any = new
    for depth, key in enumerate(keys[:-1]):
        held = step_into(here, key)
        following = keys[depth + 1]
        if not isinstance(held, dict | list):
            held = _list(held, keys[: depth + 1], tree) if isinstance(following, int) else {}
            here[key] = held
        if isinstance(following, int) != isinstance(held, list):
            place = show(keys[: depth + 1], tree)
            kind = "a list" if isinstance(held, list) else "a table"
            raise SetupError(f"{path}: leads nowhere ({place} holds {kind})")
        here = held
    last = keys[-1]
    if isinstance(here, list) and (not isinstance(last, int) or last > len(here)):
        raise SetupError(f"{path}: leads nowhere ({show(keys[:-1], tree)} holds {len(here)} entries)")
    return here


def _list(held: Any, keys: tuple[Key, ...], tree: Mapping[str, Any]) -> list[Any]:
    shadow: Any = tree
    for key in keys:
        shadow = step_into(shadow, key)
    if isinstance(shadow, list):
        return deepcopy(shadow)
    if keys[-1] == _ZONES:
        one = held if held is not None else shadow
        return [deepcopy(one) for _ in tree["head"]["zone"]]
    return []
