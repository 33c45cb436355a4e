"""Truth: a pad that softens as it warms. Closed forms, and the cold pad under another load (derivations of our own)."""

from dataclasses import replace

import numpy as np
import pytest

from planish.errors import ModelError
from planish.physics.pressure.layers import Base, ElasticLayer, surface_compliance
from planish.physics.pressure.plate import plate_operator
from planish.physics.pressure.radial_grid import pressure_grid
from planish.physics.pressure.ring_influence import build_pad_operator
from planish.physics.pressure.solve import solve_pressure
from planish.physics.surface import asperities as asp
from planish.physics.surface import softening as soft
from planish.predict.die.conditions import pad_state, stack_compliance
from planish.predict.wafer.polish import polish
from planish.setup.load import loads
from planish.setup.new import new_setup

LAYERS = (ElasticLayer(67e6, 0.3, 2e-3), ElasticLayer(4.5e6, 0.2, 1.5e-3))
STATED = 296.15
COLD = {f"ambient.{name}": "23 degC" for name in ("temperature", "platen_temperature")}


def test_modulus_left():
    assert soft.modulus_left(0.02, STATED, STATED) == 1.0
    assert soft.modulus_left(0.0, 350.0, STATED) == 1.0
    assert soft.modulus_left(0.02, STATED + 60.0, STATED) == pytest.approx(1 / 3.32, rel=1e-3)
    assert soft.modulus_left(0.02, STATED - 10.0, STATED) == pytest.approx(np.exp(0.2), rel=1e-14)


def test_layers_are_as_warm_as_their_middle():
    assert soft.middle_temperatures(40.0, 20.0, [2.0, 2.0]) == pytest.approx([35.0, 25.0])
    assert soft.middle_temperatures(40.0, 20.0, [3.0]) == pytest.approx([30.0])


def test_a_stack_that_softens_alike_gives_way_by_as_much_more():
    assert soft.stack_give(LAYERS, [1.0, 1.0]) == 1.0
    assert soft.stack_give(LAYERS, [0.8, 0.8]) == pytest.approx(1.25, rel=1e-14)


def test_a_stack_gives_way_as_its_layers_do_under_a_wide_load():
    left = [0.7, 0.9]
    warm = tuple(
        replace(layer, modulus=layer.modulus * share) for layer, share in zip(LAYERS, left, strict=True)
    )
    wide = 1.0  # [1/m]: far wider than thick
    exact = float(surface_compliance(wide, warm, Base())) / float(surface_compliance(wide, LAYERS, Base()))
    assert soft.stack_give(LAYERS, left) == pytest.approx(exact, rel=1e-4)


def test_warm_summits_are_cold_ones_under_another_load():
    """Modulus and flow pressure times f: the same area as at p/f, and f times the pressure on it."""
    z = asp.height_grid(6e-6, 5e-6)
    p = asp.fresh_heights(z, 6e-6, 5e-6)
    left, load = 0.73, np.array([5e3, 2e4, 8e4])
    body = {"density": 2e8, "tip_radius": 30e-6}
    cold = {**body, "modulus": 170e6, "flow_pressure": 40e6}
    warm = {**body, "modulus": left * 170e6, "flow_pressure": left * 40e6}
    d = asp.separation_under(load, z, p, **warm)
    np.testing.assert_allclose(d, asp.separation_under(load / left, z, p, **cold), rtol=1e-9)
    found, known = asp.contact(d, z, p, **warm), asp.contact(d, z, p, **cold)
    np.testing.assert_allclose(found.area_fraction, known.area_fraction, rtol=1e-12)
    np.testing.assert_allclose(found.real_pressure, left * known.real_pressure, rtol=1e-12)
    np.testing.assert_allclose(found.flowing, known.flowing, rtol=1e-12)
    np.testing.assert_allclose(found.decay_length, known.decay_length, rtol=1e-12)


