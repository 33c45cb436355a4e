"""Friction heat: relaxation, energy, sinks, and a polisher of common size."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from planish.errors import ModelError
from planish.physics.motion.rotary import Rotary
from planish.physics.slurry import heat
from planish.predict.lot.pad_rings import pad_rings
from planish.predict.lot.plan import plan_lot
from planish.predict.lot.run import polish_lot
from planish.predict.lot.state import first_state
from planish.predict.lot.variation import Variation
from planish.predict.wafer.conditions import pad_heat, step_conditions
from planish.predict.wafer.contact_model import prepare
from planish.predict.wafer.pad_surface import fresh_state
from planish.predict.wafer.polish import polish
from planish.setup.load import loads
from planish.setup.new import new_setup


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


def _slab(duty: float, turns: int, steps: int, q: float, turn: float) -> tuple[float, float]:
    """Surface of a deep slab heated for a share of each turn, by finite differences: at the end of a pass, and its mean."""
    conductivity, capacity = 0.2, 800.0 * 1500.0
    dt = turn / steps
    dx = np.sqrt(4 * conductivity / capacity * dt)  # a quarter of the time step that explicit steps bear
    depth = int(5 * np.sqrt(conductivity / capacity * turn * turns) / dx)
    T, share, last = np.zeros(depth), conductivity * dt / (capacity * dx**2), []
    for step in range(turns * steps):
        heated = q if step % steps >= (1 - duty) * steps else 0.0  # the pass ends the turn
        flow = share * np.diff(T)
        T[:-1] += flow
        T[1:] -= flow
        T[0] += dt * heated / (capacity * dx) - dt * duty * q / (capacity * dx)  # the mean is taken out again
        last.append(T[0])
    end = T[0] + q * (1 - duty) * dx / (2 * conductivity)  # from the first cell's middle to its face
    return end, float(np.mean(last[-steps:]))


@pytest.mark.parametrize("duty", [0.1, 0.3, 0.6])
def test_a_pass_ends_above_the_mean_of_its_ring_as_a_slab_does(duty):
    """Against a slab in finite differences over forty turns, whose mean flux is taken out at the surface."""
    q, turn = 8000.0, 0.7
    end, mean = _slab(duty, 40, 400, q, turn)
    rise = heat.pass_rise(duty * q, heat.pass_swing(duty), turn, heat.effusivity(0.2, 800.0, 1500.0))
    assert float(rise) == pytest.approx(end - mean, rel=0.03)


def test_the_rise_of_a_short_pass_is_that_of_a_single_one():
    e = heat.effusivity(0.2, 800.0, 1500.0)
    duty, turn, q = 1e-4, 2.0, 5000.0
    single = 2 * q * np.sqrt(duty * turn / np.pi) / e
    assert float(heat.pass_rise(duty * q, heat.pass_swing(duty), turn, e)) == pytest.approx(single, rel=0.02)
    assert heat.pass_rise([0.0, q], heat.pass_swing([0.0, 1.0]), turn, e).tolist() == [
        0.0,
        0.0,
    ]  # never, always under the wafer
    assert heat.pass_rise([q], heat.pass_swing([0.3]), np.inf, e).tolist() == [0.0]


def test_the_rise_is_the_difference_of_two_zeta_functions():
    import mpmath

    e, duty = heat.effusivity(0.2, 800.0, 1500.0), np.array([0.01, 0.3, 0.9])
    want = [float(mpmath.zeta(-0.5, d) - mpmath.zeta(-0.5)) for d in duty]
    np.testing.assert_allclose(heat.pass_rise(duty, heat.pass_swing(duty), np.pi, e) * e / 2, want, rtol=1e-8)


def test_the_highest_temperature_is_a_ring_s_mean_and_the_rise_of_its_pass():
    """Wafer and lot; before, the highest was a mean over the wafer's path, with no pass in it."""
    rig = loads(new_setup("rotary")).rig
    wafer, lot = polish(rig), polish_lot(rig, 1, variation=Variation.none())
    model = prepare(rig)
    rings = pad_rings(rig, model.grid)
    state = fresh_state(rig, model.summits, rings.middles.size)
    machine, grid = rig.polisher, model.grid
    bins = np.linspace(0.0, rings.edges[-1], rings.pass_duty.size + 1)
    edges = np.append(grid.wafer_edges, grid.ring_edges)
    view = machine.pad_to_wafer_weights(edges, bins)
    pad, seen = (
        rig.pad,
        np.delete(view.weights, grid.r.size, axis=1),
    )  # nothing presses between wafer and ring
    e = heat.effusivity(pad.conductivity, pad.density, pad.heat_capacity)
    for index, (step, record) in enumerate(zip(rig.steps, wafer.steps, strict=True)):
        found = step_conditions(rig, step, model, rings, state, top=rig.wafer.films[0].material)
        heating = pad_heat(found, state.temperatures)
        end = heating.at(record.duration)
        rubbed = np.append(found.solid, found.ring_pressure)
        drag = rig.slurry.viscosity * found.lubrication.shear
        power = heat.friction_power_density(rig.slurry.friction_boundary, rubbed, found.plan.all_speed, drag)
        q = heat.ring_power_density(view.duty, seen, power)
        rise = heat.pass_rise(q, heat.pass_swing(view.duty), 2 * np.pi / step.platen_speed, e)
        middles = 0.5 * (bins[1:] + bins[:-1])
        mean = np.interp(middles, rings.middles, np.maximum(state.temperatures, end))
        track = view.duty > 0.1  # where rings of 9 mm tell the mean well enough
        assert record.peak_temperature > (mean + rise)[track].max() - 0.5
        assert record.peak_temperature < (mean + rise)[track].max() + 3.0
        assert record.peak_temperature > end.max() + 1.0
        assert lot.records.step_peak[0, index] == pytest.approx(record.peak_temperature, abs=0.5)
        state.temperatures = end


def test_a_belt_begins_at_the_room_s_temperature():
    """It lies on no platen; before, it began at a platen's temperature that its machine does not have."""
    asked = {"ambient.temperature": "18 degC", "ambient.platen_temperature": "40 degC"}
    for motion, start in (("linear", 18.0), ("rotary", 40.0)):
        rig = loads(new_setup(motion)).replace(asked).rig
        state = fresh_state(rig, prepare(rig).summits, 3)
        np.testing.assert_allclose(state.temperatures, start + 273.15)
        assert float(polish(rig).steps[0].temperatures[0]) == pytest.approx(start + 273.15)
        first = first_state(plan_lot(rig, 2))
        np.testing.assert_allclose(first.temperatures, start + 273.15)
