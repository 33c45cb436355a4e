"""Truth: the diamonds of a disk against values worked out apart, high-precision integrals and drawn tips.

The check values are of a prototype of our own (49 N on 3.248e-3 m^2 of grit, tips of 20 um, pad of 60 MPa, height
spread 0.06). The tips drawn at random are pressed one by one, without any integral.
"""

from itertools import pairwise

import mpmath as mp
import numpy as np
import pytest

from planish.errors import ModelError
from planish.physics.surface import grit
from planish.physics.surface.grit import Grit

AREA, FORCE, HARD = 3.248e-3, 49.0, 60e6
CHECKS = [
    (150e-6, 35e6, 1.846, 0.03245, 3.524e-6, 13.28e-3, 0.322),
    (75e-6, 135e6, 2.093, 0.01816, 1.633e-6, 6.155e-3, 0.220),
    (45e-6, 280e6, 2.172, 0.01494, 0.957e-6, 3.608e-3, 0.169),
]


def disk(size: float = 150e-6, density: float = 35e6, spread: float = 0.06) -> Grit:
    return Grit(size, density * AREA, spread, 20e-6)


@pytest.mark.parametrize("size, density, plane, share, depth, load, number", CHECKS)
def test_check_values(size, density, plane, share, depth, load, number) -> None:
    found = grit.plough(disk(size, density), FORCE, HARD)
    assert found.plane == pytest.approx(plane, abs=6e-4)
    assert found.active_share == pytest.approx(share, abs=6e-6)
    assert found.depth == pytest.approx(depth, rel=6e-4)
    assert found.load == pytest.approx(load, rel=4e-4)
    assert found.cut_number == pytest.approx(number, rel=3e-3)


@pytest.mark.parametrize("order", [0.0, 1.0, 1.5])
@pytest.mark.parametrize("plane", [-6.0, -0.5, 0.0, 0.5, 2.0, 5.0, 12.0, 30.0])
def test_tail_integrals_at_high_precision(order: float, plane: float) -> None:
    with mp.workdps(30):
        # exp(-plane x) x^n exp(-x^2/2), split where it turns
        peak = max(-plane, 0.0)
        marks = sorted(
            {0.0, 0.1 / (1 + abs(plane)), 1 / (1 + abs(plane)), 6 / (1 + abs(plane)), peak, peak + 3}
        )
        exact = mp.quad(lambda x: x**order * mp.npdf(x + plane), [*marks, mp.inf])
    assert grit.tail_integral(order, plane) == pytest.approx(float(exact), rel=1e-11)


def test_tips_drawn_and_pressed_one_by_one() -> None:
    """A plane lowered on 2 million drawn tips until they carry the force: share, depth and section."""
    rng = np.random.default_rng(11)
    drawn, tips = 2_000_000, 35e6 * AREA
    heights = 9e-6 * rng.standard_normal(drawn)
    low, high = heights.min(), heights.max()
    for _ in range(60):
        at = 0.5 * (low + high)
        carried = np.pi * 20e-6 * HARD * np.maximum(heights - at, 0).sum() * tips / drawn
        low, high = (at, high) if carried > FORCE else (low, at)
    sunk = (heights - at)[heights > at]
    section = 4 / 3 * np.sqrt(2 * 20e-6) * (sunk**1.5).sum() * tips / drawn
    found = grit.plough(disk(), FORCE, HARD)
    sigmas = 4 / np.sqrt(sunk.size)
    assert sunk.size / drawn == pytest.approx(found.active_share, rel=sigmas)
    assert sunk.mean() == pytest.approx(found.depth, rel=sigmas)
    assert section * HARD / FORCE == pytest.approx(found.cut_number, rel=sigmas)


def test_load_and_depth_close_the_balance() -> None:
    for force in (1.0, 10.0, 49.0, 300.0):
        found = grit.plough(disk(), force, HARD)
        touching = found.active_share * disk().tips
        assert touching * found.load == pytest.approx(force, rel=1e-12)
        assert np.pi * 20e-6 * HARD * found.depth == pytest.approx(found.load, rel=1e-12)
        assert found.depth == pytest.approx(9e-6 * grit.tail_integral(1.0, found.plane) / found.active_share)


