"""Pad cut rates of disks over 100 h against what was published: how far they are followed, and how far not."""

import numpy as np
import pytest

from planish.experiments.disk_cut_rates import CUT, DISKS, fitted, series, shed


def off(example: int, *, level: bool = False) -> np.ndarray:
    """Return predicted over measured, less 1, of the two disks of an example; with a level a disk where asked."""
    out = []
    for disk in (series(each) for each in DISKS if each.example == example):
        share = fitted().level(disk)[0] if level else 1.0
        out.append(share * fitted().predict(disk) / disk.cut_rate - 1)
    return np.concatenate(out)


def rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def test_examples_1_and_2_are_followed() -> None:
    fit = fitted()
    assert fit.misfit <= 0.06
    assert fit.spread_factor == pytest.approx(1.33, abs=0.02)
    assert fit.spread_factor_error == pytest.approx(0.09, abs=0.02)
    assert fit.halving_time / 3600 == pytest.approx(202, abs=5)
    assert fit.halving_time_error / fit.halving_time == pytest.approx(0.13, abs=0.02)
    assert fit.dulling_power == pytest.approx(3.8, abs=0.1)
    assert fit.dulling_power_error == pytest.approx(0.6, abs=0.05)
    assert fit.first_cut / CUT == pytest.approx(34.3, abs=0.2)


def test_examples_3_and_4_are_predicted() -> None:
    """A quarter off over both; the finest grit alone, which rises by a quarter and falls to a third, a little more."""
    assert rms(np.concatenate([off(3), off(4)])) <= 0.25
    assert rms(off(4)) <= 0.25
    assert rms(off(3)) <= 0.27


def test_with_a_level_a_disk_the_course_of_the_same_grit_is_predicted() -> None:
    assert rms(off(4, level=True)) <= 0.12


def test_uneven_disks_cut_more_first_and_less_later() -> None:
    predicted = [fitted().predict(series(disk)) for disk in DISKS]
    for (even, uneven), (one, other) in zip(
        zip(DISKS[::2], DISKS[1::2], strict=True),
        zip(predicted[::2], predicted[1::2], strict=True),
        strict=True,
    ):
        assert uneven.cut[0] > even.cut[0]
        assert uneven.cut[-1] < even.cut[-1]
        assert other[0] > one[0]
        assert other[-1] < one[-1]


def test_finer_grit_cuts_less() -> None:
    first = {disk.name: fitted().predict(series(disk))[0] for disk in DISKS if not disk.uneven}
    assert first["1, 100 mesh, even"] > first["2, 200 mesh, even"] > first["3, 325 mesh, even"]


def test_every_uneven_disk_sheds_more_than_any_even_one() -> None:
    found = shed()
    even = [each for each, disk in zip(found, DISKS, strict=True) if not disk.uneven]
    uneven = [each for each, disk in zip(found, DISKS, strict=True) if disk.uneven]
    assert min(uneven) > 8 * max(even)
    assert max(even) < 1.0  # less than one scratch where uneven disks make as many as were counted


def test_the_grit_says_most_of_it() -> None:
    """Left over: less than two fifths of what one rate for all disks at all times leaves."""
    measured = np.concatenate([disk.cut for disk in DISKS])
    one_rate = np.exp(np.mean(np.log(measured))) / measured - 1
    assert rms(np.concatenate([off(example) for example in (1, 2, 3, 4)])) < 0.4 * rms(one_rate)
