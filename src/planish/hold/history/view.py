"""Wafers of a history as an answer: a row a wafer, what happened meanwhile, and one figure drawn over time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

from planish.engine.record import counted
from planish.results.plain import Figure
from planish.results.result import Result


@dataclass(frozen=True, slots=True, repr=False)
class HistoryView(Result):
    """Wafers of a history.

    Attributes
    ----------
    place
        Of the history, without a password.
    chosen
        Which wafers are meant, in words.
    value
        The figure that is drawn.
    rows
        A row a wafer in the order of time: when, what, where, and its figures, each name with its unit at the end.
    events
        What happened from the first of them to the last.
    notes
        What there is to say.
    """

    kind: ClassVar[str] = "history"

    place: str
    chosen: str
    value: str
    rows: tuple[Mapping[str, Figure], ...]
    events: tuple[Mapping[str, Figure], ...]
    notes: tuple[str, ...]

    def _told(self) -> str:
        return f"{counted(len(self.rows), 'wafer')} of {self.place} ({self.chosen}), {counted(len(self.events), 'event')}"

    def __len__(self) -> int:
        return len(self.rows)

    def column(self, name: str) -> list[Figure]:
        """Return a column of the rows.

        Parameters
        ----------
        name
            As ``rate_nm_per_min`` or ``tool``; None where a wafer has no such figure.
        """
        return [row.get(name) for row in self.rows]

    def sources(self) -> list[str]:
        """Return where the rows come from."""
        return [f"history: {self.place}"]

    def _content(self) -> dict[str, Any]:
        found = [value for value in self.column(self.value) if isinstance(value, float | int)]
        return {
            "history": self.place,
            "chosen": self.chosen,
            "value": self.value,
            "wafers": len(self.rows),
            "first": self.rows[0]["polished"] if self.rows else None,
            "last": self.rows[-1]["polished"] if self.rows else None,
            f"mean_{self.value}": _mean(found),
            f"lowest_{self.value}": min(found, default=None),
            f"highest_{self.value}": max(found, default=None),
            "rows": list(self.rows),
            "events": list(self.events),
        }


def _mean(found: Sequence[float]) -> float | None:
    return sum(found) / len(found) if found else None
