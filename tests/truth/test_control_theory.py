"""Run-to-run control against closed forms, a Riccati solver and a joint normal, without the filter.

Ingolfsson & Sachs 1993, Stability and Sensitivity of an EWMA Controller, J. Qual. Technol. 25(4), 271-287 (abstract read: a
condition on weight and gain for stability, and the mean squared deviation under noise and drift); the formulas were worked out
anew (hold/control/margin.py) and are tested by simulation here.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import solve_discrete_are

from planish.errors import DataError
from planish.hold.control.belief import Spreads, moved
from planish.hold.control.bound import least_variance
from planish.hold.control.kalman import Kalman
from planish.hold.control.loop import Coming, Loop, advise, first_state, learn, ran
from planish.hold.control.margin import (
    average_limit,
    integral_limit,
    output_variance,
    small_gain,
)
from planish.hold.control.moves import Room
from planish.hold.control.weighted import DoubleEwma, Ewma

WHITE = Spreads(process=1.0, measurement=0.0)


def roots_of_average(weight, ratio, delay):
    """Return the roots of z^(d+1) - (1 - w) z^d + w (r - 1)."""
    powers = np.zeros(delay + 2)
    powers[0] = 1.0
    powers[1] -= 1.0 - weight
    powers[-1] += weight * (ratio - 1.0)
    return np.roots(powers)


def wide(moves):
    most = np.full(moves, 1e12)
    return Room(tuple(f"u{number}" for number in range(moves)), -most, most, most)


def closed(estimator, ratio, disturbance, delay=0, gain=2.0):
    """Return the outputs of loops side by side, one a column of the disturbance (n, loops)."""
    wafers, loops = disturbance.shape
    loop = Loop(gain * np.eye(loops), wide(loops), estimator, suspect=np.inf)
    coming = Coming(np.zeros(loops), np.zeros(loops), 0.0)
    state, outputs = first_state(loop), np.empty((wafers, loops))
    for wafer in range(wafers):
        move = advise(loop, state, coming).moved
        outputs[wafer] = ratio * gain * move + disturbance[wafer]
        state = ran(state, str(wafer), move, coming)
        if wafer >= delay:
            state, _ = learn(loop, state, str(wafer - delay), outputs[wafer - delay])
    return outputs


@pytest.mark.parametrize(("ratio", "said"), [(1.0, 1.176471), (1.2, 1.219512)])
def test_variance_under_white_noise_is_2_over_2_minus_weight_times_ratio(ratio, said):
    assert output_variance(0.3, ratio) == pytest.approx(said, abs=5e-7)
    noise = np.random.default_rng(3).standard_normal((1040, 100))
    found = closed(Ewma(0.3, spreads=WHITE), ratio, noise)[40:]  # 1e5 runs, settled
    # neighbours hang together with (1 - w r)^k, which widens the doubt of a variance by (1 + rho^2)/(1 - rho^2) at most
    doubt = said * np.sqrt(2 / found.size) * 1.5
    assert found.var() == pytest.approx(said, abs=4 * doubt)


@pytest.mark.parametrize("delay", range(7))
def test_a_loop_that_moves_on_from_its_last_setting_is_stable_up_to_its_sine(delay):
    limit = integral_limit(delay)
    assert limit == pytest.approx({0: 2.0, 1: 1.0, 2: 0.618034, 3: 0.445042}.get(delay, limit), abs=1e-6)

    def largest(gain):
        powers = np.zeros(delay + 2)
        powers[0], powers[1] = 1.0, -1.0
        powers[-1] += gain
        return np.abs(np.roots(powers)).max()

    assert largest(limit) == pytest.approx(1.0, abs=1e-9)
    assert largest(0.999 * limit) < 1 < largest(1.001 * limit)
    gains = limit * np.random.default_rng(delay).uniform(0.02, 0.98, 50)
    assert all(largest(gain) < 1 for gain in gains)


@pytest.mark.parametrize("delay", [0, 1, 2, 5])
@pytest.mark.parametrize("weight", [0.1, 0.3, 0.7, 1.0])
def test_one_average_is_stable_up_to_its_limit_and_never_beyond(weight, delay):
    limit = average_limit(weight, delay)
    assert limit >= 2 - 1e-12
    if delay == 0:
        assert limit == pytest.approx(2 / weight)
    assert np.abs(roots_of_average(weight, limit, delay)).max() == pytest.approx(1.0, abs=1e-9)
    step = np.ones((1200, 1))
    near = closed(Ewma(weight, spreads=WHITE), 1 + 0.9 * (limit - 1), step, delay)
    beyond = closed(Ewma(weight, spreads=WHITE), 1 + 1.1 * (limit - 1), step, delay)
    assert np.abs(near[-20:]).max() < 1e-3 * np.abs(near).max()
    assert np.abs(beyond[-20:]).max() > 1e3


def test_200_random_plants_inside_the_stated_margin_never_swing_up():
    rng = np.random.default_rng(11)
    changed = tuple(("pad",) if wafer and wafer % 30 == 0 else () for wafer in range(100))
    aged = [-0.03 * (1 - np.exp(-(wafer % 30) / 20)) for wafer in range(100)]
    for number in range(200):
        delay = int(rng.integers(0, 7))
        weight, drift = rng.uniform(0.05, 1.0), rng.uniform(0.02, 0.5)
        estimator = (
            Ewma(weight, spreads=WHITE),
            DoubleEwma(weight, drift, spreads=WHITE),
            Kalman(spreads=Spreads(pad=rng.uniform(0, 0.05), wander=rng.uniform(1e-4, 5e-3))),
        )[number % 3]
        least, most = small_gain(estimator, aged, changed, delay)
        if number % 3 == 0:
            weights = 1 - (1 - weight) ** (99 - delay)  # of one average add up to this after so many wafers
            assert (least, most) == pytest.approx((0.0, 1 + 1 / weights))
            most = average_limit(weight, delay)
        ratio = rng.uniform(least + 0.02 * (1 - least), 1 + 0.98 * (most - 1))
        loop = Loop(np.ones((1, 1)), wide(1), estimator, suspect=np.inf)
        state, outputs = first_state(loop), np.empty(100)
        goal = 1.0  # all of it must be moved for, so that a wrong gain shows
        for wafer in range(100):
            coming = Coming(np.array([goal]), np.zeros(1), aged[wafer], changed[wafer])
            move = advise(loop, state, coming).moved
            outputs[wafer] = ratio * move[0] + 0.3
            state = ran(state, str(wafer), move, coming)
            if wafer >= delay:
                state, _ = learn(loop, state, str(wafer - delay), [outputs[wafer - delay]])
        # small gain: |forecast| <= S (|a| + |1 - r| |goal|)/(1 - |1 - r| S) for ever
        assert np.all(np.isfinite(outputs))
        first, last = np.abs(outputs[:50] - goal).max(), np.abs(outputs[50:] - goal).max()
        assert last <= 1.05 * first, (number, estimator, ratio, delay)


def test_a_drift_leaves_one_average_behind_and_a_level_with_drift_not():
    ramp = 0.01 * np.arange(700.0)[:, None]
    for delay in (0, 2):
        lag = closed(Ewma(0.3, spreads=WHITE), 1.0, ramp, delay)[-1, 0]
        assert lag == pytest.approx(0.01 * (1 / 0.3 + delay))  # the average's mean age, and the delay
        assert closed(DoubleEwma(0.3, 0.1, spreads=WHITE), 1.0, ramp, delay)[-1, 0] == pytest.approx(
            0, abs=1e-8
        )


def test_steady_kalman_is_what_the_riccati_equation_says():
    spreads = Spreads(process=0.5, measurement=0.3, wander=0.2, start=0.7, pad=0.0, disk=0.0, ageing=0.0)
    kalman = Kalman(spreads=spreads)
    belief, row = kalman.first(1), kalman.row(0.1)
    for _ in range(200):
        belief = kalman.later(belief, ())
        belief = moved(belief, kalman.gain(belief, row), row, np.zeros(1), spreads.noise)
    ahead = kalman.later(belief, ())
    one = np.ones((1, 1))
    expected = solve_discrete_are(one, one, 0.2**2 * one, spreads.noise * one)
    assert ahead.spread[0, 0] == pytest.approx(expected[0, 0], rel=1e-10)
    q, r = 0.2**2, spreads.noise
    assert expected[0, 0] == pytest.approx((q + np.sqrt(q * q + 4 * q * r)) / 2)
    assert least_variance(kalman, [0.1] * 300, [()] * 300, 0)[-1] == pytest.approx(expected[0, 0] + 0.25)


def joint(spreads, aged, changed):
    """Return the covariance of true outputs without the wafer's own, and what is added when it is measured."""
    wafers = len(aged)
    cov = np.full((wafers, wafers), spreads.start**2)
    at = np.arange(1, wafers + 1)
    cov += spreads.wander**2 * np.minimum.outer(at, at)
    batch = np.cumsum(["slurry" in what for what in changed])
    cov += spreads.slurry**2 * np.minimum.outer(batch, batch)
    for name, size in (("pad", spreads.pad), ("disk", spreads.disk)):
        life = np.cumsum([name in what for what in changed])
        cov += size**2 * np.equal.outer(life, life)
    life = np.cumsum(["pad" in what for what in changed])
    cov += spreads.ageing**2 * np.equal.outer(life, life) * np.outer(aged, aged)
    return cov


