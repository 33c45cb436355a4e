"""Truth: summits that flow. Limits, and quadrature of the law of a single summit over its heights by mpmath.

One summit: Hertz's load and area while its mean pressure is below H, then H on an area that keeps the volume
(Chang, Etsion & Bogy 1987, from memory). What the table makes of it is held against that law, integrated.
"""

from itertools import pairwise

import mpmath as mp
import numpy as np
import pytest

from planish.errors import ModelError
from planish.physics.surface import asperities as asp
from planish.physics.surface import summit_flow

R, E, N, TAIL = 30e-6, 170e6, 2e8, 5e-6
SUMMITS = {"density": N, "tip_radius": R, "modulus": E}
Z = asp.height_grid(6e-6, TAIL)
P = asp.fresh_heights(Z, 6e-6, TAIL)
LOADS = np.geomspace(1e3, 2e5, 9)


def one_summit(delta: float, flow: float) -> tuple[float, float]:
    """Load [N] and area [m^2] of one summit."""
    limit = summit_flow.elastic_depth(R, E, flow)
    if delta <= limit:
        return 4.0 / 3.0 * E * np.sqrt(R) * delta**1.5, np.pi * R * delta
    area = np.pi * R * (2.0 * delta - limit)
    return flow * area, area


def under(load, flow, z=Z, p=P):
    d = asp.separation_under(load, z, p, **SUMMITS, flow_pressure=flow)
    return asp.contact(d, z, p, **SUMMITS, flow_pressure=flow)


def test_a_summit_flows_where_its_mean_pressure_reaches_the_limit():
    limit = summit_flow.elastic_depth(R, E, 60e6)
    load, area = one_summit(limit, 60e6)
    assert load / area == pytest.approx(60e6, rel=1e-12)
    beyond = one_summit(limit * (1 + 1e-9), 60e6)
    assert beyond == pytest.approx((load, area), rel=1e-8)  # neither load nor area jumps


@pytest.mark.parametrize("flow", [20e6, 60e6, 200e6])
def test_the_table_is_the_integral_of_single_summits(flow):
    z = np.array([0.0, 2e-6, 5e-6, 9e-6, 20e-6, 40e-6])
    p = np.array([0.4, 0.3, 0.2, 0.07, 0.03])
    limit = summit_flow.elastic_depth(R, E, flow)
    for d in (-1e-6, 3e-6, 12e-6):
        wanted = []
        for part in (0, 1):
            total = mp.mpf(0)
            for low, high, share in zip(z[:-1], z[1:], p, strict=True):
                low_, high_ = max(low, d), max(high, d)
                if high_ <= low_:
                    continue
                knots = sorted({low_, high_, min(max(d + limit, low_), high_)})
                law = lambda h, part=part, d=d: one_summit(float(h) - d, flow)[part]  # noqa: E731
                pieces = [mp.quad(law, list(ends)) for ends in pairwise(knots)]
                total += share / (high - low) * sum(pieces, mp.mpf(0))
            wanted.append(float(total) * N)
        found = asp.contact(d, z, p, **SUMMITS, flow_pressure=flow)
        assert (float(found.pressure), float(found.area_fraction)) == pytest.approx(wanted, rel=1e-9)


def test_no_limit_gives_the_elastic_law():
    elastic, far = under(LOADS, np.inf), under(LOADS, 1e12)
    for name in ("pressure", "area_fraction", "count", "real_pressure", "stiffness", "decay_length"):
        np.testing.assert_allclose(getattr(far, name), getattr(elastic, name), rtol=1e-12)
    assert np.all(far.flowing == 0.0)
    assert np.all(elastic.flowing == 0.0)


@pytest.mark.parametrize("flow", [1e2, 1e4])
def test_a_soft_limit_gives_load_over_hardness(flow):
    # both are millionths of E*: all but the last of the summits flow
    found = under(LOADS[:1] * flow / 1e7, flow)
    np.testing.assert_allclose(found.real_pressure, flow, rtol=1e-6)
    np.testing.assert_allclose(found.area_fraction, found.pressure / flow, rtol=1e-6)
    np.testing.assert_allclose(found.flowing, 1.0, rtol=1e-6)


