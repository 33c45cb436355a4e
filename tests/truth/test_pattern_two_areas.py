"""The law of two areas under one pad against its differential equation, limits and conservation.

Source: the equation itself, integrated by scipy's LSODA to 1e-11; limits by hand.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from planish.errors import ModelError
from planish.physics.pattern.area_pair import HighLayer, advance, polish_pair, time_to_remove
from planish.physics.pattern.metal import conformal_step
from planish.physics.pattern.oxide_step import blanket_removed
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


def integrated(height, share, high, low, length, time):
    def slope(_, y):
        fall = np.exp(-y[0] / length)
        p_high = 1 / (share + (1 - share) * fall)
        return [low * p_high * fall - high * p_high, high * p_high, low * p_high * fall]

    run = solve_ivp(slope, (0, time), [height, 0, 0], rtol=1e-11, atol=1e-19, method="LSODA")
    return run.y[:, -1]


def one(*values):
    return [np.array([v]) for v in values]


@pytest.mark.parametrize("case", CASES)
def test_one_exact_step_is_the_integrated_equation(case):
    height, share, high, low, length, time = case
    h, s, ln, t = one(height, share, length, time)
    got = np.array(advance(h, s, high, low, ln, t))[:, 0]
    np.testing.assert_allclose(got, integrated(*case), atol=2e-16, rtol=2e-8)
    # Volume in units of blanket time.
    assert share * got[1] / high + (1 - share) * got[2] / low == pytest.approx(time, rel=1e-10)
    assert got[0] - height == pytest.approx(got[2] - got[1], abs=1e-19)
    back = time_to_remove(np.array([got[1]]), h, s, high, low, ln)[0]
    assert back == pytest.approx(time, rel=1e-8)


def test_a_perfectly_selective_surface_gives_the_density_law():
    rho = np.array([0.2, 0.5, 0.8])
    state = polish_pair([HighLayer(np.inf, [4e-9], rho)], [4e-9], [150.0], np.full(3, 8e-7), 1e-12)
    up, left = blanket_removed(rho, 8e-7, 4e-9 * 150)
    np.testing.assert_allclose(state.high_loss, up, atol=5e-11)
    np.testing.assert_allclose(state.height, left, atol=5e-11)


def test_splitting_recipe_steps_and_films_changes_nothing():
    rng = np.random.default_rng(1)
    share, step = rng.random((7, 9)), 8e-7 * rng.random((7, 9))
    whole = polish_pair([HighLayer(np.inf, [4e-9], share)], [4e-9], [150.0], step, 1e-7)
    layers = [HighLayer(2e-7, [4e-9] * 3, share), HighLayer(np.inf, [4e-9] * 3, share)]
    split = polish_pair(layers, [4e-9] * 3, [20.0, 50.0, 80.0], step, 1e-7)
    np.testing.assert_allclose(split.high_loss, whole.high_loss, rtol=1e-10)
    np.testing.assert_allclose(split.height, whole.height, rtol=1e-6, atol=1e-15)
    assert np.all(split.exposed == 1)
    assert np.all((split.through_time[0] > 0) & (split.through_time[0] < 150))


def polished(level, share, rates, time, length, step):
    """Polish each cell through the level's films, and return when it was clear and its figures of merit."""
    films = [HighLayer(thick, [rates[name]], share) for name, thick in level.films()]
    low = rates[level.films()[0][0]]
    state = polish_pair(films, [low], [time], np.full(np.shape(share), step), length)
    return state.through_time[-2], level.merits_of(state.high_loss, state.height, state.exposed)


def test_dishing_saturates_where_both_materials_recede_together():
    level = MetalLevel(overburden=1e-9, barrier=1e-9)
    lengths = np.array([[20e-9, 50e-9, 100e-9, 200e-9]])
    rates = {"copper": 5e-9, "tantalum": 1e-9, "oxide": 0.1e-9}
    _, merits = polished(level, np.full(4, 0.5), rates, 3e4, lengths, 0.0)
    np.testing.assert_allclose(merits["dishing"], np.log(50) * lengths[0], rtol=1e-6)


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
        polish_pair([HighLayer(np.inf, rates, share)], rates, [1.0], np.zeros(3), length)
