"""How a chart is to be drawn, checked once."""

from __future__ import annotations

from dataclasses import dataclass

from planish.engine.record import Record
from planish.hold.rules import Rule
from planish.hold.run_length.design import Design


@dataclass(frozen=True, slots=True, repr=False)
class Options(Record):
    """Options of a chart.

    Attributes
    ----------
    design
        The chart as far as run lengths go; for a chart of means that of single points, for T squared none.
    baseline
        Points of each phase that limits are taken from; all unless given.
    centre, sigma
        Of the process, where they are known.
    widen
        Whether limits allow for their own estimation.
    alpha
        Share of false alarms of a T squared chart.
    """

    design: Design | None
    baseline: int | None = None
    centre: float | None = None
    sigma: float | None = None
    widen: bool = False
    alpha: float = 0.0027

    @property
    def rules(self) -> tuple[Rule, ...]:
        """Run rules beside the limits."""
        return () if self.design is None else self.design.rules

    @property
    def limit(self) -> float:
        """Where the limits stand [standard deviations]."""
        return 3.0 if self.design is None else self.design.limit
