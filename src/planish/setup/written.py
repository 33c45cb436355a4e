"""A setup written back into the text that it came from: comments, order and blank lines stay."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from typing import Any

LOST = "# Comments of the file that this setup came from could not be kept in: "


def written(document: Mapping[str, Any], text: str | None) -> str:
    """Return a document as TOML.

    Parameters
    ----------
    document
        The tables.
    text
        TOML that the document came from: what is the same in it stays as it stands, comments and blank lines
        too. None where there is none.

    Notes
    -----
    Where a table of the old text is so written that the change cannot be put into it (several keys of one
    dotted table taken out at once), that table is written anew, and the first line says so.
    """
    import tomlkit

    if text is None:
        return tomlkit.dumps(document)
    text = text.replace("\r\n", "\n")
    new = _laid(text, document, ())
    if new is not None:
        return new
    old = tomllib.loads(text)
    anew = [key for key in document if key in old and _laid(text, {**old, key: document[key]}, ()) is None]
    new = _laid(text, document, anew)
    if new is not None:
        return f"{LOST}{', '.join(anew)}\n{new}"
    return f"{LOST}all of it\n{tomlkit.dumps(document)}"


def _laid(text: str, document: Mapping[str, Any], anew: Iterable[str]) -> str | None:
    """Return the text with the document laid into it, the sections ``anew`` as a whole; None where that fails."""
    import tomlkit

    try:
        kept: Any = tomlkit.parse(text)
        for key in anew:
            kept[key] = document[key]
        _lay(kept, document)
        new = tomlkit.dumps(kept)
        return new if tomllib.loads(new) == document else None
    except (
        ValueError,
        KeyError,
        TypeError,
        IndexError,
        AttributeError,
    ):  # what tomlkit raises on odd nesting
        return None


def _lay(table: Any, wanted: Mapping[str, Any]) -> None:
    """Change a table in place until it says what is wanted; what it says already is left alone."""
    for key in [key for key in table if key not in wanted]:
        del table[key]
    for key, value in wanted.items():
        if key not in table:
            table[key] = value
            continue
        held = table[key]
        if _plain(held) == value and type(_plain(held)) is type(value):
            continue
        if isinstance(held, Mapping) and isinstance(value, Mapping):
            _lay(held, value)
        elif isinstance(held, list) and isinstance(value, list) and _tables(held) and _tables(value):
            _lay_list(held, value)
        else:
            table[key] = _like(held, value)


def _lay_list(held: Any, wanted: list[Any]) -> None:
    """Change a list of tables: entries in common by place, those that are unchanged first found and kept."""
    while len(held) > len(wanted):
        gone = next(
            (at for at, value in enumerate(wanted) if _plain(held[at]) != value),
            len(wanted),
        )
        del held[gone]
    for at, value in enumerate(wanted):
        if at < len(held):
            _lay(held[at], value)
        else:
            held.append(_table(held, value))


def _table(held: Any, value: Any) -> Any:
    import tomlkit
    from tomlkit.items import AoT

    if not isinstance(held, AoT):
        return value
    made = tomlkit.table()
    made.update(value)
    return made


def _tables(items: Any) -> bool:
    return bool(items) and all(isinstance(item, Mapping) for item in items)


def _like(held: Any, value: Any) -> Any:
    """Return a value to stand where ``held`` stood, with the comment that stood behind it."""
    import tomlkit

    item = tomlkit.item(value)
    old = getattr(held, "trivia", None)
    if old is not None and not isinstance(held, Mapping) and hasattr(item, "trivia"):
        item.trivia.indent, item.trivia.comment_ws = old.indent, old.comment_ws
        item.trivia.comment, item.trivia.trail = old.comment, old.trail
    return item


def _plain(item: Any) -> Any:
    return item.unwrap() if hasattr(item, "unwrap") else item
