"""Absurd setups: refused, or questioned by the check and in the notes of every result; what ships is neither."""

from __future__ import annotations

import io
import math
from contextlib import redirect_stdout
from pathlib import Path

import pytest

import planish
from planish.cli import describe
from planish.errors import PlanishError
from planish.physics.removal.laws import LAWS
from planish.setup.check import check
from planish.setup.fields import keys
from planish.setup.load import loads
from planish.setup.models import Setup
from planish.setup.motions.known import MOTIONS
from planish.setup.new import new_setup
from planish.setup.part import KINDS
from planish.setup.parts import catalogue
from planish.setup.removal import coefficients_of
from planish.setup.schema import json_schema

EXAMPLES = Path(__file__).parents[2] / "examples"
ROTARY = loads(new_setup("rotary"), "rotary")
MAIN = "recipe.step.main"

REFUSED = {
    "disk smaller than a grain": ({"conditioner.disk_diameter": "0.0001 mm"}, "from 5 mm to 500 mm"),
    "no diamond on the disk": ({"conditioner.grit_density": "4e-6 1/mm^2"}, "from 0.001 1/mm²"),
    "less than one diamond": (
        {"conditioner.grit_density": "0.001 1/mm^2", "conditioner.grit_share": 0.1},
        "three diamonds or more",
    ),
    "pressed with less than its own weight": ({f"{MAIN}.zone_pressures": "3e-6 psi"}, "at least 0.005 psi"),
    "negative by a hair": (
        {"removal.oxide.law": "power", "removal.oxide.coefficients": {"k": -1e-9}},
        "from 0",
    ),
}

