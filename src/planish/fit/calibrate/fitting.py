"""Fit any uncertain numbers of a setup to any measurements that the model foretells."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from planish.errors import FitError, refuse
from planish.fit.calibrate.doubt import intervals
from planish.fit.calibrate.model import Model, sound
from planish.fit.calibrate.next_runs import next_runs
from planish.fit.calibrate.parameters import parameters
from planish.fit.calibrate.result import Calibrated
from planish.fit.calibrate.scatter import Scatter, layout
from planish.fit.calibrate.solve import LOSSES, Problem, Solution, solve
from planish.fit.calibrate.told import Untold, untold
from planish.setup.given import as_setup
from planish.setup.paths import join

if TYPE_CHECKING:
    import os

    from planish.fit.calibrate.observed import Observed
    from planish.setup.models import Setup

MOST_FREE, MOST_WORKERS, MOST_STARTS, MOST_AHEAD = 60, 4096, 64, 10


def calibrate(
    setup: Setup | str | os.PathLike[str],
    observed: Observed | Sequence[Observed],
    free: Sequence[str] = (),
    *,
    bounds: Mapping[str, str] | None = None,
    priors: bool = True,
    loss: str = "huber",
    level: float = 0.9,
    starts: int = 4,
    ahead: int = 2,
    samples: int = 0,
    seed: int = 0,
    workers: int = 1,
    date: datetime.date | str | None = None,
) -> Calibrated:
    """Fit numbers of a setup to measurements.

    Parameters
    ----------
    setup
        A loaded setup, or the path of its file; where the search starts.
    observed
        One or more sets of measurements, each with how the model foretells it.
    free
        Dotted paths of the numbers that may move, such as ``removal.oxide.rate`` or ``pad.top.shore_d``; the rate of
        the film on top unless given.
    bounds
        By path, text such as ``"100..400 nm/min"``; a little beyond the usual range of the key unless given.
    priors
        Whether what a part states of a number's spread counts as known before the data.
    loss
        "huber", under which values far off count less, or "linear" (least squares).
    level
        Share of such intervals that hold the true value.
    starts
        Places at most at which the search begins, where the model bends.
    ahead
        How many runs to measure next are proposed, 0 for none.
    samples
        Draws of the numbers, given the data, 0 for none.
    seed
        Of the draws.
    workers
        Processes that share the work; the numbers are the same on any number.
    date
        Of the fit, for its record, as ``"2026-11-27"``; today unless given.

    Returns
    -------
    Calibrated
        Values with intervals, what the data cannot tell, and what to measure next.

    Raises
    ------
    SetupError
        For a number that there is not, or that is none.
    DataError
        For measurements that cannot be used.
    FitError
        Where the data say nothing of a free number, or too little of all without what is known before.
    """
    described = as_setup(setup)
    sets = sound(observed)
    when = _date(date)
    _options(priors, loss, level, starts, ahead, samples, workers)
    names = (
        list(free) if not isinstance(free, str) and free else [free] if isinstance(free, str) and free else []
    )
    chosen = parameters(described, names or [usual_number(described)], bounds)
    if len(chosen) > MOST_FREE:
        raise FitError(f"free: {len(chosen)} numbers: must be at most {MOST_FREE} at once")
    model = Model(described, sets, chosen, workers)
    where = layout(sets)
    _enough(model, priors)
    solution = solve(model, where, priors, loss, starts)
    problem = Problem(model, where, solution.precision, loss, _unweighted(solution))
    _single(problem, solution)
    found = intervals(problem, solution, level)
    sampled = None
    if samples:
        from planish.fit.calibrate.sample import sample

        sampled = sample(problem, solution, level, samples, seed)
    return Calibrated(
        setup=described,
        parameters=chosen,
        observed=sets,
        solution=solution,
        intervals=found,
        untold=untold(problem, solution, found),
        runs_next=next_runs(problem, solution, ahead) if ahead else (),
        sampled=sampled,
        level=float(level),
        priors=priors,
        date=when,
        model_runs=model.runs[0],
        workers=workers,
    )


def _unweighted(solution: Solution) -> Scatter:
    found = solution.scatter
    return Scatter(found.where, found.shares, found.widened, np.ones_like(found.weights))


def usual_number(setup: Setup) -> str:
    """Return what is free where nothing is said: the rate of the film on top, else what its law is proportional to.

    Parameters
    ----------
    setup
        As loaded.
    """
    from planish.physics.removal.laws import LAWS

    material = setup.rig.wafer.films[0].material
    place, table = join("removal", material), setup.model.removal[material]
    return (
        f"{place}.rate" if table.rate is not None else f"{place}.coefficients.{LAWS.get(table.law).leading}"
    )


def _enough(model: Model, priors: bool) -> None:
    """Refuse fewer values than numbers that nothing is known of before."""
    blank = [one for one in model.parameters if not priors or one.known is None]
    values = model.measured.size
    if len(blank) > values:
        names = ", ".join(one.path for one in blank)
        raise FitError(
            f"{values} measured values for {len(blank)} free numbers of which nothing is known before ({names}): must be at "
            "least as many values (measure more, or free fewer)"
        )


def _single(problem: Problem, solution: Solution) -> None:
    """Refuse a fit that has no single answer: a direction that neither the data nor anything before tells."""
    scales = problem.scales
    slope = solution.scatter.whitened(solution.jacobian) * scales
    whole = slope.T @ slope + np.diag(solution.precision * scales**2)
    if np.linalg.eigvalsh(whole)[0] > 1e-10 * np.trace(whole):
        return
    bare: tuple[Untold, ...] = untold(problem, solution)
    words = next((one.words for one in bare if not np.isfinite(one.doubt)), bare[0].words if bare else "")
    raise FitError(
        f"these data have no single answer: {words} (measure what tells them apart, such as wafers at other pressures, "
        "speeds or temperatures; free fewer; or state a spread of one and keep what is known before)"
    )


def _options(
    priors: object,
    loss: object,
    level: object,
    starts: object,
    ahead: object,
    samples: object,
    workers: object,
) -> None:
    if not isinstance(priors, bool):
        raise FitError(refuse("priors", priors, "true or false"))
    if loss not in LOSSES:
        raise FitError(refuse("loss", loss, " or ".join(LOSSES)))
    if isinstance(level, bool) or not isinstance(level, int | float) or not 0.5 <= level < 1:
        raise FitError(refuse("level", level, "a share from 0.5 to below 1", "0.9 is usual"))
    for name, value, least, most in (
        ("starts", starts, 1, MOST_STARTS),
        ("ahead", ahead, 0, MOST_AHEAD),
        ("samples", samples, 0, 1_000_000),
        ("workers", workers, 1, MOST_WORKERS),
    ):
        if isinstance(value, bool) or not isinstance(value, int | np.integer) or not least <= value <= most:
            raise FitError(refuse(name, value, f"a whole number from {least} to {most}"))


def _date(given: datetime.date | str | None) -> datetime.date:
    if given is None:
        return datetime.datetime.now(datetime.UTC).date()
    if isinstance(given, datetime.date):
        return given
    try:
        return datetime.date.fromisoformat(given)
    except (TypeError, ValueError):
        raise FitError(refuse("date", given, "a day written as 2026-11-27")) from None
