"""How far the pad reaches into low areas, and areas of many widths side by side: values of our own prototypes.

Source: a separate implementation of the same law in another form (roots of the clock by bisection, in 15 digits), on
tips of 30 um and a decay length of 4 um; limits by hand. Nothing here is measured; test_x22 to test_x24 are.
"""

import numpy as np
import pytest

from planish.errors import ModelError
from planish.physics.pattern.areas import HighLayer, Low, polish_areas
from planish.physics.pattern.feature_selectivity import feature_selectivity, reach_at_rest, share_of_reach
from planish.physics.pattern.response import local_response

SPOT = np.sqrt(30e-6 * 4e-6)
UM = 1e-6


def dished(widths, phi, *, length=40e-9, rate=5e-9, ratio=83.0, time=60.0, responses=None, parts=None):
    """Return dishing and high loss of lines that start flat with the dielectric, no bulk."""
    low = np.array([[length * share_of_reach(w, s, SPOT)] for w, s in widths])
    high = HighLayer(np.inf, [rate / ratio], [responses])
    lines = Low(
        np.full((len(widths), 1), rate),
        np.zeros(low.shape),
        parts=np.full(low.shape, 1 / len(widths)) if parts is None else parts,
        responses=[responses],
    )
    state = polish_areas([high], lines, [time], [np.array([phi])], [low])
    return state.height[:, 0], float(state.high_loss[0])


@pytest.mark.parametrize(
    "low, high, share",
    [
        (100, 100, 0.67828),
        (50, 50, 0.51699),
        (10, 10, 0.19143),
        (1, 1, 0.03255),
        (50, 1, 0.14076),
        (1, 50, 0.03914),
        (10, np.inf, 0.29326),
    ],
)
def test_share_of_reach_by_width(low, high, share):
    assert share_of_reach(low * UM, high * UM, SPOT) == pytest.approx(share, abs=5.1e-6)


def test_elastic_summits_reach_their_decay_length_and_limits_of_the_share():
    assert reach_at_rest(SPOT, np.sqrt(4e-6 / (np.pi * 30e-6))) == pytest.approx(4e-6, rel=1e-12)
    assert share_of_reach(1.0, 1.0, SPOT) == pytest.approx(1.0, rel=1e-4)
    deep = share_of_reach(2 * UM, 2 * UM, SPOT, np.array([0.0, 0.1, 1.0, 4.0]))
    assert np.all(np.diff(deep) > 0)  # deeper trenches are reached into more easily
    into, beside = 2 * UM + 0.39 * 4 * SPOT, 2 * UM + (0.13 + 0.89 * 4) * SPOT
    assert deep[-1] == pytest.approx(1 / (1 + 2.2 * SPOT * (1 / into + 1 / beside)), rel=1e-12)


@pytest.mark.parametrize(
    "line, space, depth, loss",
    [(100, 100, 78.0905, 6.2132), (10, 10, 29.8326, 6.7877), (50, 1, 24.8792, 105.6845)],
)
def test_one_width_dishes_and_erodes(line, space, depth, loss):
    height, high = dished([(line * UM, space * UM)], space / (space + line))
    assert height[0] * 1e9 == pytest.approx(depth, rel=1e-4)
    assert high * 1e9 == pytest.approx(loss, rel=1e-4)


def test_three_widths_beside_one_another():
    height, high = dished([(w * UM, w * UM) for w in (1, 10, 100)], 0.4)
    np.testing.assert_allclose(height * 1e9, [5.75084, 30.65112, 84.23483], rtol=1e-4)
    assert high * 1e9 == pytest.approx(8.16191, rel=1e-4)


def test_equal_widths_merge():
    def at(parts):
        low = np.full((len(parts), 1), 27e-9)
        lines = Low(np.full((len(parts), 1), 5e-9), np.zeros(low.shape), parts=np.array(parts)[:, None])
        high = HighLayer(np.inf, [5e-9 / 83])
        return polish_areas([high], lines, [60.0], [np.array([0.5])], [low]).height[:, 0]

    assert at([1.0])[0] * 1e9 == pytest.approx(77.83427, rel=1e-4)
    np.testing.assert_allclose(at([0.2, 0.3, 0.5]), at([1.0])[0], rtol=1e-12)


@pytest.mark.parametrize("threshold, cap", [(0.5, 1.09861), (0.7, 0.61904)])
def test_a_threshold_caps_dishing_however_selective_the_slurry(threshold, cap):
    answer = local_response(lambda x: np.maximum(x - threshold, 0.0), threshold)
    height, _ = dished([(1.0, 1.0)], 0.5, ratio=1e12, time=6000.0, responses=answer)
    length = 40e-9 * float(share_of_reach(1.0, 1.0, SPOT))
    assert height[0] / length == pytest.approx(cap, rel=1e-4)
    assert cap == pytest.approx(np.log((1 - 0.5 * threshold) / (0.5 * threshold)), rel=1e-4)


def test_the_bulk_comes_in_series_and_unknown_widths_count_as_wide():
    stiff = {"summit_length": 40e-9, "spot_radius": SPOT, "pressure": 17e3}
    width = np.array([1.0, 10.0, 100.0, np.nan]) * UM
    got = feature_selectivity(width, compliance=lambda q: 2 / (313e6 * q), **stiff)
    alone = feature_selectivity(width, compliance=lambda q: 1e-30 / q, **stiff)
    np.testing.assert_allclose(got[:3] - alone[:3], 17e3 * 2 * width[:3] / (313e6 * np.pi), rtol=1e-5)
    assert got[3] > got[2]
    deep = feature_selectivity(width, compliance=lambda q: 1e-30 / q, depth=1e-6, **stiff)
    assert np.all(deep > alone)
    assert np.all(deep < 40e-9)
    with pytest.raises(ModelError, match="contact spot"):
        feature_selectivity(width, compliance=lambda q: 1 / q, **{**stiff, "spot_radius": 0.0})
