"""Cleaning: adhesion and shear closed forms, small particles stay, steps combine by strength."""

from __future__ import annotations

import numpy as np
import pytest

from planish.errors import ModelError
from planish.physics import cleaning
from planish.physics.cleaning import CleanStep, clean

SIZES = np.array([20e-9, 50e-9, 100e-9, 200e-9])
EVEN = np.ones(4)


def test_van_der_waals_force_equals_the_rigid_sphere_pull_of_its_work():
    # 2 pi w R (rigid sphere, Bradley 1932, textbook result) with w from the same Hamaker constant.
    pull = cleaning.adhesion_force(1e-7, 1e-20)
    assert float(pull) == pytest.approx(
        2 * np.pi * float(cleaning.work_of_adhesion(1e-20)) * 0.5e-7, rel=1e-14
    )


def test_contact_radius_satisfies_the_load_free_adhesive_contact():
    # JKR at zero load: a^3 K = 6 pi w R^2 with K = 4 E*/3.
    a = float(cleaning.contact_radius(1e-7, 1.6e-3, 3.5e10))
    assert a**3 * 4 * 3.5e10 / 3 == pytest.approx(6 * np.pi * 1.6e-3 * (0.5e-7) ** 2, rel=1e-13)


def test_removal_ratio_scales_as_size_to_the_four_thirds():
    ratio = cleaning.removal_ratio(SIZES, 1e6)
    np.testing.assert_allclose(ratio / ratio[0], (SIZES / SIZES[0]) ** (4 / 3), rtol=1e-12)


def test_small_particles_stay_and_stronger_shear_leaves_fewer():
    weak = clean(SIZES, EVEN, (CleanStep("brush", 3e5),))
    strong = clean(SIZES, EVEN, (CleanStep("brush", 3e6),))
    assert np.all(np.diff(weak.left) < 0)
    assert np.all(strong.left < weak.left)
    assert 0 < strong.remaining < weak.remaining < 1


def test_a_weaker_step_that_covers_everything_adds_nothing_after_a_stronger_one():
    one = clean(SIZES, EVEN, (CleanStep("brush", 1e6),))
    two = clean(SIZES, EVEN, (CleanStep("brush", 1e6), CleanStep("rinse", 1e5)))
    np.testing.assert_allclose(one.left, two.left, rtol=1e-14)
    assert two.after["rinse"] == pytest.approx(two.after["brush"], rel=1e-14)


def test_sequence_against_drawing_particles():
    rng = np.random.default_rng(11)
    steps = (CleanStep("brush", 6e5, 0.9), CleanStep("sound", 3e5, 0.8), CleanStep("rinse", 5e4, 1.0))
    result = clean(SIZES, EVEN, steps, adhesion_spread=0.7)
    n = 200_000
    for k, d in enumerate(SIZES):
        hold = np.exp(0.7 * rng.standard_normal(n))
        stays = np.ones(n, dtype=bool)
        for step in steps:
            beaten = hold < float(cleaning.removal_ratio(d, step.shear_rate))
            stays &= ~(beaten & (rng.random(n) < step.coverage))
        share = result.left[k]
        assert abs(stays.mean() - share) < 4 * np.sqrt(share * (1 - share) / n)


def test_no_steps_leaves_all_and_no_shear_leaves_all():
    assert clean(SIZES, EVEN, ()).remaining == 1.0
    assert clean(SIZES, EVEN, (CleanStep("soak", 0.0),)).remaining == pytest.approx(1.0)


def test_drying_adds_back():
    deposit = cleaning.dry_deposit(2e-6, 1e11, 1e7)
    assert deposit == pytest.approx(0.02)
    base = clean(SIZES, EVEN, (CleanStep("brush", 1e6),)).remaining
    assert clean(SIZES, EVEN, (CleanStep("brush", 1e6),), dried_on=deposit).remaining == pytest.approx(
        base + 0.02
    )


def test_shear_rates_of_the_steps():
    assert cleaning.brush_shear_rate(1.0, 1e-6) == pytest.approx(1e6)
    # 1 W/cm^2 at 1 MHz in water: u = 0.116 m/s over a layer of 0.4 um.
    assert cleaning.sound_shear_rate(1e4, 1e6) == pytest.approx(
        0.11625 * np.sqrt(2e6 * np.pi / 1e-6), rel=1e-3
    )
    # Spun film: flux through a ring, rho w^2 r h^3/(3 eta) 2 pi r, must be the flow.
    r, w, Q = 0.1, 100.0, 1.67e-5
    h = float(cleaning.spin_rinse_shear_rate(r, w, Q)) * 1e-6 / (w**2 * r)
    assert 2 * np.pi * r * w**2 * r * h**3 / (3 * 1e-6) == pytest.approx(Q, rel=1e-12)
    assert float(cleaning.spin_rinse_shear_rate(r, 0.0, Q)) == 0.0


def test_refusals():
    for call in (
        lambda: cleaning.removal_ratio(0.0, 1.0),
        lambda: cleaning.brush_shear_rate(1.0, 0.0),
        lambda: cleaning.sound_shear_rate(-1.0, 1e6),
        lambda: cleaning.spin_rinse_shear_rate(0.0, 1.0, 1.0),
        lambda: cleaning.dry_deposit(1.0, 1.0, 0.0),
        lambda: clean(SIZES, EVEN[:2], ()),
        lambda: clean(SIZES, EVEN, (), adhesion_spread=0.0),
        lambda: clean(SIZES, EVEN, (CleanStep("brush", 1.0, 1.5),)),
    ):
        with pytest.raises(ModelError):
            call()
