"""Dotted paths into a setup: the one way to name a place, in Python, messages, options, JSON and on the page.

A path is keys joined by dots, written as TOML writes keys: a key of letters, digits, ``_`` and ``-`` stands
bare, any other in quotes: ``recipe.step."touch down".flow``. Steps, films and zones go by their name
(``recipe.step.main.time``, ``head.zone.edge.outer_radius``; a film without a name by its material) or by their
place counted from 1 (``recipe.step.2.time``), as does each value of a list. A bare number is always a place; a
name that is itself a number stands in quotes (``recipe.step."2".time``). The pressure of one zone in a step goes
by the zone's name or place too: ``recipe.step.main.zone_pressures.edge``.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from typing import Any, NamedTuple, TypeAlias

from planish.errors import SetupError, without_middle
from planish.setup.finding import nearest

Key: TypeAlias = str | int
"""A key of a table, or an index from 0 into a list: what a piece of a path leads to."""

_NAMED: dict[tuple[Key, ...], str] = {
    ("recipe", "step"): "step",
    ("wafer", "film"): "film",
    ("head", "zone"): "zone",
    ("clean", "step"): "step",
}
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_PIECE = re.compile(r"""(?P<bare>[A-Za-z0-9_-]+)|"(?P<basic>(?:[^"\\]|\\.)*)"|'(?P<literal>[^']*)'""")
_ONE = _PIECE.pattern.replace("?P<bare>", "?:").replace("?P<basic>", "?:").replace("?P<literal>", "?:")
PATH = re.compile(rf"\s*((?:{_ONE})(?:\.(?:{_ONE}))*)\s*=")
"""A path and the sign behind it, as in ``recipe.step.main.time=90 s``; the path is the first group."""

_NUMBER = re.compile(r"[0-9]+")
_DEEPEST = 12  # keys of a path
_LONGEST = 6  # digits of a place; no list is that long


class Piece(NamedTuple):
    """One key of a path as written; ``quoted`` where it stood in quotes and so is no place."""

    text: str
    quoted: bool

    @property
    def place(self) -> int | None:
        """The place counted from 1, None for a name."""
        if self.quoted or not _NUMBER.fullmatch(self.text):
            return None
        return int(self.text) if len(self.text) <= _LONGEST else 10**_LONGEST


def parse(path: str) -> tuple[Piece, ...]:
    """Return the pieces of a path.

    Raises
    ------
    SetupError
        For an empty path and one that is not written as above, with how it would be.
    """
    if not isinstance(path, str):
        raise SetupError(f"path = {path!r}: must be text, as recipe.step.main.time")
    if path.count(".") > _DEEPEST:
        raise SetupError(
            f"{without_middle(path, 80)}: must be at most {_DEEPEST} keys deep: no key of a setup lies deeper"
        )
    pieces: list[Piece] = []
    at = 0
    while True:
        found = _PIECE.match(path, at)
        if found is None:
            raise _unreadable(path)
        pieces.append(_piece(found, path))
        at = found.end()
        if at == len(path):
            return tuple(pieces)
        if path[at] != ".":
            raise _unreadable(path)
        at += 1


def _piece(found: re.Match[str], path: str) -> Piece:
    if found["bare"] is not None:
        return Piece(found["bare"], quoted=False)
    if found["literal"] is not None:
        return Piece(found["literal"], quoted=True)
    try:
        return Piece(tomllib.loads(f'key = "{found["basic"]}"')["key"], quoted=True)
    except tomllib.TOMLDecodeError:
        raise _unreadable(path) from None


def _unreadable(path: str) -> SetupError:
    where = without_middle(path, 120)
    if not path.strip():
        return SetupError("path: is empty: must be keys joined by dots, as recipe.step.main.time")
    remedy = ""
    if not any(sign in path for sign in "\"'\\") and all(piece.strip() for piece in path.split(".")):
        remedy = f" (write {'.'.join(key_text(piece) for piece in path.split('.'))})"
    return SetupError(
        f"{where}: must be keys joined by dots, each of letters, digits, _ and -, any other in quotes{remedy}"
    )


def key_text(name: str) -> str:
    """Return a name as it stands in a path: bare where it can, else in quotes; a number always in quotes."""
    if _BARE.fullmatch(name) and not _NUMBER.fullmatch(name):
        return name
    return quoted(name)


