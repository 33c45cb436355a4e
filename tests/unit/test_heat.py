"""Friction heat: relaxation, energy, sinks, and a polisher of common size."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from planish.errors import ModelError
from planish.physics.motion.rotary import Rotary
from planish.physics.slurry import heat


def test_relaxation_is_the_exact_solution():
    T, q, h = np.array([300.0, 296.0, 320.0]), np.array([0.0, 3000.0, 500.0]), np.array([80.0, 200.0, 900.0])
    times = np.array([0.0, 0.3, 17.0, 900.0])
    found = heat.relaxation(T, q, h, np.full(3, 295.0), 2000.0)
    want = np.array(
        [
            solve_ivp(
                lambda t, now, i=i: (q[i] - h[i] * (now - 295.0)) / 2000.0, (0, 900.0), [T[i]],
                t_eval=times, rtol=1e-12, atol=1e-10,
            ).y[0]
            for i in range(3)
        ]
    ).T  # fmt: skip
    np.testing.assert_allclose(found.at(times[:, None]), want, rtol=1e-10)
    np.testing.assert_allclose(found.at(17.0), want[2], rtol=1e-10)


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


def test_refusals():
    with pytest.raises(ModelError):
        heat.platen_conductance([0.0], [0.2])
    with pytest.raises(ModelError):
        heat.slurry_conductance(1e-6, 1000.0, 4180.0, 0.0)


def test_platen_conductance_of_two_layers():
    # 1.3 mm and 1.0 mm in series.
    assert heat.platen_conductance([1.3e-3, 1e-3], [0.2, 0.1]) == pytest.approx(1 / (6.5e-3 + 1e-2))


def test_ring_power_adds_up_to_the_friction_power_of_the_wafer():
    machine, drive = Rotary(centre_offset=0.19, platen_radius=0.4), (9.4, 8.7)
    rings, edges = np.linspace(0, 0.15, 31), np.linspace(0.03, 0.35, 65)
    view = machine.pad_to_wafer_weights(rings, edges, *drive)
    pressure = 2e4 * (1 + 0.1 * np.linspace(0, 1, 30) ** 2)
    q = heat.friction_power_density(0.4, pressure, view.speed)
    on_pad = (heat.ring_power_density(view.duty, view.weights, q) * np.pi * np.diff(edges**2)).sum()
    mid = (rings[1:] + rings[:-1]) / 2
    on_wafer = (0.4 * pressure * machine.mean_speed(mid, *drive) * np.pi * np.diff(rings**2)).sum()
    assert on_pad == pytest.approx(on_wafer, rel=1e-3)


def test_a_polisher_of_common_size_warms_by_common_amounts():
    """60 rpm and 2 psi: 5-20 K above the slurry after a minute; common practice, no source."""
    machine, drive = Rotary(centre_offset=0.19, platen_radius=0.4), (6.3, 6.0)
    rings, edges = np.linspace(0, 0.15, 31), np.linspace(0.03, 0.36, 34)
    view = machine.pad_to_wafer_weights(rings, edges, *drive)
    q = heat.ring_power_density(view.duty, view.weights, heat.friction_power_density(0.4, 14e3, view.speed))
    area = np.pi * (edges[-1] ** 2 - edges[0] ** 2)
    by_slurry = heat.slurry_conductance(250e-6 / 60, 1050.0, 3900.0, area)
    to_platen = heat.platen_conductance([2e-3, 1.3e-3], [0.2, 0.1])
    h, sink = heat.combined_sink([to_platen, float(by_slurry), 40.0], [295.0, 295.0, 295.0])
    start, times = np.full(33, 295.0), np.linspace(0, 60, 13)[:, None]
    T = heat.relaxation(start, q, np.full(33, h), np.full(33, sink), 800.0 * 1500.0 * 1.5e-3).at(times)
    assert 5 < T[-1].max() - 295 < 20
    assert np.all(np.diff(T.max(axis=1)) > 0)
