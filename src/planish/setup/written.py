"""A setup written back into the text that it came from: comments, order and blank lines stay."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any

LOST = "# The comments of the file that this setup came from could not be kept.\n"


def written(document: Mapping[str, Any], text: str | None) -> str:
    """Return a document as TOML.

    Parameters
    ----------
    document:
        The tables.
    text:
        TOML that the document came from: what is the same in it stays as it stands, comments and blank lines
        too. None where there is none.

    Notes
    -----
    Where the old text is so nested that the change cannot be put into it, the document is written plainly and
    its first line says that the comments were lost.
    """
    import tomlkit

    plain = tomlkit.dumps(document)
    if text is None:
        return plain
    try:
        kept = tomlkit.parse(text.replace("\r\n", "\n"))
        _lay(kept, document)
        new = tomlkit.dumps(kept)
        same = tomllib.loads(new) == document
    except (
        ValueError,
        KeyError,
        TypeError,
        IndexError,
        AttributeError,
    ):  # what tomlkit raises on odd nesting
        same = False
    return new if same else LOST + plain


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
