"""An arm that runs a dwell table, and the times themselves: against closed forms and general solvers.

Rest to rest over a way L in a time T (elementary kinematics, derived here): the least top acceleration is 4 L/T^2 (half of
the time each way, a triangle of speed); the least integral of the squared acceleration is a parabola of speed, 1.5 L/T at
its peak and 6 L/T^2 steep at its ends; with a top speed v and a top acceleration a no pass is shorter than L/v + v/a, or
2 sqrt(L/a) where v is not reached.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize, nnls
from sklearn.isotonic import IsotonicRegression

from planish.physics.motion.arm import Drive, arm_run, least_times, needed_acceleration, shortest_pass
from planish.physics.surface.dwell import DwellLimits, design_dwell, ratio_of, turns_of
from planish.physics.surface.dwell_rows import Arm

LENGTH, TIME = 0.3, 2.0


def test_the_smoothest_pass_from_rest_to_rest_is_a_parabola():
    run = arm_run([LENGTH], [TIME], Drive(10.0, 10.0))
    assert run is not None
    want = 6 * LENGTH / TIME**3 * run.time * (TIME - run.time)
    # broken lines of twelve pieces: their error falls as the square of a piece
    assert np.abs(run.speed - want).max() < 0.02 * want.max()
    assert run.place[-1] == pytest.approx(LENGTH, rel=1e-6)
    assert run.speed.max() == pytest.approx(1.5 * LENGTH / TIME, rel=0.02)
    assert run.acceleration == pytest.approx(6 * LENGTH / TIME**2, rel=0.1)


def test_the_least_acceleration_is_that_of_a_triangle_of_speed():
    assert needed_acceleration([LENGTH], [TIME], Drive(10.0, 1.0)) == pytest.approx(
        4 * LENGTH / TIME**2, rel=1e-3
    )
    # with a top speed v the ramps are T - L/v long: a = v/(T - L/v); here 0.2 s of twelve slots of 1/6 s
    speed, time = 0.3, 4.0 / 3.0
    assert needed_acceleration([LENGTH], [time], Drive(speed, 1.0)) == pytest.approx(
        speed / (time - LENGTH / speed), rel=1e-3
    )


def test_no_pass_is_shorter_than_the_shortest():
    for drive in (Drive(0.3, 0.6), Drive(3.0, 0.6)):
        least = shortest_pass(LENGTH, drive)
        assert arm_run([LENGTH], [1.02 * least], drive) is not None
        assert arm_run([LENGTH], [0.99 * least], drive) is None
    assert shortest_pass(0.3, Drive(0.3, 0.6)) == pytest.approx(0.3 / 0.3 + 0.3 / 0.6)
    assert shortest_pass(0.3, Drive(3.0, 0.6)) == pytest.approx(2 * np.sqrt(0.3 / 0.6))


def test_zones_in_the_middle_take_the_top_speed_and_those_at_the_ends_a_ramp():
    drive = Drive(0.3, 0.6)
    least = least_times([0.03, 0.03, 0.2], drive)
    assert least[1] == pytest.approx(0.1)
    assert least[0] == pytest.approx(np.sqrt(2 * 0.03 / 0.6))
    assert least[2] == pytest.approx(0.2 / 0.3 + 0.5 * 0.3 / 0.6)


def test_a_run_spends_the_times_in_the_zones():
    lengths, times = np.array([0.03, 0.05, 0.04, 0.06]), np.array([0.5, 0.3, 0.4, 0.7])
    run = arm_run(lengths, times, Drive(0.4, 2.0))
    assert run is not None
    ends = np.cumsum(times)
    assert np.interp(ends, run.time, run.place) == pytest.approx(np.cumsum(lengths), rel=1e-5)
    assert run.speed.max() <= 0.4 + 1e-6
    assert np.abs(np.diff(run.speed) / np.diff(run.time)).max() <= 2.0 * (1 + 1e-5)


def _cuts(zones=8, bins=30, width=0.12):
    """A smooth made-up cut of zones that overlap."""
    at, middle = np.linspace(0, 1, bins), (np.arange(zones) + 0.5) / zones
    return np.exp(-(((at[:, None] - middle) / width) ** 2)) * (1.3 - at[:, None] * 0.5)


def test_without_limits_it_is_lawson_and_hanson():
    """SciPy's own solver of least squares with unknowns of 0 or more."""
    cut = _cuts()
    found = design_dwell(np.ones(30), cut)
    shares, _ = nnls(cut, np.ones(30))
    other = cut @ (shares / shares.sum())
    assert found.flatness == pytest.approx(other.std() / other.mean(), rel=1e-4)


def test_times_that_only_rise_are_an_isotonic_regression():
    """scikit-learn's, where each zone cuts a place of its own."""
    wanted = np.array([1.0, 1.5, 1.2, 2.0, 1.7, 1.9, 3.0])
    found = design_dwell(wanted, np.eye(7), limits=DwellLimits(turns=0)).zone_dwell
    other = IsotonicRegression().fit(np.arange(7), wanted, sample_weight=wanted**-2.0).predict(np.arange(7))
    assert found == pytest.approx(other / other.sum(), rel=1e-4)


def test_no_general_solver_finds_evener_times_within_the_limits():
    """SciPy's SLSQP on the very limits, from many starts."""
    cut, zones = _cuts(), 8
    arm = Arm(np.full(zones, 0.04), 2.0, Drive(0.4, 1.2))
    limits = DwellLimits(least=0.02, ratio=1.8, arm=arm)
    found = design_dwell(np.ones(30), cut, limits=limits)

    def uneven(shares):
        profile = cut @ shares
        return profile.std() / profile.mean()

    def change(shares):  # of speed between the middles of neighbours, less what the arm can do
        stay = shares * arm.time
        speed = arm.lengths / stay
        return 0.98 * 1.2 * 0.5 * (stay[1:] + stay[:-1]) - np.abs(np.diff(speed))

    least = np.maximum(0.02, least_times(arm.lengths, arm.drive) / arm.time)
    rows = [
        {"type": "eq", "fun": lambda s: s.sum() - 1},
        {"type": "ineq", "fun": lambda s: 1.8 * s[1:] - s[:-1]},
        {"type": "ineq", "fun": lambda s: 1.8 * s[:-1] - s[1:]},
        {"type": "ineq", "fun": change},
    ]
    rng, best = np.random.default_rng(2), np.inf
    for _ in range(12):
        start = least + rng.dirichlet(np.ones(zones)) * (1 - least.sum())
        done = minimize(
            uneven,
            start,
            method="SLSQP",
            bounds=[(low, 1) for low in least],
            constraints=rows,
            options={"maxiter": 300},
        )
        if done.success and min(change(done.x)) > -1e-6:
            best = min(best, done.fun)
    assert np.isfinite(best)
    # not every change of speed between middles can be run: then less is asked for
    assert found.flatness < 1.02 * best
    assert ratio_of(found.zone_dwell) <= 1.8


def test_turns_are_counted():
    assert turns_of([1, 2, 2, 3]) == 0
    assert turns_of([3, 1, 1, 2]) == 1
    assert turns_of([1, 3, 2, 4]) == 2
    assert ratio_of([1, 2, 6]) == pytest.approx(3)
    for turns in (0, 1, 2):
        found = design_dwell(np.ones(30), _cuts(), limits=DwellLimits(turns=turns)).zone_dwell
        assert turns_of(found) <= turns
