"""What docs/theory/derivations.md derives, each against something that does not use it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.special import ellipe, j0, j1

from planish.measure.layout.chords import chord_widths
from planish.measure.nested import nested_variance
from planish.physics import cleaning
from planish.physics.motion.rotary import Rotary
from planish.physics.pattern.oxide_step import blanket_removed
from planish.physics.pressure.ring_influence import _disc_on_half_space
from planish.physics.removal.factors import saturating_factor
from planish.physics.removal.laws import removal_rate
from planish.physics.slurry.gap import duct_conductance
from planish.physics.surface import asperities


def test_tail_of_summits_by_random_heights() -> None:
    tail, tip, modulus, density = 5e-6, 40e-6, 110e6, 2e8
    d = 4e-6
    over = np.random.default_rng(3).exponential(tail, 2_000_000) - d
    dent = over[over > 0]
    force = np.mean(np.where(over > 0, 4 / 3 * modulus * math.sqrt(tip) * np.maximum(over, 0) ** 1.5, 0.0))
    area = math.pi * tip * dent.sum() / over.size
    assert force / area == pytest.approx(modulus * math.sqrt(tail / (math.pi * tip)), rel=0.005)
    edges = np.linspace(0, 120e-6, 24001)
    found = asperities.contact(
        d, edges, asperities.fresh_heights(edges, 0.0, tail), density=density, tip_radius=tip, modulus=modulus
    )
    assert float(found.real_pressure) == pytest.approx(force / area, rel=0.005)


def test_steps_in_series_settle_to_the_law() -> None:
    law = {"a": 3e-5, "e_a": 0.0, "k_m": 4e-9, "friction": 0.4, "molar_volume": 7.1e-6}
    p, v = 14e3, 1.1
    k1, k2 = law["a"], law["k_m"] * law["friction"] * p * v
    end = solve_ivp(lambda _t, s: k1 * (1 - s) - k2 * s, (0.0, 60 / (k1 + k2)), [0.0], rtol=1e-10, atol=1e-12)
    rate = removal_rate("two-step", law, p, v, temperature=300.0)
    assert float(rate) == pytest.approx(law["molar_volume"] * k2 * end.y[0, -1], rel=1e-7)


def test_places_fill_as_the_factor_says() -> None:
    half, supply, reference = 0.05, 0.12, 0.03

    def filled(x: float) -> float:
        end = solve_ivp(lambda _t, s: x * (1 - s) - half * s, (0.0, 400.0), [0.0], rtol=1e-10, atol=1e-12)
        return float(end.y[0, -1])

    asked = saturating_factor(supply, reference, half)
    assert float(asked) == pytest.approx(filled(supply) / filled(reference), rel=1e-7)


@pytest.mark.parametrize("blanket", [50e-9, 400e-9])
def test_up_areas_carry_the_load_alone(blanket: float) -> None:
    rho, step, parts = 0.35, 600e-9, 20_000
    up, low = step, 0.0
    for _ in range(parts):  # the pad rests on what is highest, its pressure the load over that area
        if up > low:
            up -= blanket / parts / rho
        else:
            up = low = min(up, low) - blanket / parts
    lost, left = blanket_removed(rho, step, blanket)
    assert step - up == pytest.approx(float(lost), rel=1e-3)
    assert max(up - low, 0.0) == pytest.approx(float(left), abs=step * 1e-3)


def test_equal_speeds_slide_alike() -> None:
    w, d = 9.0, 0.19
    for r, turn in ((0.03, 0.4), (0.147, 2.9)):
        place = np.array([d + r * math.cos(turn), r * math.sin(turn)])
        pad = w * np.array([-place[1], place[0]])
        wafer = w * np.array([-r * math.sin(turn), r * math.cos(turn)])
        assert float(np.hypot(*(pad - wafer))) == pytest.approx(w * d, rel=1e-14)
    assert Rotary(centre_offset=0.19, platen_radius=0.4).mean_speed(0.147, w, w) == pytest.approx(
        w * d, rel=1e-14
    )


def test_disc_on_a_half_space_by_chords_and_by_waves() -> None:
    a, r = 1.0, 0.6

    # a point inside: what a point force sinks, added up over the disc about its middle
    def ring(s: float) -> float:
        return (
            2
            * s
            * float(quad(lambda t: 1 / math.sqrt(r * r + s * s - 2 * r * s * math.cos(t)), 0, math.pi)[0])
        )

    summed = (quad(ring, 0, r, limit=200)[0] + quad(ring, r, a, limit=200)[0]) / math.pi
    assert summed == pytest.approx(4 * a / math.pi * ellipe(r * r / a / a), rel=1e-6)
    assert float(_disc_on_half_space(np.array([r]), np.array([a]))[0, 0]) == pytest.approx(summed, rel=1e-6)
    # the mean of plane waves over all directions is J0, and layers of compliance 2/x give the same depth
    x = 3.7
    waves = quad(lambda t: math.cos(x * r * math.cos(t)), 0, math.pi)[0] / math.pi
    assert waves == pytest.approx(float(j0(x * r)), abs=1e-12)
    steps = np.arange(0, 4000, 0.002) + 0.001
    depth = float(np.sum(2 * a * j1(steps * a) * j0(steps * r) / steps) * 0.002)
    assert depth == pytest.approx(summed, rel=2e-4)


def test_sphere_on_a_plane_from_two_spheres() -> None:
    hamaker, size = 1e-20, 2e-6
    radius, gap = size / 2, cleaning.CONTACT_GAP

    def two_spheres(s: float) -> float:
        far = 4 * radius + s
        near = 2 * radius + s
        return (
            -hamaker / 6 * (2 * radius**2 / (far * s) + 2 * radius**2 / near**2 + math.log(far * s / near**2))
        )

    pull = (two_spheres(gap * 1.0001) - two_spheres(gap * 0.9999)) / (0.0002 * gap)
    assert float(cleaning.adhesion_force(size, hamaker)) == pytest.approx(2 * pull, rel=2e-3)
    # Derjaguin: the force is 2 pi R times the energy per area of two planes
    assert float(cleaning.work_of_adhesion(hamaker)) == pytest.approx(
        2 * pull / (2 * math.pi * radius), rel=2e-3
    )


def test_contact_of_adhesion_alone_carries_no_force() -> None:
    size, work, modulus = 1e-6, 0.02, 60e9
    radius, gamma = size / 2, work / 2
    a = float(cleaning.contact_radius(size, work, modulus))
    push = 4 * modulus * a**3 / (3 * radius)
    pull = 2 * math.pi * a**2 * math.sqrt(4 * gamma * modulus / (math.pi * a))
    assert push == pytest.approx(pull, rel=1e-12)


def test_rinse_keeps_up_the_film_that_leaves_as_it_comes() -> None:
    r, w, flow, nu = 0.1, 100.0, 1.5e-5, 1e-6
    shear = float(cleaning.spin_rinse_shear_rate(r, w, flow))
    h = shear * nu / (w * w * r)
    thinning = 2 * w**2 * h**3 / (3 * nu)  # of a uniform film, as the sources give it
    assert math.pi * r**2 * thinning == pytest.approx(flow, rel=1e-12)


@pytest.mark.parametrize("ratio", [1.0, 0.5, 0.1])
def test_duct_is_a_twisted_bar(ratio: float) -> None:
    n = int(60 / ratio)
    m = 60
    # the stress function of the bar, lap f = -2 on a grid; J = 2 int f, and the flow is J/4
    from scipy.sparse import diags, identity, kron
    from scipy.sparse.linalg import spsolve

    def second(k: int) -> Any:
        return diags([1.0, -2.0, 1.0], [-1, 0, 1], shape=(k - 1, k - 1))

    h = 1.0 / m
    lap = (kron(second(n), identity(m - 1)) + kron(identity(n - 1), second(m))) / h**2
    torsion = 2 * h * h * float(spsolve(lap.tocsr(), np.full((n - 1) * (m - 1), -2.0)).sum())
    assert float(duct_conductance(1.0 / ratio, 1.0)) == pytest.approx(torsion / 4, rel=0.004)


def test_mean_chord_by_scanning() -> None:
    # a disc on fine lines: its chords added up one by one, and 2 A / B from its area and its shadow
    offsets = (np.arange(200_000) + 0.5) / 100_000 - 1
    chords = 2 * np.sqrt(1 - offsets**2)
    area, shadow = math.pi, 2 * 2.0  # the boundary passes the scan's normal twice
    assert chords.mean() == pytest.approx(2 * area / shadow, rel=1e-6)
    # lines of 3 of every 8 columns: the widths that maps give, and the runs along a row
    n, cell = 160, 1e-6
    solid = np.broadcast_to((np.arange(n) % 8 < 3).astype(float), (n, n))
    edges = np.abs(np.diff(solid, axis=1, append=solid[:, :1]))
    width, space = chord_widths(solid * cell * cell, edges * cell, np.zeros((n, n)), cell)
    runs = np.diff(np.flatnonzero(np.diff(solid[0], prepend=0.0)))
    # a window that holds no whole number of lines sees them to a few per cent
    assert np.nanmedian(width) == pytest.approx(runs[::2].mean() * cell, rel=0.05)
    assert np.nanmedian(space) == pytest.approx(runs[1::2].mean() * cell, rel=0.05)


def test_mean_squares_of_uneven_groups_by_matrices() -> None:
    lot = np.repeat([0, 1, 2], [7, 3, 5])
    wafer = np.array([0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 5, 5, 6])
    site = np.arange(lot.size)
    true = np.array([4.0, 2.5, 1.0])
    covariance = sum(v * (g[:, None] == g[None, :]) for v, g in zip(true, (lot, wafer, site), strict=True))
    # E of a quadratic form is the trace of its matrix times the covariance; unbiased means the truth comes back
    root = np.linalg.cholesky(covariance)
    basis = []
    for column in root.T:
        found = nested_variance({"lot": list(lot), "wafer": list(wafer)}, column)
        basis.append([c.variance for c in found.components])
    # y = root z with unit z: the estimate is quadratic in y, and its mean the sum of those of the columns
    assert np.sum(basis, axis=0) == pytest.approx(true, rel=1e-10)
