"""What the trade or a source says of an input (``stated.toml``): which answer goes which way as it goes up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from planish.inputs.scenarios import table

Said = Literal["up", "down", "turns", "either way"]


@dataclass(frozen=True, slots=True)
class Statement:
    """One statement.

    Attributes
    ----------
    answer
        Of which answer.
    way
        How it goes as the input goes up; "either way" where sources name both.
    source
        Who says so.
    """

    answer: str
    way: Said
    source: str

    def agrees(self, found: str | None) -> bool:
        """Return whether an answer that goes this way is as stated; one that stands still is not."""
        return found is not None and self.way in (found, "either way")


def stated(key: str) -> tuple[Statement, ...]:
    """Return what is said of an input; nothing where no one says anything.

    Parameters
    ----------
    key
        Its path.
    """
    return tuple(
        Statement(answer, way, source)
        for source, lines in table("stated").items()
        for path, ways in lines.items()
        if path == key
        for answer, way in ways.items()
    )
