"""Effective density against direct quadrature of its definition and closed forms.

Sources: the deflection under a uniformly loaded disc is derived in docs/theory/derivations.md; complete elliptic integrals and their moments by scipy; quadrature by scipy.
"""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import ellipe, erf

from planish.errors import ModelError
from planish.physics.pattern.effective_density import effective_density
from planish.physics.pattern.kernels import (
    _elliptic_fine,
    cell_weights,
    elliptic_mass,
    transform,
    variance,
)

LENGTH = 2e-3
RADIUS = LENGTH / 2


def weight(r: float) -> float:
    return 3 * ellipe((r / RADIUS) ** 2) / (4 * np.pi * RADIUS**2) if r < RADIUS else 0.0


def share_beyond(distance: float) -> float:
    """Kernel mass farther than ``distance`` along x: the effective density of a straight density step."""

    def line(x: float) -> float:
        edge = np.sqrt(RADIUS**2 - x * x)
        return 2 * quad(lambda y: weight(np.hypot(x, y)), 0, edge, epsabs=1e-11, epsrel=1e-11)[0]

    return quad(line, distance, RADIUS, epsabs=1e-12, epsrel=1e-9, limit=200)[0]


@pytest.mark.parametrize("cell", [5e-5, 2.5e-4, LENGTH / 1.5])
def test_elliptic_step_layout_is_the_quadrature_of_its_definition(cell):
    n = 2 * int(6e-3 / cell)
    density = np.zeros((n, n))
    density[:, n // 2 :] = 1.0
    got = effective_density(density, cell, LENGTH)[n // 2]
    for i in range(n // 2 - 3, n // 2 + 1):
        x = (i + 0.5 - n // 2) * cell
        if abs(x) < RADIUS:
            assert got[i] == pytest.approx(share_beyond(-x), abs=1e-9)


def test_elliptic_mass_and_moments():
    for ratio in (0.1, 0.5, 0.9, 1.0):
        mass = quad(lambda r: 2 * np.pi * r * weight(r), 0, ratio * RADIUS, epsabs=1e-13)[0]
        assert elliptic_mass(np.array(ratio)) == pytest.approx(mass, abs=1e-10)
    second = quad(lambda r: np.pi * r**3 * weight(r), 0, RADIUS)[0]
    assert variance("elliptic", LENGTH) == pytest.approx(second, rel=1e-9)


@pytest.mark.parametrize("kernel", ["square", "gaussian", "elliptic"])
def test_transform_starts_at_one_and_curves_with_the_variance(kernel):
    q = np.array([0.0, 20.0])
    value = transform(kernel, LENGTH, q)
    assert value[0] == pytest.approx(1, abs=1e-12)
    assert 1 - value[1] == pytest.approx(variance(kernel, LENGTH) * q[1] ** 2 / 2, rel=1e-3)


@pytest.mark.parametrize("q", [300.0, 3000.0, 30000.0])
def test_elliptic_transform_is_that_of_its_cells(q):
    cell = 1e-5
    weights = cell_weights("elliptic", LENGTH, cell)
    n = weights.shape[0] // 2
    x = np.arange(-n, n + 1) * cell
    # A cell holds its weight spread over its width: the sinc is that of the cell.
    summed = (weights.sum(axis=0) * np.cos(q * x)).sum() * 1.0
    spread = np.sinc(q * cell / (2 * np.pi))
    assert summed == pytest.approx(transform("elliptic", LENGTH, np.array([q]))[0] * spread, abs=3e-5)


@pytest.mark.parametrize("kernel", ["square", "gaussian"])
def test_separable_step_layout_is_the_closed_form(kernel):
    cell, n = 1e-4, 200
    density = np.zeros((n, n))
    density[:, n // 2 :] = 1.0
    got = effective_density(density, cell, LENGTH, kernel=kernel)[3]
    x = (np.arange(n) + 0.5 - n // 2) * cell
    if kernel == "square":
        want = np.clip(0.5 + x / LENGTH, 0, 1)
    else:
        want = 0.5 * (1 + erf(x / np.sqrt(2 * variance(kernel, LENGTH))))
    near = np.abs(x) < 4e-3
    np.testing.assert_allclose(got[near], want[near], atol=1e-9)


@pytest.mark.parametrize("radius", [100.0, 233.7])
def test_centre_sampled_weights_meet_the_exact_ones(radius):
    exact = cell_weights("elliptic", 2 * radius, 1.0)
    fine = _elliptic_fine(radius, exact.shape[0] // 2, np)
    assert np.abs(np.cumsum((fine - exact).sum(axis=0))).max() < 4e-6 * 100 / radius
    assert fine.sum() == pytest.approx(1, abs=1e-12)


def test_periodic_field_is_a_tile_of_the_repeated_one_whatever_the_kernel_size():
    rng = np.random.default_rng(4)
    field = rng.random((12, 18))
    tiled = np.tile(field, (5, 5))
    for kernel in ("square", "gaussian", "elliptic"):
        one = effective_density(field, 1e-4, LENGTH, kernel=kernel)
        many = effective_density(tiled, 1e-4, LENGTH, kernel=kernel)
        np.testing.assert_allclose(np.tile(one, (5, 5)), many, atol=1e-12)
        assert one.mean() == pytest.approx(field.mean(), abs=1e-13)


def test_field_alone_is_a_direct_sum():
    rng = np.random.default_rng(5)
    field = rng.random((9, 14))
    weights = cell_weights("elliptic", LENGTH, 1e-4)
    n = weights.shape[0] // 2
    padded = np.pad(field, n, constant_values=0.3)
    want = [
        [(padded[i : i + 2 * n + 1, j : j + 2 * n + 1] * weights).sum() for j in range(14)] for i in range(9)
    ]
    got = effective_density(field, 1e-4, LENGTH, edges="alone", outside=0.3)
    np.testing.assert_allclose(got, want, atol=1e-12)


@pytest.mark.parametrize(
    "change",
    [
        {"density": np.full((3, 3), 1.2)},
        {"density": np.full((3, 3), np.nan)},
        {"density": np.zeros(3)},
        {"length": 0.0},
        {"kernel": "round"},
        {"edges": "open"},
        {"cell": -1.0},
    ],
)
def test_bad_input_is_refused_in_words(change):
    given = {"density": np.full((4, 4), 0.5), "cell": 1e-4, "length": LENGTH} | change
    with pytest.raises(ModelError, match="must be"):
        effective_density(**given)
