"""A control chart as far as its run length goes: its kind and the numbers that make it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from planish.engine.record import Record
from planish.errors import DataError, refuse
from planish.hold.rules import Rule, beyond, read_rules
from planish.hold.run_length.cusum import cusum_length
from planish.hold.run_length.ewma import check_weight, ewma_length
from planish.hold.run_length.mean import Length, Mean
from planish.hold.run_length.shewhart import shewhart_length

KINDS = ("individuals", "ewma", "cusum")
WIDEST = {"individuals": 8.0, "ewma": 8.0, "cusum": 60.0}
NARROWEST = 1e-3
NEEDS = {"ewma": ("weight",), "cusum": ("reference", "head_start"), "individuals": ("rules",)}


@dataclass(frozen=True, slots=True, repr=False)
class Design(Record):
    """A chart.

    Attributes
    ----------
    chart
        "individuals" (single points), "ewma" or "cusum".
    limit
        In standard deviations: of a point, of the EWMA in the long run, or of a sample (the h of a CUSUM).
    weight
        Of the newest sample of an EWMA.
    reference
        Of a CUSUM, its k [standard deviations of a sample].
    head_start
        Of a CUSUM, share of the limit at which its sums start.
    rules
        Run rules of single points beside the limits.
    one_sided
        Whether only a rise alarms.
    settling
        Whether the limits of an EWMA start narrow and settle.
    """

    chart: str
    limit: float
    weight: float | None = None
    reference: float | None = None
    head_start: float = 0.0
    rules: tuple[Rule, ...] = ()
    one_sided: bool = False
    settling: bool = False

    def length(self, mean: Mean) -> Length:
        """Return its zero-state average run length.

        Parameters
        ----------
        mean
            What the mean does.

        Returns
        -------
        Length
            With its error.

        Raises
        ------
        DataError
            As the solver of its kind.
        """
        if self.chart == "ewma":
            return ewma_length(self.weight or 0.0, self.limit, mean, self.settling)
        if self.chart == "cusum":
            return cusum_length(self.reference or 0.0, self.limit, mean, self.head_start, self.one_sided)
        return shewhart_length((beyond(self.limit), *self.rules), mean, self.one_sided)

    def at(self, limit: float) -> Design:
        """Return the same chart with another limit.

        Parameters
        ----------
        limit
            As above.

        Returns
        -------
        Design
            A new one.
        """
        return replace(self, limit=limit)


def make_design(
    chart: str,
    limit: float | None,
    *,
    weight: float | None = None,
    reference: float | None = None,
    head_start: float | None = None,
    rules: Sequence[str] = (),
    one_sided: bool = False,
    settling: bool = False,
) -> Design:
    """Return a chart as asked for; what is not given is as usual.

    Parameters
    ----------
    chart, limit, weight, reference, head_start, one_sided, settling
        As of :class:`Design`; no limit: 3 (5 for a CUSUM), no weight: refused, no reference: 0.5.
    rules
        In words.

    Returns
    -------
    Design
        Checked.

    Raises
    ------
    DataError
        For a chart that there is not, and options that it does not take.
    """
    if chart not in KINDS:
        raise DataError(refuse("chart", chart, f"one of {', '.join(KINDS)}"))
    given: dict[str, Any] = {
        "weight": weight,
        "reference": reference,
        "head_start": head_start,
        "rules": tuple(rules) or None,
    }
    for name, value in given.items():
        if value is not None and name not in NEEDS[chart]:
            owner = next(kind for kind, names in NEEDS.items() if name in names)
            raise DataError(
                refuse(
                    name.replace("_", " "), value, f"left out for the chart {chart!r}", f"it is for {owner}"
                )
            )
    if one_sided and chart == "ewma":
        raise DataError(
            refuse("one sided", one_sided, "left out for the chart 'ewma'", "its limits stand on both sides")
        )
    if settling and chart != "ewma":
        raise DataError(refuse("settling", settling, f"left out for the chart {chart!r}", "it is for ewma"))
    if chart == "ewma":
        if weight is None:
            raise DataError(refuse("weight", weight, "above 0 and at most 1", "0.05 to 0.3 is usual"))
        check_weight(weight)
    usual = 5.0 if chart == "cusum" else 3.0
    at = check_limit(chart, usual if limit is None else limit)
    return Design(
        chart,
        at,
        weight=weight,
        reference=(0.5 if reference is None else reference) if chart == "cusum" else None,
        head_start=head_start or 0.0,
        rules=tuple(
            rule for rule in read_rules(rules) if not (rule.need == rule.of == 1 and rule.sigma == at)
        ),
        one_sided=one_sided,
        settling=settling,
    )


def check_limit(chart: str, limit: float) -> float:
    """Return a limit, or refuse it.

    Parameters
    ----------
    chart, limit
        As of :class:`Design`.

    Returns
    -------
    float
        The same.

    Raises
    ------
    DataError
        Outside what run lengths are solved for.
    """
    if not NARROWEST <= limit <= WIDEST[chart]:
        raise DataError(
            refuse(
                "limit [sigma]",
                limit,
                f"{NARROWEST:g} to {WIDEST[chart]:g}",
                "4 or 5 is usual" if chart == "cusum" else "2.5 to 3.1 is usual",
            )
        )
    return float(limit)
