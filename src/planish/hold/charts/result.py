"""A control chart as an answer: its limits, its points, its alarms and what changed at each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record, brief, counted
from planish.hold.charts.part import Panel
from planish.results.result import Result

if TYPE_CHECKING:
    import xarray as xr

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
UNIT = "as in the table"
HANDBOOK = "NIST/SEMATECH e-Handbook of Statistical Methods"
QUOTED = "(read as quoted in tests that check quality charts)"
SOURCES = {
    "individuals": f"{HANDBOOK}, 6.3.2.2: single values and moving ranges {QUOTED}",
    "xbar": "Montgomery, Introduction to Statistical Quality Control: means and standard deviations of groups "
    "(read as quoted in tests that check quality charts)",
    "ewma": f"{HANDBOOK}, 6.3.2.4: EWMA {QUOTED}",
    "cusum": "Montgomery, Introduction to Statistical Quality Control: tabular CUSUM "
    "(read as quoted in tests that check quality charts)",
    "t2": f"{HANDBOOK}, 6.5.4.3.4: T squared of rows to come; Tracy, Young & Mason 1992: of the rows of the limits "
    "(read as quoted in a statistics package's documentation)",
}
RULES = (
    "Run rules: Statistical Quality Control Handbook, 1956 (read as quoted in tests that check quality charts); Nelson 1984, "
    "J. Qual. Technol. 16, 237 (read as quoted in documentation of run rules)"
)
CAUSES = "What changed at an alarm: likelihood ratios of one change each, derived here"


@dataclass(frozen=True, slots=True, repr=False)
class Alarm(Record):
    """One alarm.

    Attributes
    ----------
    row
        Of the table, counted from 1 below the names; of a group its last row.
    rule
        That was met, in words.
    cause
        What changed, in words with rows and sizes.
    kind
        "mean shift", "drift", "spread" or "mixture".
    size
        [standard deviations of a point]; of a spread, times as large.
    from_row
        Of the first point that shows it.
    points
        That show it.
    point
        Which point of the chart it is, from 0.
    panel
        Which of its panels, from 0.
    group
        The group's name; "" without groups.
    name
        What the row is called; "" where nothing says it.
    """

    row: int
    rule: str
    cause: str
    kind: str
    size: float
    from_row: int
    points: int
    point: int
    panel: int
    group: str = ""
    name: str = ""

    def told(self) -> dict[str, Any]:
        """Return it as plain data: row, rule, cause and the evidence."""
        found: dict[str, Any] = {
            "row": self.row,
            "rule": self.rule,
            "cause": self.cause,
            "changed": self.kind,
            "size_sigma": self.size,
            "from_row": self.from_row,
            "points": self.points,
            "point": self.point + 1,
            "panel": self.panel + 1,
        }
        found |= {"group": self.group} if self.group else {}
        return {**found, "name": self.name} if self.name else found


@dataclass(frozen=True, slots=True, repr=False)
class Phase(Record):
    """Limits of one phase, in the unit of the values; ``taken_from`` counts points, 0 where limits were given."""

    name: str
    first_row: int
    last_row: int
    points: int
    centre: float
    sigma: float
    lower: float
    upper: float
    taken_from: int
    widened: tuple[float, float] | None

    def told(self) -> dict[str, Any]:
        """Return it as plain data."""
        low, high = self.widened or (None, None)
        return {
            "phase": self.name,
            "first_row": self.first_row,
            "last_row": self.last_row,
            "points": self.points,
            "centre": self.centre,
            "sigma": self.sigma,
            "lower": self.lower,
            "upper": self.upper,
            "taken_from": self.taken_from,
            "lower_widened": low,
            "upper_widened": high,
        }


@dataclass(frozen=True, slots=True, repr=False)
class ControlChart(Result):
    """A control chart.

    Attributes
    ----------
    chart
        "individuals", "xbar", "ewma", "cusum" or "t2".
    value
        The measured columns.
    panels
        What is drawn, the chart's own first; each over all points.
    rows
        Row of the table of each point (its last, of a group), counted from 1.
    phase
        Of each point, from 0.
    phases, alarms
        In their order.
    settings
        Weight, limit and whatever else the chart was asked with.
    arl, arl_error
        Average run length on target by the solver, were centre and spread known; None for rules that it does not know.
    notes
        What was assumed and left out.
    rests_on
        Sources.
    """

    kind: ClassVar[str] = "control chart"

    chart: str
    value: tuple[str, ...]
    panels: tuple[Panel, ...]
    rows: Whole
    phase: Whole
    phases: tuple[Phase, ...]
    alarms: tuple[Alarm, ...]
    settings: tuple[tuple[str, object], ...]
    arl: float | None
    arl_error: float | None
    notes: tuple[str, ...]
    rests_on: tuple[str, ...]

    def _told(self) -> str:
        last = self.phases[-1]
        more = f", {len(self.phases)} phases, the last" if len(self.phases) > 1 else ""
        return (
            f"{self.chart} of {brief(', '.join(self.value))}, {counted(len(self.rows), 'point')}{more}: centre "
            f"{last.centre:.5g}, limits {last.lower:.5g} to {last.upper:.5g}, {counted(len(self.alarms), 'alarm')}"
        )

    @property
    def centre(self) -> float:
        """Of the last phase, in the unit of the values (T squared: what a row on target has on average)."""
        return self.phases[-1].centre

    @property
    def lower(self) -> float:
        """Lower limit of the last phase as drawn in the first panel."""
        return self.phases[-1].lower

    @property
    def upper(self) -> float:
        """Upper limit of the last phase as drawn in the first panel."""
        return self.phases[-1].upper

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(self.rests_on)

    def _content(self) -> dict[str, Any]:
        return {
            "chart": self.chart,
            "value": ", ".join(self.value),
            "points": len(self.rows),
            "centre": self.centre,
            "lower": self.lower,
            "upper": self.upper,
            "sigma": self.phases[-1].sigma,
            **dict(self.settings),
            "arl_on_target": self.arl,
            "arl_error": self.arl_error,
            "alarm_count": len(self.alarms),
            "alarms": [alarm.told() for alarm in self.alarms],
            "phases": [phase.told() for phase in self.phases],
            "panels": [panel.name for panel in self.panels],
        }

    def dataset(self) -> xr.Dataset:
        """Return the points: rows, phases, and of each panel its lines and limits, in the unit of the table."""
        import xarray as xr

        def named(values: Any, name: str, units: str = UNIT) -> tuple[str, Any, dict[str, str]]:
            return ("point", np.asarray(values), {"units": units, "long_name": name})

        data: dict[str, Any] = {
            "row": named(self.rows, "row of the table, from 1", "1"),
            "phase": named(self.phase + 1, "phase, from 1", "1"),
        }
        for number, panel in enumerate(self.panels, 1):
            for line, values in enumerate(panel.series, 1):
                data[f"panel_{number}_line_{line}"] = named(values, panel.name)
            for end in ("centre", "lower", "upper"):
                data[f"panel_{number}_{end}"] = named(getattr(panel, end), f"{end} of {panel.name}")
        return xr.Dataset(data)
