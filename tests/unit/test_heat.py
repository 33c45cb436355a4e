"""Friction heat: exact steps, energy, steady state, shares, and a polisher of common size."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from planish.errors import ModelError
from planish.physics import heat, motion


def test_step_is_the_exact_solution():
    q, h, sink, C, dt = 3000.0, 200.0, 295.0, 2000.0, 17.0
    exact = solve_ivp(lambda t, T: (q - h * (T - sink)) / C, (0, dt), [300.0], rtol=1e-12, atol=1e-10).y[
        0, -1
    ]
    assert float(heat.pad_temperature_step(300.0, q, h, sink, C, dt)) == pytest.approx(exact, rel=1e-11)
    two = heat.pad_temperature_step(heat.pad_temperature_step(300.0, q, h, sink, C, 5.0), q, h, sink, C, 12.0)
    assert float(two) == pytest.approx(exact, rel=1e-11)


def test_relaxation_is_the_same_step_at_many_times():
    T, q, h = np.array([300.0, 296.0, 320.0]), np.array([0.0, 3000.0, 500.0]), np.array([80.0, 200.0, 900.0])
    times = np.array([0.0, 0.3, 17.0, 900.0])
    found = heat.relaxation(T, q, h, np.full(3, 295.0), 2000.0)
    want = heat.pad_temperature_step(T, q, h, 295.0, 2000.0, times[:, None])
    np.testing.assert_allclose(found.at(times[:, None]), want, rtol=1e-13)
    np.testing.assert_allclose(found.at(17.0), want[2], rtol=1e-13)


@given(
    q=st.floats(0, 1e4),
    h=st.one_of(st.just(0.0), st.floats(1e-9, 1e4)),
    dt=st.floats(0, 1e4),
    T=st.floats(280, 350),
)
def test_energy_is_conserved_at_any_step(q, h, dt, T):
    C, sink = 1800.0, 295.0
    after = float(heat.pad_temperature_step(T, q, h, sink, C, dt))
    mean = float(heat.pad_mean_temperature(T, q, h, sink, C, dt))
    stored, given_off, taken = C * (after - T), h * (mean - sink) * dt, q * dt
    assert stored + given_off == pytest.approx(taken, rel=1e-9, abs=1e-9 * (abs(stored) + abs(given_off) + 1))


@given(q=st.floats(0, 1e4), h=st.floats(1, 1e4), dt=st.floats(0, 1e5), T=st.floats(280, 350))
def test_step_never_passes_the_steady_temperature(q, h, dt, T):
    steady = float(heat.steady_temperature(q, h, 295.0))
    after = float(heat.pad_temperature_step(T, q, h, 295.0, 1800.0, dt))
    assert min(T, steady) - 1e-9 <= after <= max(T, steady) + 1e-9


def test_without_any_sink_the_rise_is_linear():
    assert float(heat.pad_temperature_step(300.0, 900.0, 0.0, 295.0, 1800.0, 10.0)) == pytest.approx(305.0)
    assert float(heat.pad_mean_temperature(300.0, 900.0, 0.0, 295.0, 1800.0, 10.0)) == pytest.approx(302.5)
    assert float(heat.steady_temperature(900.0, 0.0, 295.0)) == np.inf
    assert float(heat.steady_temperature(0.0, 0.0, 295.0)) == 295.0


def test_history_of_a_recipe():
    dt = np.array([10.0, 20.0, 5.0])
    power = np.array([[1000.0, 2000.0], [3000.0, 0.0], [0.0, 0.0]])
    T = heat.temperature_history(296.0, power, 150.0, 295.0, 1800.0, dt)
    assert T.shape == (4, 2)
    np.testing.assert_array_equal(T[0], 296.0)
    by_hand = T[0]
    for i in range(3):
        by_hand = heat.pad_temperature_step(by_hand, power[i], 150.0, 295.0, 1800.0, dt[i])
    np.testing.assert_allclose(T[-1], by_hand, rtol=1e-15)
    assert T[1, 1] > T[1, 0]
    assert T[2, 1] < T[1, 1]
    # Idle for long: back to the sink.
    cold = heat.temperature_history(T[-1], np.zeros((1, 2)), 150.0, 295.0, 1800.0, [1e4])
    np.testing.assert_allclose(cold[-1], 295.0, atol=1e-9)


def test_sinks_in_parallel():
    h, sink = heat.combined_sink([100.0, 300.0], [290.0, 300.0])
    assert float(h) == 400.0
    assert float(sink) == pytest.approx(297.5)
    T = 310.0
    assert float(h * (T - sink)) == pytest.approx(100 * 20 + 300 * 10)
    none, mean = heat.combined_sink([0.0, 0.0], [290.0, 300.0])
    assert float(none) == 0.0
    assert float(mean) == 295.0
    with pytest.raises(ModelError):
        heat.combined_sink([-1.0], [290.0])


def test_shares_sum_to_one():
    shares = heat.heat_shares(100.0, 80.0, 20.0)
    assert sum(float(s) for s in shares) == pytest.approx(1.0, rel=1e-15)
    assert float(shares[0]) == pytest.approx(0.5)
    with pytest.raises(ModelError):
        heat.heat_shares(0.0, 0.0)


def test_refusals():
    with pytest.raises(ModelError):
        heat.pad_temperature_step(300.0, 1.0, -1.0, 295.0, 1800.0, 1.0)
    with pytest.raises(ModelError):
        heat.platen_conductance([0.0], [0.2])
    with pytest.raises(ModelError):
        heat.slurry_conductance(1e-6, 1000.0, 4180.0, 0.0)


def test_platen_conductance_of_two_layers():
    # 1.3 mm and 1.0 mm in series.
    assert heat.platen_conductance([1.3e-3, 1e-3], [0.2, 0.1]) == pytest.approx(1 / (6.5e-3 + 1e-2))


def test_pass_rise_and_thermal_depth_say_the_same():
    # Flux q for t stores q t = rho c x depth x surface rise.
    k, rho, c, t, q = 0.2, 800.0, 1500.0, 0.25, 3000.0
    rise = float(heat.pass_temperature_rise(q, heat.effusivity(k, rho, c), t))
    assert rho * c * float(heat.thermal_depth(k, rho, c, t)) * rise == pytest.approx(q * t, rel=1e-13)


def test_pass_rise_against_a_finite_difference_half_space():
    k, rho, c, t_end, q = 0.2, 800.0, 1500.0, 0.3, 4000.0
    n, dx = 160, 8e-6
    a = k / (rho * c) / dx**2

    def flow(t, T):
        d = np.empty_like(T)
        d[1:-1] = a * (T[2:] - 2 * T[1:-1] + T[:-2])
        d[0] = 2 * a * (T[1] - T[0]) + 2 * q / (rho * c * dx)
        d[-1] = 0.0
        return d

    found = solve_ivp(flow, (0, t_end), np.zeros(n), method="BDF", rtol=1e-7, atol=1e-7).y[0, -1]
    assert found == pytest.approx(
        float(heat.pass_temperature_rise(q, heat.effusivity(k, rho, c), t_end)), rel=2e-3
    )


def test_ring_power_adds_up_to_the_friction_power_of_the_wafer():
    drive = {"offset": 0.19, "platen_speed": 9.4, "carrier_speed": 8.7}
    rings, edges = np.linspace(0, 0.15, 31), np.linspace(0.03, 0.35, 65)
    view = motion.pad_to_wafer_weights("rotary", rings, edges, **drive)
    pressure = 2e4 * (1 + 0.1 * np.linspace(0, 1, 30) ** 2)
    q = heat.friction_power_density(0.4, pressure, view.speed)
    on_pad = (heat.ring_power_density(view.duty, view.weights, q) * np.pi * np.diff(edges**2)).sum()
    mid = (rings[1:] + rings[:-1]) / 2
    on_wafer = (
        0.4 * pressure * motion.mean_speed_at("rotary", mid, **drive) * np.pi * np.diff(rings**2)
    ).sum()
    assert on_pad == pytest.approx(on_wafer, rel=1e-3)


def test_a_polisher_of_common_size_warms_by_common_amounts():
    """60 rpm and 2 psi: 5-20 K above the slurry after a minute; common practice, no source."""
    drive = {"offset": 0.19, "platen_speed": 6.3, "carrier_speed": 6.0}
    rings, edges = np.linspace(0, 0.15, 31), np.linspace(0.03, 0.36, 34)
    view = motion.pad_to_wafer_weights("rotary", rings, edges, **drive)
    q = heat.ring_power_density(view.duty, view.weights, heat.friction_power_density(0.4, 14e3, view.speed))
    area = np.pi * (edges[-1] ** 2 - edges[0] ** 2)
    by_slurry = heat.slurry_conductance(250e-6 / 60, 1050.0, 3900.0, area)
    to_platen = heat.platen_conductance([2e-3, 1.3e-3], [0.2, 0.1])
    h, sink = heat.combined_sink([to_platen, float(by_slurry), 40.0], [295.0, 295.0, 295.0])
    T = heat.temperature_history(
        295.0, np.broadcast_to(q, (12, 33)), h, sink, 800.0 * 1500.0 * 1.5e-3, np.full(12, 5.0)
    )
    assert 5 < T[-1].max() - 295 < 20
    assert np.all(np.diff(T.max(axis=1)) > 0)
