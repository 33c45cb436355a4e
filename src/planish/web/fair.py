"""A queue that is fair by person: whoever waits is served in turn, however much one of them has asked for."""

from __future__ import annotations

from collections import OrderedDict, deque
from collections.abc import Callable
from typing import Generic, TypeVar

Item = TypeVar("Item")


class FairQueue(Generic[Item]):
    """Items by owner. Owners take turns; an owner's own items keep their order. Not locked: its user does that."""

    def __init__(self) -> None:
        self._lines: OrderedDict[str, deque[Item]] = OrderedDict()

    def __len__(self) -> int:
        return sum(len(line) for line in self._lines.values())

    def put(self, owner: str, item: Item) -> None:
        """Let an item wait behind the others of its owner; a new owner's turn comes after all others'."""
        self._lines.setdefault(owner, deque()).append(item)

    def take(self, may: Callable[[str], bool] = lambda owner: True) -> tuple[str, Item] | None:
        """Return whose turn it is and what they wait for, None where nobody waits.

        Parameters
        ----------
        may
            Owners for whom it is false are passed over and keep their place.
        """
        for owner in self._lines:
            if may(owner):
                break
        else:
            return None
        line = self._lines.pop(owner)
        item = line.popleft()
        if line:
            self._lines[owner] = line  # at the end: the others come first now
        return owner, item

    def drop(self, item: Item) -> None:
        """Take an item out wherever it waits."""
        for owner in list(self._lines):
            line = self._lines[owner]
            while item in line:
                line.remove(item)
            if not line:
                del self._lines[owner]

    def waiting(self, owner: str) -> int:
        """Return how many items of an owner wait."""
        return len(self._lines.get(owner, ()))
