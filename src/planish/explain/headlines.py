"""The figures of a wafer that a change of settings is judged by."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from planish.predict.wafer.result import WaferResult


class Headlines(NamedTuple):
    """Figures of a wafer's summary, by their keys there; ``edge_extreme_percent`` is None where there is no edge to judge."""

    edge_extreme_percent: float | None
    wiwnu_sigma_percent: float
    mean_removal_rate_nm_per_min: float
    time_s: float
    peak_temperature_C: float  # noqa: N815 - as the summary has it
    mean_remaining_nm: float
    mean_removed_nm: float


def headlines(wafer: WaferResult) -> Headlines:
    """Return the headlines of a wafer from which something was removed."""
    figures: dict[str, Any] = dict(wafer.summary())
    return Headlines(*(figures[key] for key in Headlines._fields))
