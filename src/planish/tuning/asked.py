"""What is asked of a tuning, read: the thickness to be left, and how long it may take."""

from __future__ import annotations

import os
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish import units
from planish.errors import DataError, SetupError, refuse
from planish.measure.sites.read import SiteMap, read_sites
from planish.predict.wafer.incoming import mean_profile
from planish.tuning.incoming import check_sites

if TYPE_CHECKING:
    from planish.predict.wafer.result import WaferResult

    Sites = SiteMap | str | os.PathLike[str]

Array = NDArray[np.float64]


def goal_of(
    before: WaferResult, target: float | str | None, profile: Sites | None, coming: float | None = None
) -> tuple[Array, list[str]]:
    """Return the thickness to be left, and what is to be said of it.

    Parameters
    ----------
    before
        The wafer with the setup's own settings.
    target
        Mean [m], or text.
    profile
        Sites of the thickness wanted; even unless given.
    coming
        Mean of all films that come in [m]; those of ``before`` unless given.

    Returns
    -------
    tuple[Array, list[str]]
        Over the radius [m], (n_r,), and notes.

    Raises
    ------
    DataError
        For a thickness that cannot be left.
    SetupError
        For a text that is none.
    """
    if target is None and profile is None:
        raise DataError(
            "target: not given: must be a thickness to be left, as --target '550 nm', or a --profile"
        )
    wanted = None if target is None else positive(target, "thickness", "target", "550 nm")
    if coming is None:
        coming = before.mean(before.incoming.sum(axis=0))
    notes: list[str] = []
    if profile is None:
        assert wanted is not None
        goal = np.full(before.radius.size, wanted)
    else:
        sites = profile if isinstance(profile, SiteMap) else read_sites(profile)
        check_sites(sites, before.rig, "profile")
        film = replace(
            before.rig.wafer.films[0], sites=(sites.x, sites.y, sites.value), profile=None, thickness=0.0
        )
        goal = mean_profile(film, before.radius)
        if wanted is not None:
            goal = goal + (wanted - before.mean(goal))
            notes.append(f"profile: moved by its mean to the target of {1e9 * wanted:.6g} nm")
    mean = before.mean(goal)
    if mean >= coming:
        raise DataError(
            f"target = {1e9 * mean:.6g} nm: must be less than the {1e9 * coming:.6g} nm that come in, as polishing only takes away "
            "(all films count together)"
        )
    if float(goal.min()) <= 0:
        raise DataError(
            refuse("target profile", f"{1e9 * float(goal.min()):.4g} nm", "above 0 all over the wafer")
        )
    if len(before.films) > 1:
        notes.append("target: what is left of all films together")
    return goal, notes


def longest_time(
    before: WaferResult,
    goal: Array,
    most_time: float | str | None,
    least_rate: float | str | None,
    coming: float | None = None,
) -> tuple[float | None, str]:
    """Return the most time for all steps [s], None for no limit, and which option says so.

    Parameters
    ----------
    before, goal
        The wafer before, and what is to be left [m].
    most_time, least_rate
        As asked for; the mean rate over the recipe is a time.
    coming
        Mean of all films that come in [m]; those of ``before`` unless given.

    Returns
    -------
    tuple[float | None, str]
        The option's name with a colon; "" where none is given.
    """
    cap, words = None, ""
    if most_time is not None:
        cap, words = positive(most_time, "time", "--most-time", "90 s"), "--most-time:"
    if least_rate is not None:
        rate = positive(least_rate, "rate", "--least-rate", "200 nm/min")
        if coming is None:
            coming = before.mean(before.incoming.sum(axis=0))
        removed = coming - before.mean(goal)
        if cap is None or removed / rate < cap:
            cap, words = removed / rate, "--least-rate:"
    return cap, words


def positive(value: float | str, dimension: str, place: str, example: str) -> float:
    """Return a number above 0 in SI.

    Parameters
    ----------
    value
        In SI, or text.
    dimension
        Of the text.
    place, example
        What it is called, and how it may be written.

    Returns
    -------
    float
        In SI.

    Raises
    ------
    SetupError
        For anything else.
    """
    try:
        found = units.to_si(value, dimension) if isinstance(value, str) else float(value)
    except units.UnitError as error:
        raise SetupError(refuse(place, value, error.allowed, error.remedy or f"as {example!r}")) from None
    if not (np.isfinite(found) and found > 0):
        raise SetupError(refuse(place, value, "above 0", f"as {example!r}"))
    return found
