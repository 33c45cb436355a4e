"""Truth: Greenwood & Williamson 1966, Proc. R. Soc. A 295, 300; mpmath recomputes.

Read as quoted in Yastrebov's Greenwood-Tripp notes.

``mp_integral`` gives int_h^inf (s-h)^n phi(s) ds at 30 digits.
The exponential-tail forms are derived in docs/theory/derivations.md.
"""

import mpmath as mp
import numpy as np
import pytest

from planish.errors import DataError, ModelError
from planish.physics.surface import asperities as asp
from planish.physics.surface import summit_statistics as stat

H = (0.0, 0.5, 1.0, 2.0, 3.0)
SUMMITS = {"density": 2e8, "tip_radius": 50e-6, "modulus": 100e6 / 0.91}


def mp_integral(n: float, h: float) -> float:
    with mp.workdps(30):
        return float(mp.quad(lambda s: (s - h) ** n * mp.npdf(s), [h, h + 1, h + 4, h + 12]))


def test_table_of_a_gaussian_converges_at_second_order() -> None:
    errors = []
    for bins in (100, 200, 400):
        z = np.linspace(-6, 8, bins + 1)
        from scipy.special import ndtr

        p = np.diff(ndtr(z))
        got = asp.table_integral(1.5, np.array(H), z, p / p.sum())
        errors.append(np.max(np.abs(got / [mp_integral(1.5, h) for h in H] - 1)))
    assert errors[0] / errors[1] > 3.5
    assert errors[1] / errors[2] > 3.5


def test_binned_exponential_reaches_the_closed_form() -> None:
    z = np.linspace(0, 24 * 5e-6, 24001)  # 1e-3 of the tail a bin: error (bin/tail)^2/24 = 4e-8
    p = asp.fresh_heights(z, 0.0, 5e-6)
    loads = np.array([5e3, 20684.27, 4e4])
    d = asp.separation_under(loads, z, p, **SUMMITS)
    state = asp.contact(d, z, p, **SUMMITS)
    np.testing.assert_allclose(state.pressure, loads, rtol=1e-11)
    # int_0^inf t^n exp(-t) dt = Gamma(n+1): load 4/3 Gamma(5/2), area pi Gamma(2) per summit above the plane.
    real = SUMMITS["modulus"] * np.sqrt(5e-6 / 50e-6 / np.pi)
    area = loads / real
    np.testing.assert_allclose(state.area_fraction, area, rtol=1e-6)
    np.testing.assert_allclose(state.real_pressure, real, rtol=1e-6)
    np.testing.assert_allclose(state.decay_length, 5e-6, rtol=1e-6)
    np.testing.assert_allclose(state.count * 5e-6 * np.pi * 50e-6, state.area_fraction, rtol=1e-6)


def test_body_with_tail_against_quadrature() -> None:
    sd, tail = 6e-6, 5e-6
    z = np.array([-20e-6, -3e-6, 0.0, 4e-6, 20e-6, 60e-6, 400e-6])
    p = asp.fresh_heights(z, sd, tail)

    def beyond(t: float) -> float:
        with mp.workdps(25):
            u = t / sd
            f = lambda s: mp.npdf(s) * (mp.exp(-(u - s) * sd / tail) if s < u else 1)  # noqa: E731
            return float(mp.quad(f, [-12, u - 3, u, u + 3, max(u + 12, 12)] if u < 9 else [-12, -3, 0, 3, 9]))

    want = -np.diff([1.0, *[beyond(t) for t in z[1:-1]], 0.0])
    np.testing.assert_allclose(p, want, rtol=1e-9)


def test_stiffness_is_the_derivative_of_the_load() -> None:
    z = asp.height_grid(6e-6, 5e-6)
    p = asp.fresh_heights(z, 6e-6, 5e-6)
    d, e = np.array([-5e-6, 0.0, 22e-6, 41e-6]), 1e-10
    slope = (asp.contact(d - e, z, p, **SUMMITS).pressure - asp.contact(d + e, z, p, **SUMMITS).pressure) / (
        2 * e
    )
    np.testing.assert_allclose(asp.contact(d, z, p, **SUMMITS).stiffness, slope, rtol=1e-5)


