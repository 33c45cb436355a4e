"""A refusal or a note names the place that the user knows it by, and stands once."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import PlanishError
from planish.measure.layout.make import make_maps

EXAMPLES = Path(__file__).parents[2] / "examples"
COPPER = planish.load(EXAMPLES / "copper.toml")
MAPS = make_maps("density-blocks", cell=1e-3)


def refused(*words: str) -> str:
    told = CliRunner().invoke(app, list(words))
    assert isinstance(told.exception, PlanishError), told.output
    return str(told.exception)


def test_a_pad_without_a_planarization_length_is_refused_by_its_key_and_the_contact_route_goes_on() -> None:
    felt = COPPER.replace({"pad.part": "soft-felt"})
    with pytest.raises(PlanishError, match=r"die\.planarization_length: .*--planarization-length"):
        planish.polish_die(felt, MAPS, place="centre")
    pressed = planish.polish_die(felt, MAPS, place="centre", route="contact")
    assert pressed.document()["planarization_length_mm"] is None
    assert np.array_equal(pressed.dies[0].seen.high, 1 - MAPS.density)
    assert any("no planarization length for this die" in note for note in pressed.notes)


def test_a_die_tells_its_own_notes_once_and_as_its_own() -> None:
    notes = planish.polish_die(COPPER.replace({"die.overplating": "2 um"}), MAPS, place="centre").notes
    assert not [note for note in notes if note.startswith("the wafer: ") and "die." in note]
    assert sum(note.startswith("outside the usual range: die.overplating") for note in notes) == 1
    assert sum("more than the film is thick" in note for note in notes) == 1


def test_options_out_of_range_are_named_with_the_unit_given() -> None:
    rotary = str(EXAMPLES / "rotary.toml")
    layout = ("--layout", str(EXAMPLES / "data" / "test-blocks.gds"))
    assert "--place = '400mm': must be from 0 mm to 150 mm" in refused(
        "die", rotary, *layout, "--place", "400mm"
    )
    assert "--sizes = '0nm': must be above 0 nm" in refused("clean", rotary, "--sizes", "30nm,0nm")
    with pytest.raises(PlanishError, match="place = '400 mm'"):
        planish.polish_die(COPPER, MAPS, place=[0.4])
    with pytest.raises(PlanishError, match="particle sizes = '0 nm'"):
        planish.clean_wafer(COPPER, sizes=[0.0])


def test_unknown_keys_are_told_where_they_belong_or_which_are_near() -> None:
    rotary = planish.load(EXAMPLES / "rotary.toml")
    with pytest.raises(PlanishError, match=r"removal\.oxide\.coefficients\.k_p"):
        rotary.replace({"removal.oxide.k_p": 2e-13})
    with pytest.raises(PlanishError, match=r"known: law, rate, coefficients"):
        rotary.replace({"removal.oxide.foo": 1})
    with pytest.raises(PlanishError, match="did you mean 'pressure'"):
        rotary.replace({"removal.oxide.reference.presure": "3 psi"})
    told = refused("inputs", "pad.top.shore")
    assert "nearest of the " in told
    assert "pad.top.shore_d" in told


def test_a_platen_temperature_says_nothing_of_a_belt() -> None:
    belt = planish.load(EXAMPLES / "linear.toml")
    assert not [note for note in belt.rig.notes if "platen_temperature" in note]
    (told,) = [
        note
        for note in belt.replace({"ambient.platen_temperature": "30 degC"}).rig.notes
        if "platen_temperature" in note
    ]
    assert "says nothing of a belt" in told
    rotary = planish.load(EXAMPLES / "rotary.toml").replace({"ambient.platen_temperature": "30 degC"})
    assert not [note for note in rotary.rig.notes if "platen_temperature" in note]
