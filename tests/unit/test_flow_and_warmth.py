"""Summits that flow and pads that soften, through the setup, one wafer, a lot and a die: the same physics by each door."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from planish import units
from planish.errors import PlanishError
from planish.physics.surface import asperities, summit_flow
from planish.physics.surface.hardness import ploughing_hardness
from planish.predict.die.conditions import pad_state
from planish.predict.lot.run import polish_lot
from planish.predict.lot.variation import Variation
from planish.predict.wafer.bands import polish_band
from planish.predict.wafer.polish import polish
from planish.setup.load import loads
from planish.setup.new import new_setup

CELLS = 40
LOW = {"pad.surface.flow_pressure": "18 MPa"}


@pytest.fixture(scope="module")
def setup():
    return loads(new_setup("rotary"))


@pytest.mark.parametrize("shore", [30, 55, 80])
@pytest.mark.parametrize("tail", ["5 um", "25 um"])
def test_real_pressure_stays_below_the_flow_pressure_at_any_hardness(setup, shore, tail):
    made = setup.replace({"pad.top.shore_d": shore, "pad.surface.tail_length": tail})
    found = polish(made, cells=CELLS)
    assert found.summary()["real_pressure_MPa"] * 1e6 < made.rig.pad.surface.flow_pressure
    assert made.rig.pad.surface.flow_pressure == ploughing_hardness(made.rig.pad.surface.modulus)


def test_the_flow_pressure_is_the_pads_hardness_where_that_is_given(setup):
    assert setup.replace({"pad.hardness": "45 MPa"}).rig.pad.surface.flow_pressure == pytest.approx(45e6)
    both = setup.replace({"pad.hardness": "45 MPa", **LOW})
    assert both.rig.pad.surface.flow_pressure == pytest.approx(18e6)
    assert both.rig.pad.hardness == pytest.approx(45e6)


def test_a_lot_of_summits_that_flow_begins_as_the_wafer_and_keeps_to_the_limit(setup):
    rig = setup.replace(LOW).rig
    still = replace(rig, pad=replace(rig.pad, polish_wear_coefficient=0.0))
    lot, one = polish_lot(still, 1, variation=Variation.none(), cells=CELLS), polish(still, cells=CELLS)
    summary = lot.summary()
    assert lot.records.rate[0] == pytest.approx(one.mean(one.removed) / one.time, rel=3e-4)
    for key in ("plasticity_index", "flowing_percent", "modulus_left_percent", "real_pressure_MPa"):
        assert summary[f"last_{key}"] == pytest.approx(one.summary()[key], rel=1e-3), key
    aged = polish_lot(rig, 30, variation=Variation.none(), cells=CELLS, conditioning=False)
    assert np.all(aged.records.real_pressure <= 18e6)
    assert np.all(np.diff(aged.records.real_pressure) < 1e3)  # flat at the limit, then falling with wear
    assert aged.records.step_flowing[0].max() > 0.9
    assert aged.records.step_flowing[-1].max() < aged.records.step_flowing[0].max()


def test_the_die_reaches_less_far_where_summits_flow(setup):
    """The reach over wide places is as the real pressure: H/E* at most."""
    elastic, flowing = (
        pad_state(setup.replace({"pad.surface.flow_pressure": at}).rig, 2e4, sliding_share=0.01)
        for at in ("2000 MPa", "18 MPa")
    )
    assert flowing.selectivity_length < 0.5 * elastic.selectivity_length
    assert flowing.spot_radius == pytest.approx(elastic.spot_radius, rel=0.02)


def test_the_spread_of_the_flow_pressure_is_in_the_band(setup):
    rate = polish_band(setup)["mean_removal_rate_nm_per_min"]
    assert 0 < rate.shares["flow pressure of the summits"] < abs(rate.shares["modulus of the top pad"])
    assert (
        "flow pressure of the summits"
        not in polish_band(setup.replace({"pad.surface.flow_spread": 0}))["time_s"].shares
    )


def test_the_reference_of_a_law_is_as_warm_as_the_pad_was(setup):
    surface, law = setup.rig.pad.surface, setup.rig.removal["oxide"].reference
    left = np.exp(-0.015 * (law.temperature - 296.15))
    cold = summit_flow.tail_pressure(
        5e-6,
        tip_radius=30e-6,
        modulus=asperities.plane_modulus(surface.modulus, surface.poisson),
        flow_pressure=surface.flow_pressure,
    )
    assert law.real_pressure == pytest.approx(left * cold, rel=1e-12)


def test_warmth_slows_a_lot_as_it_slows_a_wafer(setup):
    hot = setup.replace({"ambient.platen_temperature": "45 degC"})
    lot, one = polish_lot(hot, 1, variation=Variation.none(), cells=CELLS), polish(hot, cells=CELLS)
    assert lot.records.modulus_left[0] == pytest.approx(one.summary()["modulus_left_percent"] / 100, rel=2e-3)
    assert lot.records.modulus_left[0] < 0.75


@pytest.mark.parametrize("text, value", [("1.5 %/K", 0.015), ("0.02 1/K", 0.02), ("2 %/°C", 0.02)])
def test_shares_per_kelvin(text, value):
    assert units.to_si(text, "per_temperature") == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    "path, value",
    [
        ("pad.top.softening", "-1 %/K"),
        ("pad.top.softening", "1 %"),
        ("pad.sub.softening", 0.015),
        ("pad.modulus_temperature", "120 degC"),
        ("pad.surface.flow_pressure", "0 MPa"),
        ("pad.surface.flow_spread", 1.5),
    ],
)
def test_bad_values_are_refused_by_their_key(setup, path, value):
    with pytest.raises(PlanishError, match=path):
        setup.replace({path: value})