def test_forecast_and_its_doubt_are_those_of_the_joint_normal():
    spreads = Spreads(0.3, 0.2, 0.1, 0.5, 0.4, 0.3, 0.25, 0.6)
    changed = [()] * 40
    changed[12], changed[20], changed[27] = ("pad",), ("disk", "slurry"), ("pad", "disk")
    rng = np.random.default_rng(5)
    aged, known = np.zeros(40), rng.standard_normal(40)
    for wafer in range(1, 40):
        aged[wafer] = 0.0 if "pad" in changed[wafer] else aged[wafer - 1] - 0.02
    cov = joint(spreads, aged, changed)
    loop = Loop(np.ones((1, 1)), wide(1), Kalman(physics=True, spreads=spreads), suspect=np.inf)
    for delay in (0, 3):
        least = least_variance(loop.estimator, aged.tolist(), changed, delay)
        state = first_state(loop)
        for wafer in range(40):
            coming = Coming(np.zeros(1), np.array([0.1]), float(aged[wafer]), changed[wafer])
            advice = advise(loop, state, coming)
            seen = np.arange(max(wafer - delay, 0))
            weights = np.linalg.solve(
                cov[np.ix_(seen, seen)] + spreads.noise * np.eye(seen.size), cov[seen, wafer]
            )
            forecast = 0.1 + weights @ (known[seen] - 0.1)
            doubt = cov[wafer, wafer] - weights @ cov[seen, wafer] + spreads.process**2
            assert advice.moved[0] == pytest.approx(-forecast, abs=1e-9)
            assert advice.spread[0] ** 2 == pytest.approx(doubt)
            assert least[wafer] == pytest.approx(doubt)
            state = ran(state, str(wafer), advice.moved, coming)
            if wafer >= delay:
                late = wafer - delay
                gone = state.waiting[0].moved[0]
                state, heard = learn(loop, state, str(late), [known[late] + gone])
                assert heard.learned


@pytest.mark.parametrize("value", [-1, 101, 2.5, True])
def test_a_delay_that_cannot_be(value):
    with pytest.raises(DataError, match="delay"):
        integral_limit(value)
    with pytest.raises(DataError, match="weight times ratio"):
        output_variance(0.5, 4.0)
