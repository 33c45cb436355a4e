"""Does planish say what others have measured?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from planish.engine.record import Record, counted
from planish.errors import DataError, refuse
from planish.experiments.known import EXPERIMENTS
from planish.experiments.record import Experiment, Row


@dataclass(frozen=True, slots=True, repr=False)
class HeldAgainst(Record):
    """Published experiments beside what this version of planish says of them."""

    experiments: tuple[Experiment, ...]
    rows: tuple[tuple[Row, ...], ...]

    def _told(self) -> str:
        numbers = sum(len(rows) for rows in self.rows)
        return f"{counted(len(self.experiments), 'experiment')}, {counted(numbers, 'number')}"

    @property
    def notes(self) -> tuple[str, ...]:
        """What the kinds of row mean."""
        return (
            "shape: nothing was fitted; fitted: this number was fitted to; predicted: others of the series were, "
            "this one was not",
        )

    def sources(self) -> list[str]:
        """Return where the experiments are published, and how far each was read."""
        return [f"{one.source} ({one.read} read)" if one.read != "at second hand" else f"{one.source} ({one.read})"
                for one in self.experiments]  # fmt: skip

    def document(self) -> dict[str, Any]:
        """Return experiments, rows, notes and sources, as JSON can hold them."""
        return {
            "experiments": [
                {
                    "name": one.name,
                    "title": one.title,
                    "source": one.source,
                    "read": one.read,
                    "said": one.said,
                    "rows": [
                        {
                            "what": row.what,
                            "measured": row.measured,
                            "planish": row.predicted,
                            "unit": row.unit,
                            "off_percent": row.off_percent if row.measured else None,
                            "off_by": row.off_words(),
                            "kind": row.kind,
                        }
                        for row in rows
                    ],
                }
                for one, rows in zip(self.experiments, self.rows, strict=True)
            ],
            "notes": list(self.notes),
            "sources": self.sources(),
        }


def held_against(names: Sequence[str] = ()) -> HeldAgainst:
    """Compute what planish says of published experiments.

    Parameters
    ----------
    names
        Of experiments; all unless given.

    Returns
    -------
    HeldAgainst
        Measured beside predicted.

    Raises
    ------
    DataError
        For a name that no experiment has.
    """
    known = {one.name: one for one in EXPERIMENTS}
    for name in names:
        if name not in known:
            raise DataError(refuse("experiment", name, ", ".join(known)))
    chosen = tuple(known[name] for name in names) if names else EXPERIMENTS
    return HeldAgainst(chosen, tuple(tuple(one.rows()) for one in chosen))