def test_exponents_about_mesh_100() -> None:
    """Cut ~ F^1.06 N^-0.06 d^0.45 spread^0.45 and depth ~ F^0.13 d^0.88, read off by small changes."""

    def slope(change, what) -> float:
        up, down = (change(factor) for factor in (1.02, 1 / 1.02))
        return (np.log(what(up)) - np.log(what(down))) / (2 * np.log(1.02))

    def pressed(f: float):
        return grit.plough(disk(), FORCE * f, HARD), FORCE * f

    def cut(pair) -> float:
        return pair[0].cut_number * pair[1]

    def depth(pair) -> float:
        return pair[0].depth

    def made(**more):
        return grit.plough(disk(**more), FORCE, HARD), FORCE

    assert slope(pressed, cut) == pytest.approx(1.06, abs=0.01)
    assert slope(pressed, depth) == pytest.approx(0.13, abs=0.01)
    assert slope(lambda f: made(density=35e6 * f), cut) == pytest.approx(-0.06, abs=0.01)
    assert slope(lambda f: made(size=150e-6 * f), cut) == pytest.approx(0.45, abs=0.01)
    assert slope(lambda f: made(size=150e-6 * f), depth) == pytest.approx(0.88, abs=0.01)
    assert slope(lambda f: made(spread=0.06 * f), cut) == pytest.approx(0.45, abs=0.01)


def test_no_jump_down_to_no_force() -> None:
    """Cut, depth, texture, shed grit: each goes to its value without force, in steps that shrink with the force."""
    forces = np.concatenate([[0.0], np.geomspace(1e-8, 49.0, 2000)])
    found = [grit.plough(disk(), float(f), HARD) for f in forces]
    cut = np.array([one.cut_number * f for one, f in zip(found, forces, strict=True)])
    texture = np.array([grit.texture_ratio(one.depth, 3.524e-6, 0.35) for one in found])
    shed = np.array([grit.shed_grit(disk(), one) for one in found])
    for values in (cut, texture, shed):
        assert np.all(np.diff(values) >= 0)
        assert np.max(np.diff(values)) < 0.035 * values[-1]
    assert texture[0] == np.sqrt(0.35)
    assert texture[1] == pytest.approx(np.sqrt(0.35), abs=1e-9)
    assert cut[0] == shed[0] == 0.0


def test_sharpness_and_its_time() -> None:
    assert float(grit.sharpness(0.0, 72e3)) == 1.0
    assert float(grit.sharpness(72e3, 72e3)) == 0.5
    assert np.all(np.diff(grit.sharpness(np.linspace(0, 3e5, 50), 72e3)) < 0)
    assert np.all(grit.sharpness([0.0, 1e9], np.inf) == 1.0)
    assert grit.halving_time(150e-6, 0.0235 * 150e-6, 5e5, 3.8) == pytest.approx(5e5)
    assert grit.halving_time(75e-6, 0.0235 * 75e-6, 5e5, 3.8) == pytest.approx(2.5e5)
    assert grit.halving_time(150e-6, 0.047 * 150e-6, 5e5, 3.8) == pytest.approx(5e5 / 2**3.8)
    assert grit.halving_time(150e-6, 0.0, 5e5, 3.8) == np.inf


def test_reference_disk_on_any_pad_has_factors_of_one() -> None:
    for hard in (5e6, 60e6, 300e6):
        own, stated = (grit.plough(grit.REFERENCE_GRIT, grit.REFERENCE_FORCE, hard) for _ in range(2))
        assert own.cut_number / stated.cut_number == 1.0
        assert grit.texture_ratio(own.depth, stated.depth, 0.35) == 1.0


def test_rougher_with_bigger_diamonds_and_more_force() -> None:
    """Sun et al. (abstract): the tail of the height density grows with diamond size and conditioning force."""
    ratio = [
        grit.texture_ratio(grit.plough(disk(*each), force, HARD).depth, 3.524e-6, 0.35)
        for *each, force in (
            (45e-6, 280e6, 49.0),
            (75e-6, 135e6, 49.0),
            (150e-6, 35e6, 49.0),
            (150e-6, 35e6, 90.0),
        )
    ]
    assert all(b > 1.02 * a for a, b in pairwise(ratio))


@pytest.mark.parametrize(
    "call",
    [
        lambda: grit.plough(disk(size=0.0), FORCE, HARD),
        lambda: grit.plough(disk(density=0.0), FORCE, HARD),
        lambda: grit.plough(disk(spread=0.0), FORCE, HARD),
        lambda: grit.plough(disk(), -1.0, HARD),
        lambda: grit.plough(disk(), np.nan, HARD),
        lambda: grit.plough(disk(), FORCE, 0.0),
        lambda: grit.sharpness(-1.0, 1e4),
        lambda: grit.sharpness(1.0, 0.0),
        lambda: grit.halving_time(150e-6, 3e-6, 0.0, 3.8),
        lambda: grit.halving_time(150e-6, 3e-6, 1e5, -1.0),
        lambda: grit.texture_ratio(1e-6, 0.0, 0.3),
        lambda: grit.texture_ratio(1e-6, 1e-6, 1.0),
    ],
)
def test_bad_values_are_refused(call) -> None:
    with pytest.raises(ModelError):
        call()
