"""The closed forms behind ranked causes against scipy's densities, and what a change does against the wafer model's own differences."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, stats

import planish
from planish.hold.causes.noise import noise_of
from planish.hold.causes.posterior import Nuisance, weigh
from planish.hold.causes.seen import Rings
from planish.hold.causes.signatures import Course, shapes_of

sys.path.insert(0, str(Path(__file__).parents[1] / "unit"))
from upsets import main_step, zone

RINGS = Rings(np.array([0.0, 0.05, 0.1, 0.14]), np.array([1, 8, 8, 8]))


@pytest.fixture
def toy():
    random = np.random.default_rng(5)
    return random.standard_normal(12), random.standard_normal((12, 3)), random.standard_normal((12, 2))


def test_a_marginal_likelihood_is_that_of_the_normal_with_the_size_averaged_over(toy):
    y, shapes, columns = toy
    spread = np.array([0.3, 1.0, 4.0])
    found = weigh(y, shapes, spread, np.zeros(3, dtype=bool), Nuisance(columns))
    anyway = np.eye(12) + columns @ columns.T
    plain = stats.multivariate_normal.logpdf(y, cov=anyway)
    for at, t in enumerate(spread):
        both = anyway + t**2 * np.outer(shapes[:, at], shapes[:, at])
        assert found.ratio[at] == pytest.approx(
            stats.multivariate_normal.logpdf(y, cov=both) - plain, abs=1e-10
        )


def test_a_one_sided_size_is_the_integral_over_sizes_above_0(toy):
    y, shapes, columns = toy
    found = weigh(y, shapes, np.full(3, 0.7), np.ones(3, dtype=bool), Nuisance(columns))
    anyway = stats.multivariate_normal(cov=np.eye(12) + columns @ columns.T)
    for at in range(3):

        def density(size, power=0, at=at):
            prior = 2 * stats.norm.pdf(size, scale=0.7)
            return size**power * prior * np.exp(anyway.logpdf(y - size * shapes[:, at]) - anyway.logpdf(y))

        total, first, second = (
            integrate.quad(density, 0, 8, args=(power,), epsabs=1e-12)[0] for power in (0, 1, 2)
        )
        assert found.ratio[at] == pytest.approx(np.log(total), abs=1e-8)
        assert found.mean[at] == pytest.approx(first / total, rel=1e-7)
        assert found.sd[at] == pytest.approx(np.sqrt(second / total - (first / total) ** 2), rel=1e-6)


def test_a_misfit_is_the_squared_distance_of_the_normal(toy):
    y, _, columns = toy
    cov = np.eye(12) + columns @ columns.T
    assert Nuisance(columns).misfit(y) == pytest.approx(y @ np.linalg.solve(cov, y))


def test_shapes_that_differ_by_what_changes_anyway_have_no_angle():
    random = np.random.default_rng(1)
    columns = 1e4 * random.standard_normal((12, 2))
    one = random.standard_normal(12)
    nuisance = Nuisance(columns)
    assert nuisance.angle(one, one + 0.01 * columns[:, 0]) < 0.01  # far apart without them
    assert Nuisance(np.zeros((12, 1))).angle(one, one + 0.01 * columns[:, 0]) > 1.0
    assert np.degrees(Nuisance(np.zeros((12, 1))).angle(np.eye(12)[0], np.eye(12)[3])) == pytest.approx(90)


def test_variance_components_come_back_from_many_rows():
    random = np.random.default_rng(2)
    directions = np.concatenate([random.standard_normal((3, 8)) * 500, np.zeros((3, 1))], axis=1)
    sizes = np.array([0.02, 0.008, 0.003])
    rows = random.standard_normal((3000, 3)) * sizes @ directions
    rows[:, :8] += random.standard_normal((3000, 8)) * 1.2 / np.sqrt(np.tile(RINGS.sites, 2))
    rows[:, 8] += 0.7 * random.standard_normal(3000)
    found = noise_of(rows, directions, RINGS.sites, ("temperature",))
    truth = dict(zip(("film", "bowl", "rate", "site", "temperature"), (*sizes, 1.2, 0.7), strict=True))
    assert found.spreads == pytest.approx(truth, rel=0.06)
    assert found.covariance == pytest.approx(np.cov(rows.T), abs=0.05 * np.cov(rows.T).max())


@pytest.fixture(scope="module")
def followed():
    rig = main_step(time=60.0)
    return rig, shapes_of(rig, Course(np.arange(3), (), 1), RINGS, cells=32)


@pytest.mark.parametrize("number", [1, 3, 5])
def test_what_a_zone_does_is_the_difference_of_two_polished_wafers(followed, number):
    rig, shapes = followed
    name = f"zone {number} pressure"
    shape = next(
        shapes.shape[:, :, k]
        for k, way in enumerate(shapes.way)
        if shapes.ways[way].name == name and shapes.onset[k] == 1
    )
    wafers = [planish.polish(one, cells=32) for one in (rig, zone(rig, number, 1.02))]
    plain, more = (np.interp(RINGS.radius, one.radius, 1e9 * one.removed) for one in wafers)
    expected = (more - plain) / 0.02
    assert shape[1, 4:8] == pytest.approx(-expected, abs=0.05 * np.abs(expected).max())
    assert not shape[1, :4].any()
    assert not shape[0].any()  # before its onset


def test_what_slurry_and_film_do_are_differences_of_polished_wafers(followed):
    rig, shapes = followed
    by_film, _, by_rate = shapes.directions
    oxide = rig.removal["oxide"]
    numbers = {name: 1.02 * value for name, value in oxide.coefficients.items()}
    faster = replace(rig, removal={**rig.removal, "oxide": replace(oxide, coefficients=numbers)})
    plain, more = (
        np.interp(RINGS.radius, one.radius, 1e9 * one.removed)
        for one in (planish.polish(rig, cells=32), planish.polish(faster, cells=32))
    )
    assert by_rate[4:8] == pytest.approx((plain - more) / 0.02, rel=0.03)
    # a film that is thicker by its own 1000 nm leaves 1000 nm more after the same time
    assert by_film[:8] == pytest.approx(np.full(8, 1000.0), rel=2e-3)