def quoted(text: str) -> str:
    """Return text as a TOML string on one line."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if ord(c) >= 32 and ord(c) != 127 else f"\\u{ord(c):04x}" for c in escaped) + '"'


def join(path: str, name: str) -> str:
    """Return a path one key longer.

    Parameters
    ----------
    path
        Of a table; "" for the whole setup.
    name
        Of the key.

    Returns
    -------
    str
        Quoted where the name needs it.
    """
    return f"{path}.{key_text(name)}" if path else key_text(name)


def entry(items: Sequence[Any], index: int) -> str:
    """Return how an entry of a list of tables is called in a path: its name, else its place.

    Parameters
    ----------
    items
        The tables.
    index
        Which of them, from 0.

    Returns
    -------
    str
        The key to write after the list's path.
    """
    names = [_name(item) for item in items]
    return _entry(names, index)


def show(keys: Sequence[Key], tree: Any) -> str:
    """Return the path of a place: ``("recipe", "step", 1, "time")`` -> ``"recipe.step.main.time"``.

    Parameters
    ----------
    keys
        Keys of tables, and indices from 0 into lists.
    tree
        The filled-in document, for the names.
    """
    told: list[str] = []
    for depth, key in enumerate(keys):
        if isinstance(key, str):
            told.append(key_text(key))
        else:
            told.append(_entry(_names(tuple(keys[:depth]), tree) or [], key))
    return ".".join(told)


def _entry(names: Sequence[str | None], index: int) -> str:
    name = names[index] if index < len(names) else None
    return str(index + 1) if name is None or names.count(name) > 1 else key_text(name)


def resolve(path: str, tree: Any, *, grow: bool = False) -> tuple[Key, ...]:
    """Return the keys of tables and the indices from 0 that a path leads through.

    Keys of tables need not exist in ``tree``; places and names in lists must.

    Parameters
    ----------
    path
        As the module says.
    tree
        The filled-in document.
    grow
        Whether the last piece may be the place after a list's end.

    Raises
    ------
    SetupError
        For a path that cannot be read, a place that is not there (0 among them), a name that no entry or more
        than one has.
    """
    pieces = parse(path)
    keys: list[Key] = []
    here = tree
    for depth, piece in enumerate(pieces):
        names = _names(tuple(keys), tree)
        if isinstance(here, list) or (names is not None and not isinstance(here, dict)):
            size = len(here) if isinstance(here, list) else len(names or ())
            keys.append(_index(piece, keys, names, size, path, more=grow and depth == len(pieces) - 1))
        elif isinstance(here, dict):
            by_place = names is not None and piece.place is not None
            index = _index(piece, keys, names, len(names or ()), path) if by_place else 0
            keys.append((names or [])[index] or piece.text if by_place else piece.text)
        elif here is None and piece.place is None:
            keys.append(piece.text)
        elif here is None:
            raise SetupError(f"{path}: there is no list at {show(keys, tree)} yet: give it whole")
        else:
            raise SetupError(f"{path}: leads nowhere ({show(keys, tree)} holds no table)")
        here = step_into(here, keys[-1])
    return tuple(keys)


def step_into(here: Any, key: Key) -> Any:
    """Return what a table or list holds at a key.

    Parameters
    ----------
    here
        The table or list, or anything else.
    key
        A name, or a number from 0.

    Returns
    -------
    Any
        None where nothing is there.
    """
    if isinstance(here, dict):
        return here.get(key)
    if isinstance(here, list | tuple) and isinstance(key, int) and 0 <= key < len(here):
        return here[key]
    return None


def _index(
    piece: Piece,
    keys: Sequence[Key],
    names: Sequence[str | None] | None,
    size: int,
    path: str,
    *,
    more: bool = False,
) -> int:
    """Return the index from 0 of a place or name in a list."""
    place = piece.place
    if place == 0:
        raise SetupError(f"{path}: {piece.text}: places count from 1: must be 1 to {size}")
    if place is not None:
        if place > size + more:
            raise SetupError(f"{path}: {piece.text}: must be a place from 1 to {size}{_listed(names)}")
        return place - 1
    called = [index for index, name in enumerate(names or ()) if name == piece.text]
    if len(called) > 1:
        places = " and ".join(str(index + 1) for index in called)
        raise SetupError(
            f"{path}: {piece.text!r} is the name of places {places}: must be one of these places"
        )
    if called:
        return called[0]
    kind = _NAMED.get(tuple(keys), "zone" if names is not None else "place")
    known = [name for name in names or () if name is not None]
    hint = nearest(piece.text, known) if known else f"places 1 to {size}"
    raise SetupError(f"{path}: no {kind} {piece.text!r} there ({hint})")


def _listed(names: Sequence[str | None] | None) -> str:
    known = [name for name in names or () if name is not None]
    return f" or a name ({', '.join(known)})" if known else ""


def _names(keys: tuple[Key, ...], tree: Any) -> list[str | None] | None:
    """Return the names by which the entries of the list at ``keys`` go; None where they have none."""
    if len(keys) == 4 and keys[:2] == ("recipe", "step") and keys[3] == "zone_pressures":
        keys = ("head", "zone")
    if keys not in _NAMED:
        return None
    entries = tree
    for key in keys:
        entries = step_into(entries, key)
    return [_name(item) for item in entries] if isinstance(entries, list) else None


def _name(item: Any) -> str | None:
    """Return the name of a step, film or zone; a film without one goes by its material, None for what is no name."""
    if not isinstance(item, dict):
        return None
    for key in ("name", "material"):
        text = item.get(key)
        if isinstance(text, str) and text.strip() and len(text) <= 80 and all(ord(c) >= 32 for c in text):
            return text.strip()
    return None
