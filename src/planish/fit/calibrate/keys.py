"""Which paths are keys of a setup, and how those that it holds are called."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from planish.errors import SetupError
from planish.setup.fields import keys
from planish.setup.paths import Key, resolve, show

if TYPE_CHECKING:
    from planish.setup.models import Setup


def key_test(setup: Setup) -> Callable[[str], bool]:
    """Return the function that says whether a path is that of a key of a setup, written in it or not.

    Parameters
    ----------
    setup
        Whose steps, films and zones the path may name.
    """
    known = {tuple(info.path.split(".")) for info in keys(setup.motion)}
    tree = setup.tree

    def is_key(path: str) -> bool:
        try:
            found = resolve(path, tree)
        except SetupError:
            return False
        whole = tuple("*" if isinstance(key, int) else key for key in found)
        # a place in a list of values is one too, as a zone's pressure
        tries = [whole, whole[:-1]] if whole and whole[-1] == "*" else [whole]
        return any(_alike(one, pattern) for one in tries for pattern in known)

    return is_key


def _alike(path: tuple[str, ...], pattern: tuple[str, ...]) -> bool:
    return len(path) == len(pattern) and all(b in ("*", a) for a, b in zip(path, pattern, strict=True))


def key_names(setup: Setup) -> list[str]:
    """Return the paths of the values that a setup holds, as people write them.

    Parameters
    ----------
    setup
        With parts and defaults filled in.
    """
    tree = setup.tree
    return [show(path, tree) for path in _leaves(tree, ())]


def _leaves(here: Any, path: tuple[Key, ...]) -> Iterator[tuple[Key, ...]]:
    if isinstance(here, Mapping):
        for key, value in here.items():
            yield from _leaves(value, (*path, key))
    elif isinstance(here, list) and here and isinstance(here[0], Mapping):
        for place, value in enumerate(here):
            yield from _leaves(value, (*path, place))
    else:
        yield path
