"""The law of two areas under one pad against its differential equation, limits and conservation.

Source: the equation itself, integrated by scipy's LSODA to 1e-11; limits by hand.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from planish.errors import ModelError
from planish.physics.pattern.areas import HighLayer, Low, polish_areas
from planish.physics.pattern.metal import conformal_step
from planish.physics.pattern.oxide_step import blanket_removed
from planish.physics.pattern.response import local_response
from planish.predict.die.processes.metal import MetalLevel
from planish.predict.die.processes.sti import StiLevel

CASES = [
    # height, share, high rate, low rate, selectivity length, time
    (800e-9, 0.5, 4e-9, 4e-9, 100e-9, 60.0),
    (800e-9, 0.5, 4e-9, 4e-9, 100e-9, 200.0),
    (800e-9, 1e-9, 4e-9, 4e-9, 50e-9, 20.0),
    (0.0, 0.5, 0.1e-9, 4e-9, 100e-9, 60.0),
    (500e-9, 0.3, 0.1e-9, 4e-9, 100e-9, 100.0),
    (-50e-9, 0.3, 1e-9, 4e-9, 100e-9, 100.0),
    (0.0, 0.5, 4e-9, 1e-9, 100e-9, 50.0),
    (3e-6, 0.05, 4e-9, 4e-9, 20e-9, 900.0),
]


def proportional(x):
    return x


def integrated(height, share, high, low, length, time, answer=proportional):
    def slope(_, y):
        fall = np.exp(-y[0] / length)
        p_high = 1 / (share + (1 - share) * fall)
        return [
            low * answer(p_high * fall) - high * answer(p_high),
            high * answer(p_high),
            low * answer(p_high * fall),
        ]

    run = solve_ivp(slope, (0, time), [height, 0, 0], rtol=1e-11, atol=1e-19, method="LSODA")
    return run.y[:, -1]


def one(height, share, high, low, length, time, *, thickness=np.inf, below=np.inf, answer=None, level=None):
    """Polish one cell of one film."""
    film = HighLayer(thickness, [high], [answer])
    beside = Low([low], np.array([height]), thickness=below, responses=[answer])
    return polish_areas([film], beside, [time], share, length, level=level)


@pytest.mark.parametrize("case", CASES)
def test_one_exact_step_is_the_integrated_equation(case):
    height, share, high, low, _, time = case
    state = one(*case)
    got = np.array([state.height[0], state.high_loss[0], state.low_loss[0]])
    np.testing.assert_allclose(got, integrated(*case), atol=2e-16, rtol=2e-8)
    # Volume in units of blanket time.
    assert share * got[1] / high + (1 - share) * got[2] / low == pytest.approx(time, rel=1e-10)
    assert got[0] - height == pytest.approx(got[2] - got[1], abs=1e-19)
    film = one(*case[:5], 2 * time, thickness=got[1])
    assert film.through_time[0, 0] == pytest.approx(time, rel=1e-8)


@pytest.mark.parametrize("case", [CASES[i] for i in (0, 1, 3, 4, 6)])
@pytest.mark.parametrize("power, threshold", [(2.0, 0.0), (0.6, 0.0), (1.0, 0.3), (1.0, 0.7)])
def test_local_rates_that_are_no_multiple_of_pressure(case, power, threshold):
    def answer(x):
        return np.maximum(x - threshold, 0.0) ** power / (1 - threshold) ** power

    state = one(*case, answer=local_response(answer, threshold))
    want = integrated(*case, answer)
    got = np.array([state.height[0], state.high_loss[0], state.low_loss[0]])
    np.testing.assert_allclose(got, want, rtol=4e-3, atol=3e-10)


def test_where_the_mean_pressure_is_below_a_threshold_what_stands_high_goes_as_the_law_says():
    """A blanket rate read between two places, one of them below the threshold, is no rate of the law at the mean pressure."""
    case, threshold, blanket = CASES[0], 1.05, 1e-11

    def rate(x):
        return 4e-9 * np.maximum(x - threshold, 0.0)

    steps = (*case[:2], blanket, blanket, *case[4:])
    state = one(*steps, answer=local_response(rate, threshold, blanket))
    height, high, low = integrated(*steps, lambda x: rate(x) / blanket)
    np.testing.assert_allclose((state.height[0], state.high_loss[0]), (height, high), rtol=4e-3)
    assert high > 100e-9
    assert state.low_loss[0] == pytest.approx(low, abs=3e-10)


def test_a_nearly_flat_surface_just_above_a_threshold_goes_on_and_ends_soon():
    case, threshold = (0.0774e-9, 0.35, 4.09e-14, 4.09e-14, 79.2e-9, 1910.0), 0.9999842

    def answer(x):
        return np.maximum(x - threshold, 0.0) / (1 - threshold)

    state = one(*case, answer=local_response(answer, threshold))
    height, high, low = integrated(*case, answer)
    assert state.high_loss[0] == pytest.approx(high, rel=0.08)  # 8 pm
    assert state.low_loss[0] == pytest.approx(low, rel=0.2)
    assert abs(state.height[0] - height) < 3e-12  # a twentieth of what it was


def test_what_has_been_polished_to_its_end_stops_there():
    high = one(*CASES[1], thickness=700e-9)
    assert high.high_loss[0] == pytest.approx(700e-9, rel=1e-12)
    assert high.end_time[0] == high.through_time[0, 0] < CASES[1][-1]
    then = integrated(*CASES[1][:5], high.end_time[0])
    assert high.height[0] == pytest.approx(then[0], rel=1e-7)
    low = one(*CASES[3], below=50e-9)
    assert low.low_loss[0] == pytest.approx(50e-9, rel=1e-12)
    assert np.isinf(low.through_time[0, 0])
    np.testing.assert_allclose(integrated(*CASES[3][:5], low.end_time[0])[2], 50e-9, rtol=1e-7)


def test_the_time_of_a_height_is_told_and_does_not_hang_on_what_comes_after():
    within = one(*CASES[1], level=20e-9)
    assert integrated(*CASES[1][:5], within.level_time[0])[0] == pytest.approx(20e-9, rel=1e-7)
    after = one(*CASES[1][:5], 60.0, level=20e-9)  # the step goes on past the recipe's end
    assert after.level_time[0] == pytest.approx(within.level_time[0], rel=1e-9)
    assert after.height[0] == pytest.approx(one(*CASES[0]).height[0], rel=1e-12)


def test_a_perfectly_selective_surface_gives_the_density_law():
    rho = np.array([0.2, 0.5, 0.8])
    low = Low([4e-9], np.full(3, 8e-7))
    state = polish_areas([HighLayer(np.inf, [4e-9])], low, [150.0], rho, 1e-12)
    up, left = blanket_removed(rho, 8e-7, 4e-9 * 150)
    np.testing.assert_allclose(state.high_loss, up, atol=5e-11)
    np.testing.assert_allclose(state.height, left, atol=5e-11)


def test_splitting_recipe_steps_and_films_changes_nothing():
    rng = np.random.default_rng(1)
    share, step = rng.random((7, 9)), 8e-7 * rng.random((7, 9))
    whole = polish_areas([HighLayer(np.inf, [4e-9])], Low([4e-9], step), [150.0], share, 1e-7)
    layers = [HighLayer(2e-7, [4e-9] * 3), HighLayer(np.inf, [4e-9] * 3)]
    split = polish_areas(layers, Low([4e-9] * 3, step), [20.0, 50.0, 80.0], share, 1e-7)
    np.testing.assert_allclose(split.high_loss, whole.high_loss, rtol=1e-10)
    np.testing.assert_allclose(split.height, whole.height, rtol=1e-6, atol=1e-15)
    assert np.all(split.exposed == 1)
    assert np.all((split.through_time[0] > 0) & (split.through_time[0] < 150))


def polished(level, share, rates, time, length, step):
    """Polish each cell through the level's films, and return when it was clear and its figures of merit."""
    films = [HighLayer(thick, [rates[name]]) for name, thick in level.films()]
    low = Low([rates[level.films()[0][0]]], np.full(np.shape(share), step))
    state = polish_areas(films, low, [time], share, length)
    return state.through_time[-2], level.merits_of(state.high_loss, state.height, state.exposed)