def test_the_contact_with_more_give_is_that_on_a_softer_stack():
    grid = pressure_grid(0.15, 0.1505, 0.1725, cells=40)
    plate = plate_operator(grid, 130e9, 0.28, 775e-6)
    load = np.full(grid.r.size, 2e4)
    softer = tuple(replace(layer, modulus=0.8 * layer.modulus) for layer in LAYERS)
    summits = {"asperity_length": 5e-6, "asperity_pressure": 2e4}
    wanted = solve_pressure(build_pad_operator(grid, softer, Base()), plate, load, 2e4, **summits)
    found = solve_pressure(build_pad_operator(grid, LAYERS, Base()), plate, load, 2e4, give=1.25, **summits)
    np.testing.assert_allclose(found.pressure, wanted.pressure, rtol=1e-7)
    stated = solve_pressure(build_pad_operator(grid, LAYERS, Base()), plate, load, 2e4, **summits)
    assert np.max(np.abs(stated.pressure / wanted.pressure - 1)) > 1e-4  # it does something


@pytest.fixture(scope="module")
def setup():
    return loads(new_setup("rotary"))


def softened(setup, share, **changes):
    keys = {f"pad.{layer}.softening": f"{share} %/K" for layer in ("top", "sub")}
    return setup.replace({**keys, **changes})


def never_warmer(rig):
    """A pad that all the heat of friction warms by less than a rounding error."""
    return replace(rig, pad=replace(rig.pad, heat_capacity=1e30))


def test_nothing_moves_at_the_temperature_the_modulus_is_stated_for(setup):
    still = {**COLD, "slurry.temperature": "23 degC", "pad.modulus_temperature": "23 degC"}
    one, other = (polish(never_warmer(softened(setup, share, **still).rig)).summary() for share in (0, 3))
    assert other["modulus_left_percent"] == pytest.approx(100.0, abs=1e-10)
    for key, value in one.items():
        if isinstance(value, float):
            assert other[key] == pytest.approx(value, rel=1e-12, abs=1e-12), key


@pytest.mark.parametrize("motion", ["rotary", "linear", "orbital"])
def test_the_temperature_foretold_is_the_one_that_comes(motion):
    made = loads(new_setup(motion)).replace({"pad.top.softening": "2 %/K"})
    for step in polish(made).steps:
        foretold = made.rig.pad.modulus_temperature - np.log(step.modulus_left) / 0.02
        assert foretold == pytest.approx(float(np.mean(step.temperatures)), abs=1.0), step.name


def test_a_warm_platen_softens_the_pad(setup):
    cool, warm = (
        polish(softened(setup, 1.5, **{"ambient.platen_temperature": f"{at} degC"})).summary()
        for at in (15, 35)
    )
    assert warm["modulus_left_percent"] < cool["modulus_left_percent"]
    assert warm["real_pressure_MPa"] < cool["real_pressure_MPa"]
    assert warm["real_contact_percent"] > cool["real_contact_percent"]
    assert warm["plasticity_index"] == pytest.approx(cool["plasticity_index"], rel=1e-3)


def test_a_die_meets_the_warm_stack_layer_by_layer(setup):
    rig = softened(setup, 1.5).rig
    wave = np.array([2 * np.pi / 1e-4, 2 * np.pi / 5e-3])
    cold, warm = (stack_compliance(rig, temperature=at)(wave) for at in (STATED, STATED + 20.0))
    np.testing.assert_allclose(
        cold, stack_compliance(rig)(wave), rtol=0.03
    )  # the platen is a degree or so colder
    assert np.all(warm > cold)
    # what summits reach is the same: modulus and real pressure fall alike
    one, other = (pad_state(rig, 2e4, sliding_share=0.01, temperature=at) for at in (STATED, STATED + 20.0))
    assert other.selectivity_length == pytest.approx(one.selectivity_length, rel=1e-2)


@pytest.mark.parametrize("values", [(-0.1, 300.0, 296.0), (float("nan"), 300.0, 296.0), (0.01, 0.0, 296.0)])
def test_bad_values_are_refused(values):
    with pytest.raises(ModelError, match="must be"):
        soft.modulus_left(*values)
