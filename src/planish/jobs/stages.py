"""How a job tells how far it is: each long part of it is a stage that the one who asks may show."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import TypeAlias

Tell: TypeAlias = Callable[[float], None]  # takes the share done, 0 to 1
Stage: TypeAlias = Callable[[str], AbstractContextManager[Tell]]  # takes the words for what goes on


@contextmanager
def untold(words: str) -> Iterator[Tell]:
    """Give a stage that nobody looks at.

    Parameters
    ----------
    words
        What goes on.
    """
    yield lambda share: None