def test_dishing_saturates_where_both_materials_recede_together():
    level = MetalLevel(overburden=1e-9, barrier=1e-9, trench_depth=1e-3)
    lengths = np.array([20e-9, 50e-9, 100e-9, 200e-9])
    rates = {"copper": 5e-9, "tantalum": 1e-9, "oxide": 0.1e-9}
    _, merits = polished(level, np.full(4, 0.5), rates, 3e4, lengths, 0.0)
    np.testing.assert_allclose(merits["dishing"], np.log(50) * lengths, rtol=1e-6)


def test_denser_metal_erodes_more_and_sparser_nitride_is_lost_faster():
    share = np.linspace(0.1, 0.9, 9)
    rates = {"copper": 6e-9, "tantalum": 1e-9, "oxide": 0.3e-9}
    metal = MetalLevel(overburden=3e-7, barrier=2e-8)
    clear, merits = polished(metal, 1 - share, rates, 200.0, 1e-7, 3e-7)
    # Clear times differ with density, so compare what matters to the trade: erosion grows with density.
    assert np.all(np.isfinite(clear))
    assert np.all(np.diff(merits["erosion"]) > 0)
    rates = {"oxide": 6e-9, "nitride": 0.1e-9}
    clear, merits = polished(StiLevel(overburden=3e-7), share, rates, 200.0, 1e-7, 3e-7)
    assert np.all(np.diff(merits["nitride_loss"]) < 0)
    assert np.all(np.diff(clear) > 0)


def test_sti_before_the_oxide_is_through_is_an_oxide_step():
    rates = {"oxide": 4e-9, "nitride": 1e-10}
    clear, merits = polished(StiLevel(overburden=5e-7), np.array([0.5]), rates, 60.0, 1e-7, 4e-7)
    assert np.isinf(clear[0])
    assert merits["nitride_loss"][0] == 0
    got = integrated(4e-7, 0.5, 4e-9, 4e-9, 1e-7, 60.0)
    assert merits["oxide_on_nitride"][0] == pytest.approx(5e-7 - got[1], rel=1e-8)


def test_conformal_film_closes_narrow_trenches_and_keeps_wide_ones():
    depth, film = 300e-9, 500e-9
    got = conformal_step([0.0, 200e-9, 600e-9, 900e-9, 1e-5], depth, film)
    want = [
        0.0,
        film - np.sqrt(film**2 - 100e-9**2),
        film - 400e-9,
        film - np.sqrt(film**2 - 450e-9**2),
        depth,
    ]
    np.testing.assert_allclose(got, want, rtol=1e-12, atol=1e-20)


@pytest.mark.parametrize(
    "rates, share, length",
    [([0.0], 0.5, 1e-7), ([1e-9], 1.5, 1e-7), ([1e-9], 0.5, 0.0), ([np.nan], 0.5, 1e-7)],
)
def test_impossible_values_are_refused(rates, share, length):
    with pytest.raises(ModelError, match="must be"):
        polish_areas([HighLayer(np.inf, rates)], Low(rates, np.zeros(3)), [1.0], share, length)