def test_real_pressure_never_exceeds_the_limit_and_grows_with_it():
    limits = np.geomspace(1e6, 1e9, 61)
    real = np.array([under(LOADS, each).real_pressure for each in limits])
    assert np.all(real <= limits[:, None] * (1 + 1e-12))
    assert np.all(np.diff(np.log(real), axis=0) >= -5e-6)  # flat at its end, to the last digits but a few
    assert np.max(np.abs(np.diff(np.log(real), axis=0))) < 1.01 * np.log(limits[1] / limits[0])  # no jump


def test_force_balance_is_kept():
    for flow in (5e6, 40e6, 400e6):
        np.testing.assert_allclose(under(LOADS, flow).pressure, LOADS, rtol=1e-11)


def test_load_is_continuous_and_its_slope_is_the_stiffness():
    d, e = np.linspace(-5e-6, 60e-6, 400), 1e-10
    law = {**SUMMITS, "flow_pressure": 40e6}
    at = asp.contact(d, Z, P, **law)
    slope = (asp.contact(d - e, Z, P, **law).pressure - asp.contact(d + e, Z, P, **law).pressure) / (2 * e)
    np.testing.assert_allclose(at.stiffness, slope, rtol=1e-4)
    assert np.all(np.diff(at.pressure) < 0)


@pytest.mark.parametrize("flow", [15e6, 40e6, 60e6, 300e6, np.inf])
def test_tail_pressure_is_that_of_the_binned_exponential(flow):
    z = np.linspace(0, 30 * TAIL, 30001)
    p = asp.fresh_heights(z, 0.0, TAIL)
    found = under(np.array([5e3, 2e4, 8e4]), flow, z, p)
    wanted = summit_flow.tail_pressure(TAIL, tip_radius=R, modulus=E, flow_pressure=flow)
    np.testing.assert_allclose(found.real_pressure, wanted, rtol=2e-6)


@pytest.mark.parametrize("flow", [15e6, 60e6])
def test_tail_pressure_against_quadrature(flow):
    ends = [0, summit_flow.elastic_depth(R, E, flow) / TAIL, 10, 40]
    load, area = (
        float(mp.quad(lambda t, part=part: mp.exp(-t) * one_summit(float(t) * TAIL, flow)[part], ends))
        for part in (0, 1)
    )
    wanted = summit_flow.tail_pressure(TAIL, tip_radius=R, modulus=E, flow_pressure=flow)
    assert load / area == pytest.approx(wanted, rel=1e-9)


def test_many_summits_on_a_half_space_flow_as_much():
    """A boundary-element run of our own, many summits that feel one another: real pressure over E* sqrt(s/R)."""
    unit = E * np.sqrt(TAIL / R)
    for over, wanted in ((np.inf, 0.564), (0.8, 0.53), (0.4, 0.37), (0.2, 0.20)):
        found = summit_flow.tail_pressure(TAIL, tip_radius=R, modulus=E, flow_pressure=over * unit) / unit
        assert found == pytest.approx(wanted, rel=0.06)


def test_plasticity_index():
    numbers = {"tip_radius": R, "modulus": E, "flow_pressure": 60e6}
    assert summit_flow.plasticity_index(TAIL, **numbers) == pytest.approx(
        E / 60e6 * np.sqrt(TAIL / R), rel=1e-12
    )
    assert summit_flow.plasticity_index(TAIL, **{**numbers, "flow_pressure": np.inf}) == 0.0


@pytest.mark.parametrize("flow", [0.0, -1.0, float("nan")])
def test_a_limit_that_is_none_is_refused(flow):
    with pytest.raises(ModelError, match="flow pressure of the summits"):
        asp.contact(0.0, Z, P, **SUMMITS, flow_pressure=flow)
