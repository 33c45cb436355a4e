"""Fitting disks: planted constants come back, what cannot be told is left, what makes no sense is refused."""

from dataclasses import replace

import numpy as np
import pytest

import planish
from planish.errors import FitError, ModelError
from planish.physics.surface import grit

HOURS = np.array([0.5, 4, 10, 20, 50, 100])
TAU, POWER, FACTOR, FIRST = 150 * 3600.0, 3.0, 1.25, 9e-9


def planted(size, tips, *, uneven=False, noise=0.0, seed=0, level=1.0):
    reference = grit.plough(grit.Grit(150e-6, 1.1e5, 0.06, 20e-6), 49.0, 60e6)
    own = grit.plough(grit.Grit(size, tips, 0.06 * (FACTOR if uneven else 1), 20e-6), 49.0, 60e6)
    tau = grit.halving_time(size, own.depth, TAU, POWER)
    cut = level * FIRST * own.cut_number / reference.cut_number / (1 + HOURS * 3600 / tau)
    cut = cut * np.exp(noise * np.random.default_rng(seed).standard_normal(cut.size))
    name = f"{size * 1e6:g} µm, {'un' if uneven else ''}even"
    return planish.DiskSeries(name, size, tips, 49.0, HOURS * 3600, cut, uneven)


def four(noise=0.0):
    return [
        planted(size, tips, uneven=uneven, noise=noise, seed=int(size * 1e7) + uneven)
        for size, tips in ((150e-6, 1.1e5), (75e-6, 4.4e5))
        for uneven in (False, True)
    ]


def test_planted_constants_come_back():
    fit = planish.fit_disks(four())
    assert fit.misfit < 1e-6
    assert fit.first_cut == pytest.approx(FIRST, rel=1e-6)
    assert fit.spread_factor == pytest.approx(FACTOR, rel=1e-5)
    assert fit.halving_time == pytest.approx(TAU, rel=1e-5)
    assert fit.dulling_power == pytest.approx(POWER, rel=1e-4)
    assert fit.notes == ()


def test_errors_cover_the_planted_constants_under_noise():
    fit = planish.fit_disks(four(noise=0.04))
    for value, error, true in (
        (fit.first_cut, fit.first_cut_error, FIRST),
        (fit.spread_factor, fit.spread_factor_error, FACTOR),
        (fit.halving_time, fit.halving_time_error, TAU),
        (fit.dulling_power, fit.dulling_power_error, POWER),
    ):
        assert error > 0
        assert abs(value - true) < 3 * error
    assert 0.02 < fit.misfit < 0.06


def test_one_disk_tells_its_own_dulling_only():
    fit = planish.fit_disks([planted(150e-6, 1.1e5)])
    assert (fit.dulling_power, fit.dulling_power_error) == (3.8, 0.0)
    assert (fit.spread_factor, fit.spread_factor_error) == (1.0, 0.0)
    assert len(fit.notes) == 2
    assert fit.fitted == pytest.approx(fit.series[0].cut_rate, rel=1e-6)


def test_a_disk_at_a_level_of_its_own_is_seen():
    fit = planish.fit_disks(four())
    level, error = fit.level(planted(45e-6, 9e5, level=0.8))
    assert level == pytest.approx(0.8, rel=1e-4)
    assert error < 1e-4


def test_changes_go_into_a_setup():
    setup = planish.loads(planish.new_setup("rotary")).replace(planish.fit_disks(four()).changes)
    assert setup.rig.conditioner.halving_time == pytest.approx(TAU, rel=1e-4)
    assert setup.rig.conditioner.dulling_power == pytest.approx(POWER, rel=1e-4)


@pytest.mark.parametrize(
    "change, words",
    [
        ({"cut_rate": np.array([1e-9, 0.0, 1e-9, 1e-9, 1e-9, 1e-9])}, "above 0"),
        ({"cut_rate": np.array([1e-9, np.nan, 1e-9, 1e-9, 1e-9, 1e-9])}, "above 0"),
        ({"use": np.array([-1.0, 2, 3, 4, 5, 6])}, "0 or more"),
        ({"use": np.array([1.0, 2])}, "of one length"),
        ({"downforce": 0.0}, "downforce"),
        ({"cut_rate": np.full(6, 1e-9)}, "runs away"),
        ({"use": np.array([1.0, 2]), "cut_rate": np.array([2e-9, 1e-9])}, "4 or more for 2 constants"),
    ],
)
def test_senseless_measurements_are_refused(change, words):
    with pytest.raises(FitError, match=words):
        planish.fit_disks([replace(planted(150e-6, 1.1e5), **change)])


def test_nothing_and_senseless_pads_are_refused():
    with pytest.raises(FitError, match="one or more"):
        planish.fit_disks([])
    with pytest.raises(ModelError, match="hardness"):
        planish.fit_disks(four(), hardness=0.0)
