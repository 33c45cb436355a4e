"""Which dwell times make the pad wear as wanted: a quadratic program over the sweep's zones.

Unknown are times y on any scale: what they cut shall be the wanted profile itself, so the scale that fits best makes the
misfit the relative unevenness, and a design that hardly cuts is not taken for an even one. Each limit is a row that any
scale keeps: least shares, the ratio of neighbours, the way that times go from zone to zone, and what an arm can do.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations, pairwise
from math import ceil, inf

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse
from planish.physics.motion.arm import ArmRun, Drive, arm_run, least_times
from planish.physics.surface.dwell_rows import HAIR, Arm, ratio_rows, share_rows, speed_rows, turn_rows

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Least squares with unknowns of 0 or more: Lawson & Hanson, Solving Least Squares Problems (read as quoted in the "
    "SciPy reference)",
    "Even wear by dwell times: least squares with linear limits, a quadratic program; derived here",
    "Quadratic programs by an interior-point method for conic programs (library clarabel)",
)
_COARSE = 12  # places at which times may turn are tried on about so many first
_ROUNDS = 12  # of the arm's limits made straight about the last times
_ASKED = (
    0.98,
    0.95,
    0.91,
    0.86,
    0.8,
    0.72,
    0.64,
    0.55,
    0.45,
    0.35,
)  # of the arm: less and less, until it runs
_IDLE = 1e-6  # cost of time beside the misfit: a zone that cuts nothing that counts is passed by


@dataclass(frozen=True, slots=True)
class DwellLimits:
    """What dwell times keep to.

    Attributes
    ----------
    least
        Least share of time of every zone.
    ratio
        Largest ratio of the times of neighbours; infinite for none.
    turns
        How often times may turn from rising to falling, or back, from the inside out; None for as often as they like.
    arm
        That has to run them; None for any.
    """

    least: float = 0.0
    ratio: float = inf
    turns: int | None = None
    arm: Arm | None = None


FREE = DwellLimits()


@dataclass(frozen=True, slots=True)
class DwellDesign:
    """Dwell times found, and the pad profile they give.

    Attributes
    ----------
    zone_dwell
        Shares of time summing to 1, (zones,).
    cut_rate
        Of the pad [m/s], (bins,).
    flatness, flatness_before
        Relative standard deviation of cut over wanted on the bins that count, after and for equal times.
    mean_rate
        Over those bins [m/s].
    run
        How the arm runs them; None where no arm was asked for.
    """

    zone_dwell: Array
    cut_rate: Array
    flatness: float
    flatness_before: float
    mean_rate: float
    run: ArmRun | None = None


def design_dwell(
    wanted: ArrayLike,
    zone_cut: ArrayLike,
    *,
    weights: ArrayLike | None = None,
    limits: DwellLimits = FREE,
) -> DwellDesign:
    """Find zone dwell shares whose cut is as proportional to ``wanted`` as limits let it.

    Parameters
    ----------
    wanted
        Wanted relative cut of each pad bin (n,); all ones for even wear. Only its shape matters.
    zone_cut
        Cut rate (n, zones) [m/s] of each bin while the disk is in each zone
        (``conditioning.cut_matrix`` averaged over each zone).
    weights
        Weight of each bin (n,), 0 where wear does not matter (say outside the wafer's
        track). Default: all alike.
    limits
        What the times keep to.

    Returns
    -------
    DwellDesign
        Shares, and the profile they give.

    Raises
    ------
    ModelError
        If shapes disagree, the limits leave no times, or a weighted bin is out of the disk's reach.

    Notes
    -----
    Where the times may turn is tried out: each choice is a quadratic program of its own (with more than 14 zones on
    places further apart first, and then beside the best). The arm's top acceleration bounds the change of speed between
    the middles of neighbouring zones; that is made straight about the last times until they rest. What comes out is then
    run by :func:`~planish.physics.motion.arm.arm_run`, and asked for less where that finds no way.
    """
    A, want, weight = _checked(wanted, zone_cut, weights)
    counts = weight > 0
    scale = float(A[counts].mean())
    rows = np.sqrt(weight[counts] / weight.sum())[:, None] * A[counts] / scale / want[counts][:, None]
    fit = _Fit(rows, np.sqrt(weight[counts] / weight.sum()))
    times, run = _within(fit, limits)
    shares = times / times.sum()
    cut = A @ shares
    return DwellDesign(
        zone_dwell=shares,
        cut_rate=cut,
        flatness=_flatness(cut[counts] / want[counts], weight[counts]),
        flatness_before=_flatness(A[counts].mean(axis=1) / want[counts], weight[counts]),
        mean_rate=float(np.average(cut[counts], weights=weight[counts])),
        run=run,
    )


def turns_of(times: ArrayLike) -> int:
    """Return how often times (zones,) turn from rising to falling, or back."""
    change = np.diff(np.asarray(times, dtype=np.float64))
    way = np.sign(np.where(np.abs(change) > HAIR * np.max(np.abs(times)), change, 0.0))
    way = way[way != 0]
    return int(np.sum(way[1:] != way[:-1]))


def ratio_of(times: ArrayLike) -> float:
    """Return the largest ratio of neighbouring times (zones,); infinite beside a zone that is passed by."""
    given = np.asarray(times, dtype=np.float64)
    if np.any(given <= 0):
        return inf
    ratio = given[1:] / given[:-1]
    return float(np.max(np.maximum(ratio, 1.0 / ratio), initial=1.0))


@dataclass(frozen=True)
class _Fit:
    """Misfit of times y: the square of rows y less what is wanted, or y'Py - 2 q'y + 1."""

    rows: Array
    wanted: Array

    @cached_property
    def square(self) -> Array:
        return np.asarray(self.rows.T @ self.rows)

    @cached_property
    def linear(self) -> Array:
        return np.asarray(self.rows.T @ self.wanted)

    def misfit(self, times: Array) -> float:
        return float(times @ self.square @ times - 2.0 * self.linear @ times)


def _checked(wanted: ArrayLike, zone_cut: ArrayLike, weights: ArrayLike | None) -> tuple[Array, Array, Array]:
    A = np.asarray(zone_cut, dtype=np.float64)
    want = np.asarray(wanted, dtype=np.float64)
    if A.ndim != 2 or want.shape != (A.shape[0],):
        raise ModelError(refuse("wanted profile", want.shape, f"one value for each of {A.shape[0]} pad bins"))
    weight = np.ones_like(want) if weights is None else np.asarray(weights, dtype=np.float64)
    if weight.shape != want.shape or np.any(~(weight >= 0)) or not weight.sum() > 0:
        raise ModelError(refuse("bin weights", "given", "one for each pad bin, 0 or more, not all 0"))
    counts = weight > 0
    if np.any(~(want[counts] > 0)):
        raise ModelError(refuse("wanted profile", float(want[counts].min()), "above 0 where it counts"))
    if np.any(A[counts].sum(axis=1) <= 0):
        raise ModelError("wanted profile: a pad bin that counts is never under the disk (widen the sweep)")
    return A, want, weight


def _within(fit: _Fit, limits: DwellLimits) -> tuple[Array, ArmRun | None]:
    """Return the best times within limits, and how the arm runs them."""
    ratios = list(ratio_rows(fit.linear.size, limits.ratio))
    least = _least_shares(fit.linear.size, limits, 1.0)
    if limits == DwellLimits(least=limits.least):
        return _least_squares(fit, limits.least), None
    if limits.arm is None:
        fixed = [*share_rows(least), *ratios]
        turning = _turning(fit, fixed, limits.turns)
        found = None if turning is None else _solved(fit, np.array([*fixed, *turning]))
        if found is None:
            raise ModelError("dwell times: the limits leave none (allow shorter stays, or a larger ratio)")
        return found, None
    pattern: list[Array] | None = None
    for share in _ASKED:
        least = _least_shares(fit.linear.size, limits, share)
        if least.sum() > 1.0:
            break
        times, pattern = _runnable(fit, [*share_rows(least), *ratios], limits, least, share, pattern)
        if times is None:
            break
        stay = limits.arm.time * times / times.sum()
        run = arm_run(limits.arm.lengths, stay, limits.arm.drive)
        if run is not None:
            return times, run
    raise ModelError(
        "dwell times: the limits leave none that the arm can run (sweep less often, allow more speed and acceleration, "
        "a larger ratio, or a turn more: at both ends of a sweep an arm slows down)"
    )


def _least_squares(fit: _Fit, least: float) -> Array:
    """Return the best times with no limits but a least share.

    What goes beyond the least share is z: y = z + c sum(z), where c makes least shares of the first term's.
    """
    from scipy.optimize import nnls

    zones = fit.linear.size
    beyond = 1.0 - zones * least
    if beyond <= 1e-12:
        return np.full(zones, 1.0 / zones)
    rows = fit.rows + (least / beyond) * fit.rows.sum(axis=1)[:, None]
    extra, _ = nnls(rows, fit.wanted)
    return np.asarray(least + beyond * extra / extra.sum())


def _least_shares(zones: int, limits: DwellLimits, share: float) -> Array:
    """Return the least share of time of each zone, for a share of what the arm can do."""
    if not 0 <= limits.least <= 1 / zones:
        raise ModelError(
            refuse(
                "least share of a zone",
                limits.least,
                f"0 to {1 / zones:.4g}, so that {zones} zones add up to 1",
            )
        )
    if not limits.ratio >= 1:
        raise ModelError(refuse("ratio of neighbouring dwell times", limits.ratio, "1 or more"))
    if limits.turns is not None and limits.turns < 0:
        raise ModelError(refuse("turns of dwell times", limits.turns, "0 or more"))
    least = np.full(zones, limits.least)
    if limits.arm is not None:
        drive = Drive(share * limits.arm.drive.speed, share * limits.arm.drive.acceleration)
        least = np.maximum(least, least_times(limits.arm.lengths, drive) / limits.arm.time)
    if share == 1.0 and least.sum() > 1 + 1e-9:
        raise ModelError(
            refuse(
                "least shares of the zones together",
                f"{least.sum():.4g}",
                "1 at most",
                "sweep less often, allow more speed, or shorter stays",
            )
        )
    return least


def _runnable(
    fit: _Fit,
    fixed: list[Array],
    limits: DwellLimits,
    least: Array,
    share: float,
    pattern: list[Array] | None,
) -> tuple[Array | None, list[Array] | None]:
    """Return the best times that keep a share of the arm's acceleration between the middles of neighbours.

    And where they turn, which is looked for where no ``pattern`` is given yet.
    """
    arm = limits.arm
    assert arm is not None  # asked for only with one
    look = (0, 2) if pattern is None else ()  # by the second time limits are straight about the right times
    times = least + (1.0 - least.sum()) * arm.lengths / arm.lengths.sum()
    for turn in range(_ROUNDS):
        rows = [*fixed, *speed_rows(times * arm.time / times.sum(), arm, share)]
        if turn in look:
            pattern = _turning(fit, rows, limits.turns)
        found = None if pattern is None else _solved(fit, np.array([*rows, *pattern]))
        if found is None:
            return None, pattern
        found = found / found.sum()
        moved = float(np.abs(found - times).max())
        times = found if turn < 4 else 0.5 * (times + found)  # by then what is left of it goes to and fro
        if moved < 1e-5 and turn > 2:
            break
    return times, pattern


def _turning(fit: _Fit, fixed: list[Array], turns: int | None) -> list[Array] | None:
    """Return the rows of the best places at which times turn; none where they may turn as they like."""
    zones = fit.linear.size
    if turns is None or turns >= zones - 2:
        return [] if _solved(fit, np.array(fixed)) is not None else None
    stride = max(1, ceil((zones - 2) / _COARSE))
    tried: dict[tuple[bool, tuple[int, ...]], float] = {}

    def misfit(rising: bool, places: tuple[int, ...]) -> float:
        key = (rising, places)
        if key not in tried:
            times = _solved(fit, np.array([*fixed, *turn_rows(zones, rising, places)]))
            tried[key] = inf if times is None else fit.misfit(times)
        return tried[key]

    coarse = range(1, zones - 1, stride)
    for count in range(turns + 1):
        for places in combinations(coarse, count):
            for rising in (True, False):
                misfit(rising, places)
    while stride > 1:
        stride = ceil(stride / 2)
        rising, places = min(tried, key=tried.__getitem__)
        for moves in np.ndindex(*(3,) * len(places)):
            other = tuple(int(p + stride * (move - 1)) for p, move in zip(places, moves, strict=True))
            if all(1 <= p <= zones - 2 for p in other) and all(a < b for a, b in pairwise(other)):
                misfit(rising, other)
    rising, places = min(tried, key=tried.__getitem__)
    return None if tried[rising, places] == inf else list(turn_rows(zones, rising, places))


def _solved(fit: _Fit, rows: Array) -> Array | None:
    """Return the times of the least misfit with rows at most 0; None where only no times at all keep them."""
    import clarabel
    from scipy import sparse

    zones = fit.linear.size
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.tol_gap_abs = settings.tol_gap_rel = 1e-10  # what is left of the misfit is small itself
    answer = clarabel.DefaultSolver(
        sparse.csc_matrix(np.triu(2.0 * fit.square)),
        _IDLE - 2.0 * fit.linear,
        sparse.csc_matrix(rows),
        np.zeros(len(rows)),
        [clarabel.NonnegativeConeT(len(rows))],
        settings,
    ).solve()
    times = np.maximum(np.asarray(answer.x), 0.0)
    good = str(answer.status) in ("Solved", "AlmostSolved") and times.size == zones
    # times on a scale that cuts as wanted are about 1/zones; nothing at all says that the rows exclude one another
    return times if good and float(times.sum()) > 1e-6 else None


def zone_cut(matrix: ArrayLike, zones: int) -> Array:
    """Average a cut matrix over zones.

    Parameters
    ----------
    matrix
        ``cut_matrix`` (n, m) [m/s], the m positions running through the zones in order.
    zones
        How many; m is a multiple of it.

    Returns
    -------
    Array
        [m/s], (n, zones).

    Raises
    ------
    ModelError
        Where m is no multiple of ``zones``.
    """
    A = np.asarray(matrix, dtype=np.float64)
    if zones < 1 or A.shape[1] % zones:
        raise ModelError(refuse("positions", A.shape[1], f"a multiple of {zones} zones"))
    return np.asarray(A.reshape(A.shape[0], zones, -1).mean(axis=2))


def _flatness(ratio: Array, weight: Array) -> float:
    mean = np.average(ratio, weights=weight)
    return float(np.sqrt(np.average((ratio - mean) ** 2, weights=weight)) / mean)
