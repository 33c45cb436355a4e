"""What is known of each kind of answer beyond itself: who draws it, and who computes it again.

Results lie below what draws and computes; those come in by name ("module:function"), loaded when first asked for.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable
from typing import Any, NamedTuple


class Kind(
    NamedTuple
):  # no dataclass: this file is loaded with planish, and dataclasses cost more than all of it
    """One kind of answer.

    ``drawer`` draws one; ``again`` computes a saved one anew from what its file says of the call; "" where there is
    none. ``shown`` makes of a saved one what the drawer looks at (from its dataset and its figures); without it the
    drawer is given the saved answer itself, which is enough for one that asks an answer only what every answer tells.
    """

    name: str
    drawer: str = ""
    shown: str = ""
    again: str = ""


_KINDS: dict[str, Kind] = {}
_VIEWS: dict[str, str] = {}


def register(name: str, *, drawer: str = "", shown: str = "", again: str = "") -> Kind:
    """Say who draws and recomputes a kind of answer; a second word on the same kind replaces the first.

    Parameters
    ----------
    name
        The word for the kind in a saved file.
    drawer, shown, again
        Functions as "module:function": draw it, give what is drawn of a saved one, compute it anew; "" for none.

    Returns
    -------
    Kind
        The kind as it now is.
    """
    _KINDS[name] = Kind(name, drawer, shown, again)
    return _KINDS[name]


def register_view(function: str) -> None:
    """Name the function that makes the rich view (HTML) of any answer."""
    _VIEWS["rich"] = function


def kind_of(name: str) -> Kind:
    """Return what is known of a kind; an empty record where nothing is."""
    return _KINDS.get(name, Kind(name))


def known() -> tuple[Kind, ...]:
    """Return all kinds registered."""
    return tuple(_KINDS.values())


def rich_view(answer: object) -> str:
    """Return the rich view of an answer; as plain text where nobody registered a view."""
    if "rich" not in _VIEWS:
        import html

        return f"<pre>{html.escape(repr(answer))}</pre>"
    return str(load(_VIEWS["rich"])(answer))


def load(name: str) -> Callable[..., Any]:
    """Return the function that is named as "module:function"."""
    module, function = name.split(":")
    found: Callable[..., Any] = getattr(importlib.import_module(module), function)
    return found