UNLIKELY = {
    "fast carrier": (
        {f"{MAIN}.carrier_speed": "600 rpm"},
        f"{MAIN}.carrier_speed 600 rpm",
        "5 rpm to 200 rpm",
    ),
    "fast platen": ({f"{MAIN}.platen_speed": "-300 rpm"}, f"{MAIN}.platen_speed -300 rpm", "200 rpm"),
    "heavy": ({f"{MAIN}.zone_pressures": "40 psi"}, f"{MAIN}.zone_pressures 40 psi", "0.3 psi to 10 psi"),
    "one heavy zone": (
        {f"{MAIN}.zone_pressures": [*["3 psi"] * 4, "40 psi"]},
        f"{MAIN}.zone_pressures.edge 40 psi",
        "10 psi",
    ),
    "light": ({f"{MAIN}.zone_pressures": "0.01 psi"}, f"{MAIN}.zone_pressures 0.01 psi", "0.3 psi"),
    "mud": ({"slurry.abrasive_fraction": 0.5}, "slurry.abrasive_fraction 0.5", "30 %"),
    "syrup": ({"slurry.viscosity": "300 mPa*s"}, "slurry.viscosity 300 mPa·s", "10 mPa·s"),
    "coefficient": (
        {"removal.oxide.coefficients": {"k_p": "1e-10 1/Pa"}},
        "removal.oxide.coefficients.k_p 1e-10 1/Pa",
        "5e-12 1/Pa",
    ),
    "profile": (
        {"wafer.film.1.thickness": None, "wafer.film.1.profile": [["0 mm", "150 um"], ["150 mm", "150 um"]]},
        'wafer.film."field oxide".profile.1.2 150 µm',
        "20000 nm",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_impossible_values_are_refused(name: str) -> None:
    changes, words = REFUSED[name]
    with pytest.raises(PlanishError, match="must be") as caught:
        ROTARY.replace(changes)
    assert words in str(caught.value)


@pytest.mark.parametrize("name", UNLIKELY)
def test_unlikely_values_are_questioned_and_noted(name: str, tmp_path: Path) -> None:
    changes, shown, usual = UNLIKELY[name]
    setup = ROTARY.replace(changes)
    [said] = [f for f in setup.unlikely if f.message.startswith(shown)]
    assert usual in said.message
    assert said.message.endswith("(common practice, no source)")
    assert said.message in setup.warnings
    file = tmp_path / "odd.toml"
    file.write_text(setup.to_toml(), encoding="utf-8")
    printed = io.StringIO()
    with redirect_stdout(printed):
        describe.check(file, json_out=False)
    assert said.message.startswith(said.place)  # so the place is not printed before it once more
    assert f"unlikely: {said.message}\n" in printed.getvalue()
    assert "can be used, but look at 1 unlikely value above" in printed.getvalue()
    assert ": good" not in printed.getvalue()
    assert f"outside the usual range: {said.message}" in setup.rig.notes


def test_results_name_three_unlikely_values_and_count_the_rest() -> None:
    odd = ROTARY.replace(
        {
            "slurry.viscosity": "300 mPa*s",
            "slurry.abrasive_fraction": 0.5,
            f"{MAIN}.zone_pressures": "40 psi",
            f"{MAIN}.platen_speed": "300 rpm",
        }
    )
    assert len(odd.unlikely) == 4
    [told] = [note for note in odd.rig.notes if note.startswith("outside the usual range: ")]
    assert (
        "slurry.viscosity 300 mPa·s: above the usual 0.7 mPa·s to 10 mPa·s (common practice, no source)"
        in told
    )
    assert told.endswith("; and 1 more, which 'planish check' lists")


@pytest.mark.parametrize(("k", "odd"), [(3e-13, False), (3e-9, True), (3e-18, True)])
def test_coefficients_that_have_no_usual_range_are_judged_by_the_rate_they_give(k: float, odd: bool) -> None:
    law = {"law": "power", "coefficients": {"k": k, "alpha": 1.0, "beta": 1.0}}
    said = [f.message for f in ROTARY.replace({"removal.oxide": law}).unlikely]
    assert bool(said) is odd
    if odd:
        assert said[0].startswith("removal.oxide.coefficients give ")
        assert said[0].endswith("the usual 0.5 nm/min to 5000 nm/min (common practice, no source)")


def test_results_carry_the_note() -> None:
    odd = ROTARY.replace({f"{MAIN}.carrier_speed": "600 rpm"})
    for result in (planish.polish(odd), planish.polish_lot(odd, 2)):
        assert any("carrier_speed 600 rpm" in note for note in result.document()["notes"])


def test_a_die_carries_the_note() -> None:
    from planish.measure.layout.make import make_maps

    odd = ROTARY.replace({f"{MAIN}.zone_pressures": "25 psi"})
    notes = planish.polish_die(odd, make_maps("density-blocks", cell=200e-6)).document()["notes"]
    assert any("zone_pressures 25 psi" in note for note in notes)
    assert any("water would boil off" in note for note in notes)


def test_a_zero_that_says_none_is_not_questioned() -> None:
    setup = ROTARY.replace({"slurry.abrasive_fraction": 0.0, f"{MAIN}.ring_pressure": "0 psi"})
    assert setup.unlikely == ()


@pytest.mark.parametrize("file", sorted(EXAMPLES.glob("*.toml")), ids=lambda file: file.stem)
def test_examples_are_usual(file: Path) -> None:
    assert [f for f in check(file) if f.level in ("error", "unlikely")] == []


@pytest.mark.parametrize("motion", MOTIONS.names())
def test_new_setups_and_all_parts_are_usual(motion: str) -> None:
    setup = loads(new_setup(motion), motion)
    assert setup.warnings == ()
    taken = 0
    for section in KINDS:
        for part in catalogue(section):
            try:
                other = setup.with_part(section, part)
            except PlanishError:
                continue  # does not fit this machine, as other tests say
            taken += 1
            assert other.unlikely == (), part
    assert taken >= 10


@pytest.mark.parametrize("motion", MOTIONS.names())
def test_every_number_has_limits_a_usual_range_and_its_source(motion: str) -> None:
    numbers = [info for info in keys(motion) if info.dimension]
    assert len(numbers) > 100
    for info in numbers:
        assert math.isfinite(info.low), info.path
        assert math.isfinite(info.high), info.path
        assert info.typical is not None, info.path
        assert info.source, info.path
    text = str(json_schema())
    assert "typical 0.3 psi to 10 psi (common practice, no source)" in text


def test_coefficients_of_known_unit_have_usual_ranges() -> None:
    open_units = {"k", "b", "c1", "c2", "a", "k_m"}  # their unit depends on other coefficients
    for law in LAWS:
        for name, what in coefficients_of(law).items():
            assert (what.typical is None) == (name in open_units), (law.name, name)


def strange(setup: Setup) -> str:
    return " | ".join(planish.polish(setup).strange())


@pytest.mark.parametrize("name, goes", [("rotary", True), ("three-zone-copper", False)])
def test_a_film_that_goes_too_fast_is_told_by_wafer_and_lot_alike(name: str, goes: bool) -> None:
    setup = planish.load(EXAMPLES / f"{name}.toml").replace({"removal.oxide.rate": "2.5e5 nm/min"})
    for answer in (planish.polish(setup), planish.polish_lot(setup, 2)):
        assert any("takes film so fast" in line for line in answer.strange()) is goes


def test_outcomes_that_nothing_real_has_are_said() -> None:
    assert strange(ROTARY) == ""
    squeezed = strange(
        ROTARY.replace(
            {
                "pad.surface.tip_radius": "0.06 um",
                "pad.surface.tail_length": "400 um",
                "pad.surface.flow_pressure": "20000 MPa",  # summits that would flow never get there
            }
        )
    )
    assert "above the modulus of the summits" in squeezed
    assert "driven by pad.surface.tip_radius, pad.surface.tail_length" in squeezed
    hot = " | ".join(planish.polish(ROTARY.replace({f"{MAIN}.zone_pressures": "40 psi"})).doubts())
    assert f"water would boil off, which the model does not follow; driven by {MAIN}.zone_pressures" in hot
    dragged = strange(
        ROTARY.replace({f"{MAIN}.zone_pressures": "0.005 psi", "slurry.viscosity": "1000 mPa*s"})
    )
    assert "coefficient of friction" in dragged
    assert f"driven by {MAIN}.zone_pressures, slurry.viscosity" in dragged
    flying = strange(ROTARY.replace({"removal.oxide.rate": "1e6 nm/min"}))
    assert "no slurry takes film so fast; driven by removal.oxide.rate" in flying
