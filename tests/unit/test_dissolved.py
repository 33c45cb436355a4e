"""Oxidiser and inhibitor from the setup to the rate: nothing moves until a content differs from its reference."""

from __future__ import annotations

import pytest

from planish.errors import SetupError
from planish.predict.die.conditions import local_conditions
from planish.predict.wafer.polish import polish
from planish.setup.check import check
from planish.setup.load import loads
from planish.setup.models import Setup
from planish.setup.new import new_setup

TWO_STEP = {
    "removal.copper": {
        "law": "two-step",
        "coefficients": {"a": 5e3, "e_a": "40 kJ/mol", "k_m": 6e-7, "friction": 0.5, "molar_volume": 7.1e-6},
        "reference": {"pad": "hard-microporous"},
    }
}


@pytest.fixture(scope="module")
def copper() -> Setup:
    base = loads(new_setup("rotary")).with_part("slurry", "copper-bulk")
    return base.replace({"wafer.film": [{"material": "copper", "thickness": "3 um"}]})


def rate(setup: Setup) -> float:
    wafer = polish(setup)
    return wafer.mean(wafer.steps[1].rate)


def test_contents_of_a_part_are_those_its_rates_were_measured_with(copper: Setup) -> None:
    slurry, law = copper.rig.slurry, copper.rig.removal["copper"]
    assert slurry.oxidiser_fraction > 0
    assert slurry.inhibitor_fraction > 0
    assert law.reference.oxidiser_fraction == slurry.oxidiser_fraction
    assert law.reference.inhibitor_fraction == slurry.inhibitor_fraction
    more = copper.replace({"slurry.inhibitor_fraction": "0.4 %"}).rig
    assert more.removal["copper"].reference.inhibitor_fraction == slurry.inhibitor_fraction


def test_inhibitor_slows_and_oxidiser_speeds_the_chemical_share(copper: Setup) -> None:
    usual = rate(copper)
    assert rate(copper.replace({"slurry.inhibitor_fraction": "0.4 %"})) < 0.99 * usual
    assert rate(copper.replace({"slurry.oxidiser_fraction": "6 %"})) > 1.01 * usual
    # However much of it: what grains and summits take off is left.
    none = rate(copper.replace({"slurry.inhibitor_fraction": "60 %", "slurry.inhibitor_half": "1e-6"}))
    law = copper.rig.removal["copper"].coefficients
    bare = {"removal.copper": {"law": "offset", "coefficients": {"k_p": f"{law['k_p']} 1/Pa", "b": 0, "c": "0 nm/min"},
                               "spread": 0.0, "reference": {"pad": "hard-microporous"}}}  # fmt: skip
    assert none == pytest.approx(rate(copper.replace(bare)), rel=1e-3)


def test_two_step_metal_answers_by_its_share_of_the_chemical_step(copper: Setup) -> None:
    """d ln rate/d ln content of a step in series is rate/chemical step: between nothing and all of it."""
    both = copper.replace({**TWO_STEP, "slurry.inhibitor_fraction": "0.3 %"})
    told = both.replace({"removal.copper.reference.inhibitor_fraction": "0.1 %"})
    factor = (0.0024 + 0.001) / (0.0024 + 0.003)
    assert factor < rate(told) / rate(both) < 1.0


def test_a_metal_that_is_inhibited_does_not_slow_its_barrier_on_the_die(copper: Setup) -> None:
    rates = []
    for setup in (copper, copper.replace({"slurry.inhibitor_fraction": "1 %"})):
        rig = setup.rig
        main = rig.steps[1].name
        met = local_conditions(rig, polish(setup), "centre", 0.0, ("copper", "tantalum"))
        while_main = [step for step in met.steps if step.name == main]
        whole = sum(step.duration for step in while_main)
        rates.append(
            {
                name: sum(step.rates[name] * step.duration for step in while_main) / whole
                for name in ("copper", "tantalum")
            }
        )
    assert rates[1]["copper"] < 0.97 * rates[0]["copper"]
    # It goes a little faster: slower copper spends less of the slurry.
    assert 1.0 < rates[1]["tantalum"] / rates[0]["tantalum"] < 1.03


def test_what_has_no_effect_is_told(copper: Setup) -> None:
    moved = copper.replace({"slurry.inhibitor_fraction": "0.4 %"})
    (note,) = (note for note in moved.notes if "slurry.inhibitor_fraction" in note)
    assert "does not change the rate of tantalum, oxide" in note
    oxide = loads(new_setup("rotary")).replace({"slurry.oxidiser_fraction": "2 %"})
    (note,) = (note for note in oxide.notes if "oxidiser" in note)
    assert "changes no rate" in note
    assert not [note for note in copper.notes if "fraction" in note]
    own = oxide.replace({**TWO_STEP, "removal.copper.reference.oxidiser_fraction": "1 %"})
    assert (
        "slurry.oxidiser_half not given: used 1.8 % (fits published copper rates, experiment inhibitor)"
        in own.notes
    )


def test_an_oxidiser_over_a_reference_without_one_is_refused(copper: Setup) -> None:
    with pytest.raises(
        SetupError, match=r"reference\.oxidiser_fraction = 0.0: must be above 0 where slurry.oxidiser"
    ):
        copper.replace({"removal.copper.reference.oxidiser_fraction": 0})
    found = check(copper.replace({"slurry.inhibitor_fraction": "5 %"}))
    assert any(one.level == "unlikely" and one.place == "slurry.inhibitor_fraction" for one in found)


def test_how_a_metal_answers_to_local_pressure_hangs_on_its_chemical_share(copper: Setup) -> None:
    """On the die: without chemistry the offset law is in proportion to pressure, with it low areas go on."""
    from planish.physics.pattern.area_kernels import _response

    left = []
    for inhibitor in ("0.1 %", "1 %", "60 %"):
        setup = copper.replace({"slurry.inhibitor_fraction": inhibitor, "slurry.inhibitor_half": "0.1 %"})
        (step, *_) = local_conditions(setup.rig, polish(setup), "centre", 0.0, ("copper",)).steps
        table = step.responses["copper"]
        assert table is not None
        value, power = _response(0.1, table)
        assert 0 < power <= 1 + 1e-9
        left.append(float(value))
    assert left[0] > left[1] > left[2] > 0.1
    assert left[2] == pytest.approx(0.1, rel=0.01)
