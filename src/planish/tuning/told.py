"""What is told of tuned wafers, before and after: what is left, how even, and the settings of each step."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from planish.predict.wafer.result import WaferResult
    from planish.tuning.incoming import Scatter


def left_of(wafer: WaferResult) -> float:
    """Return the mean thickness left of all films together [m]."""
    return wafer.mean(wafer.remaining.sum(axis=0))


def percent(wafer: WaferResult) -> float | None:
    """Return sigma over mean of what is left [%]; None where nothing is."""
    mean = left_of(wafer)
    return 100 * wafer.sigma(wafer.remaining.sum(axis=0)) / mean if mean > 0 else None


def step_rows(wafer: WaferResult) -> list[dict[str, object]]:
    """Return the settings of a wafer's recipe, a row a step.

    Parameters
    ----------
    wafer
        The one before or after.

    Returns
    -------
    list[dict[str, object]]
        Pressures in kPa, times in s, and the amount on which a step stops in nm.
    """
    return [
        {
            "name": step.name,
            "zone_pressures_kPa": [round(float(p) / 1e3, 6) for p in step.zone_pressures],
            "ring_pressure_kPa": round(step.ring_pressure / 1e3, 6),
            "time_s": record.duration,
            **({} if step.stop == "time" else {f"stop_on_{step.stop}_nm": round(1e9 * step.stop_value, 6)}),
        }
        for step, record in zip(wafer.rig.steps, wafer.steps, strict=True)
    ]


def left_nm(wafer: WaferResult) -> float:
    """Return the mean thickness left of all films together [nm]."""
    return 1e9 * left_of(wafer)


def before_after(key: str, *values: float | None) -> dict[str, float | None]:
    """Return two figures under a key whose ``{}`` says which.

    Parameters
    ----------
    key
        With ``{}`` in it.
    *values:
        Before, and after.
    """
    return {key.format(which): value for which, value in zip(("before", "after"), values, strict=True)}


def of_several(
    scatter: Scatter | None,
    before: Sequence[WaferResult],
    after: Sequence[WaferResult],
    rows: list[dict[str, Any]],
) -> dict[str, Any]:
    """Return the worst of several wafers, what no setting mends, and a row a wafer; nothing for one.

    Parameters
    ----------
    scatter
        None for one wafer.
    before, after
        All of them.
    rows
        One a wafer, as :func:`wafer_row` makes them.
    """
    if scatter is None:
        return {}
    worst = (max((percent(one) or 0.0 for one in each), default=None) for each in (before, after))
    return {
        **before_after("worst_wiwnu_sigma_percent_{}", *worst),
        "incoming_means_sigma_nm": 1e9 * scatter.means,
        "incoming_profiles_sigma_nm": 1e9 * scatter.profiles,
        "incoming_round_sigma_nm": 1e9 * scatter.round,
        "wafers": rows,
    }


def wafer_row(
    name: str, pair: Sequence[WaferResult], off: Callable[[WaferResult], float], uneven: float
) -> dict[str, Any]:
    """Return the figures of one of several wafers.

    Parameters
    ----------
    name
        What it is called.
    pair
        It before, and after.
    off
        Gives sigma of what is left less what is wanted [m].
    uneven
        What its sites differ from the mean round the wafer [m].
    """
    return {
        "wafer": name,
        **before_after("mean_remaining_{}_nm", *(left_nm(wafer) for wafer in pair)),
        **before_after("wiwnu_sigma_percent_{}", *(percent(wafer) for wafer in pair)),
        **before_after("off_target_sigma_{}_nm", *(1e9 * off(wafer) for wafer in pair)),
        "incoming_round_sigma_nm": 1e9 * uneven,
    }


def average(figure_of: Callable[[WaferResult], float | None], wafers: Sequence[WaferResult]) -> float | None:
    """Return the mean over wafers; of one, its own to the bit.

    Parameters
    ----------
    figure_of
        Gives the figure of a wafer.
    wafers
        One or more.

    Returns
    -------
    float | None
        None where a wafer has no such figure.
    """
    values = [figure_of(one) for one in wafers]
    told = [one for one in values if one is not None]
    if len(told) < len(values):
        return None
    return told[0] if len(told) == 1 else float(np.mean(told))


def rms(figure_of: Callable[[WaferResult], float], wafers: Sequence[WaferResult]) -> float:
    """Return the root mean square over wafers; of one, its own to the bit.

    Parameters
    ----------
    figure_of
        Gives the figure of a wafer.
    wafers
        One or more.
    """
    values = [figure_of(one) for one in wafers]
    return values[0] if len(values) == 1 else float(np.sqrt(np.mean(np.square(values))))