def test_layer_is_tangent_and_area_grows_with_load() -> None:
    z = asp.height_grid(6e-6, 5e-6)
    p = asp.fresh_heights(z, 6e-6, 5e-6)
    load = np.array([1e4, 2e4, 4e4])
    d = asp.separation_under(load, z, p, **SUMMITS)
    at = asp.contact(d, z, p, **SUMMITS)
    near = asp.contact(d + 1e-8, z, p, **SUMMITS).pressure
    np.testing.assert_allclose(at.pressure * np.exp(-1e-8 / at.decay_length), near, rtol=1e-6)
    area = at.area_fraction
    assert np.all(np.diff(area) > 0)
    # proportional to the load within a few per cent: Greenwood and Williamson's main finding
    np.testing.assert_allclose(area / load / (area[0] / load[0]), 1.0, atol=0.05)


def test_any_distribution_bracketed_newton() -> None:
    rng = np.random.default_rng(3)
    z = np.sort(rng.uniform(-1e-5, 3e-5, 60))
    p = rng.uniform(0, 1, 59) ** 6
    p /= p.sum()
    load = np.geomspace(1.0, 3e6, 40)
    d = asp.separation_under(load, z, p, **SUMMITS)
    np.testing.assert_allclose(asp.contact(d, z, p, **SUMMITS).pressure, load, rtol=1e-10)
    assert np.all(np.diff(d) < 0)


def test_measured_heights() -> None:
    rng = np.random.default_rng(11)
    heights = rng.normal(0, 6e-6, 40000) + rng.exponential(5e-6, 40000)
    z, p = stat.height_table(heights)
    assert p.sum() == pytest.approx(1.0, abs=1e-12)
    grid = asp.height_grid(6e-6, 5e-6)
    real = [
        asp.contact(asp.separation_under(2e4, e, q, **SUMMITS), e, q, **SUMMITS).real_pressure
        for e, q in ((z, p), (grid, asp.fresh_heights(grid, 6e-6, 5e-6)))
    ]
    assert float(real[0]) == pytest.approx(float(real[1]), rel=0.1)


@pytest.mark.parametrize(
    "call",
    [
        lambda: asp.fresh_heights(np.linspace(0, 1, 9), -1e-6, 1e-6),
        lambda: asp.fresh_heights(np.linspace(0, 1, 9), 1e-6, 0.0),
        lambda: asp.height_grid(1e-6, float("nan")),
        lambda: asp.height_grid(1e-6, 1e-6, 2),
        lambda: asp.plane_modulus(0.0, 0.3),
        lambda: asp.plane_modulus(1e8, 0.7),
        lambda: asp.table_integral(1.0, 0.0, [0, 1, 2], [0.5, 0.4]),
        lambda: asp.table_integral(1.0, 0.0, [0, 2, 1], [0.5, 0.5]),
        lambda: asp.table_integral(1.0, 0.0, [0, 1, 2], [1.0]),
        lambda: asp.separation_under(0.0, [0, 1, 2], [0.5, 0.5], **SUMMITS),
        lambda: asp.contact(0.0, [0, 1], [1.0], density=0.0, tip_radius=1e-5, modulus=1e8),
    ],
)
def test_bad_values_are_refused(call) -> None:
    with pytest.raises(ModelError, match="must be"):
        call()


@pytest.mark.parametrize(
    "call",
    [
        lambda: stat.height_table([1e-6] * 5),
        lambda: stat.height_table(np.full(50, np.nan)),
        lambda: stat.height_table(np.zeros(50)),
    ],
)
def test_bad_measurements_are_refused(call) -> None:
    with pytest.raises(DataError):
        call()


def test_what_is_found_is_not_looked_for_again(monkeypatch):
    """Newton on ln p is nearly straight in d: pressures over five decades are found together, in a few turns."""
    turns = []
    loads = asp._loads
    monkeypatch.setattr(asp, "_loads", lambda *given: turns.append(1) or loads(*given))
    edges = asp.height_grid(6e-6, 5e-6)
    heights = asp.fresh_heights(edges, 6e-6, 5e-6)
    numbers = {"density": 2e8, "tip_radius": 30e-6, "modulus": 1.9e8, "flow_pressure": 60e6}
    pressure = np.geomspace(10.0, 1e6, 96)
    found = asp.separation_under(pressure, edges, heights, **numbers)
    assert len(turns) <= 10
    np.testing.assert_allclose(asp.contact(found, edges, heights, **numbers).pressure, pressure, rtol=1e-12)
