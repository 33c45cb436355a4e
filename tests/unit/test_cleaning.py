"""Cleaning: adhesion and shear closed forms, small particles stay, steps combine by strength."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from planish.cli.main import app
from planish.errors import ModelError, PlanishError
from planish.physics import cleaning
from planish.physics.cleaning import CleanStep, clean
from planish.predict.cleaning import USUAL, clean_wafer
from planish.setup.load import load

SIZES = np.array([20e-9, 50e-9, 100e-9, 200e-9])


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
    weak = clean(SIZES, (CleanStep("brush", 3e5),))
    strong = clean(SIZES, (CleanStep("brush", 3e6),))
    assert np.all(np.diff(weak.left) < 0)
    assert np.all(strong.left < weak.left)
    assert np.all((strong.left > 0) & (weak.left < 1))


def test_a_weaker_step_that_covers_everything_adds_nothing_after_a_stronger_one():
    one = clean(SIZES, (CleanStep("brush", 1e6),))
    two = clean(SIZES, (CleanStep("brush", 1e6), CleanStep("rinse", 1e5)))
    np.testing.assert_allclose(one.left, two.left, rtol=1e-14)
    np.testing.assert_allclose(two.after[1], two.after[0], rtol=1e-14)


def test_sequence_against_drawing_particles():
    rng = np.random.default_rng(11)
    steps = (CleanStep("brush", 6e5, 0.9), CleanStep("sound", 3e5, 0.8), CleanStep("rinse", 5e4, 1.0))
    result = clean(SIZES, steps, adhesion_spread=0.7)
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
    np.testing.assert_array_equal(clean(SIZES, ()).left, 1.0)
    np.testing.assert_allclose(clean(SIZES, (CleanStep("soak", 0.0),)).left, 1.0)


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
        lambda: clean(0.1e-6, ()),
        lambda: clean(SIZES, (), adhesion_spread=0.0),
        lambda: clean(SIZES, (CleanStep("brush", 1.0, 1.5),)),
    ):
        with pytest.raises(ModelError):
            call()


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (lambda: cleaning.removal_ratio(1e-7, 1.0, viscosity=-1e-3), r"viscosity \[Pa s\] = -0.001"),
        (lambda: cleaning.brush_shear_rate(-1.0), r"brush speed \[m/s\] = -1.0: must be 0 or more"),
        (lambda: cleaning.brush_shear_rate(1.0, 0.0), r"brush gap \[m\] = 0.0: .* \(typical 1e-6 m\)"),
        (lambda: cleaning.sound_shear_rate(1.0, 0.0), r"sound frequency \[Hz\] = 0.0: must be above 0"),
        (lambda: cleaning.spin_rinse_shear_rate(0.1, 1.0, -2.0), r"rinse flow \[m\^3/s\] = -2.0"),
    ],
)
def test_a_refusal_names_the_value_that_is_wrong(call, told):
    with pytest.raises(ModelError, match=told):
        call()


ROTARY = Path(__file__).parents[2] / "examples" / "rotary.toml"


def test_a_wafer_is_cleaned_of_its_own_slurry():
    found = clean_wafer(ROTARY)
    slurry = load(ROTARY).rig.slurry
    np.testing.assert_allclose(
        found.sizes, [slurry.particle_size / 2, slurry.particle_size, slurry.large_particle_size]
    )
    assert np.all(np.diff(found.left, axis=0) <= 0)  # no step puts particles back
    assert np.all(np.diff(found.left[-1]) < 0)  # the small ones stay
    assert any("relative" in note for note in found.notes)
    assert any("common practice" in note for note in found.notes)


def test_an_even_step_is_the_plain_formula_and_a_rinse_is_the_mean_over_the_wafer():
    sizes = [50e-9, 200e-9]
    brush = clean_wafer(ROTARY, ["brush 0.5 m/s 80 %"], sizes=sizes)
    plain = clean(sizes, (CleanStep("brush", 0.5e6, 0.8),)).left
    np.testing.assert_allclose(brush.left[0], plain, rtol=1e-12)
    rinse = clean_wafer(ROTARY, ["rinse 300 rpm 1000 ml/min"], sizes=sizes, hamaker=1e-21)
    # Rings of one area each, many more of them, by the plain formulas.
    radius = 0.15 * np.sqrt((np.arange(4000) + 0.5) / 4000)
    shear = cleaning.spin_rinse_shear_rate(radius, 300 * np.pi / 30, 1e-3 / 60)
    many = np.mean([clean(sizes, (CleanStep("rinse", float(s)),), hamaker=1e-21).left for s in shear], axis=0)
    assert np.all((many > 0.02) & (many < 0.98))
    np.testing.assert_allclose(rinse.left[0], many, rtol=0.03)


def test_only_steps_that_were_not_given_are_said_to_be_assumed():
    given = clean_wafer(ROTARY, USUAL)
    assumed = clean_wafer(ROTARY)
    np.testing.assert_array_equal(given.left, assumed.left)
    assert [note for note in assumed.notes if "no steps given" in note]
    assert not [note for note in given.notes if "no steps given" in note]


def test_the_command_gives_the_same_shares():
    words = ["clean", str(ROTARY), "--step", "brush 1 m/s 95 %", "--sizes", "30nm, 0.1um", "--json"]
    done = CliRunner().invoke(app, words, catch_exceptions=False)
    told = json.loads(done.stdout)
    assert told["sizes_nm"] == pytest.approx([30, 100])
    left = clean_wafer(ROTARY, ["brush 1 m/s 95 %"], sizes=[30e-9, 100e-9]).left[-1]
    assert told["left_percent"] == pytest.approx(list(100 * left))
    assert told["steps"][0]["covered_percent"] == 95
    assert told["sources"]
    shown = CliRunner().invoke(app, words[:-1], catch_exceptions=False).stdout
    assert "note: relative" in shown


@pytest.mark.parametrize(
    "words, told",
    [
        (("--step", "soak 5 min"), "brush, sound, rinse"),
        (("--step", "brush"), "brush, speed"),
        (("--step", "brush 1"), "unit is missing"),
        (("--step", "brush 1 m/s 120 %"), "at most 100 %"),
        (("--step", "brush 0 m/s"), "from 0.001 m/s"),
        (("--step", "sound 1 W/cm^2"), "intensity and frequency"),
        (("--step", "sound 1 MHz 1 W/cm^2"), "intensity"),
        (("--step", "rinse 1000 rpm 1 l/min 50 % more of it"), "rinse"),
        (("--step", ""), "begun with"),
        (("--sizes", "30"), "--sizes"),
        (("--sizes", "0nm"), "--sizes = "),
        (("--sizes", "1m"), "--sizes = "),
        (("--hamaker", "1 m"), "--hamaker"),
        (("--hamaker", "0 J"), "Hamaker"),
        (("--hamaker", "1 J"), "Hamaker"),
    ],
)
def test_bad_cleaning_words_are_refused_in_one_line(words, told):
    with pytest.raises(PlanishError) as caught:
        CliRunner().invoke(app, ["clean", str(ROTARY), *words], catch_exceptions=False)
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)
