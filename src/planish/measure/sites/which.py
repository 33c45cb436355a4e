"""The refusal of a file of several wafers where one is read: it says which there are."""

from __future__ import annotations

from collections.abc import Sequence

from planish.errors import DataError


class SeveralWafersError(DataError):
    """A file holds several wafers, ``wafers`` by their names, and none was asked for."""

    def __init__(self, message: str, wafers: Sequence[str] = ()) -> None:
        self.wafers = tuple(wafers)
        super().__init__(message)

    def __reduce__(self) -> tuple[type[SeveralWafersError], tuple[str, tuple[str, ...]]]:
        """Keep the names where it passes between processes."""
        return type(self), (str(self), self.wafers)
