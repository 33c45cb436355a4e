"""The die section of a setup: read, refused, carried to SI, and turned into a level."""

from __future__ import annotations

import pytest

from planish.errors import SetupError
from planish.predict.die.levels import default_level, described_level, left_open, process_of
from planish.predict.die.processes.copper import CopperLevel
from planish.predict.die.processes.oxide import OxideLevel
from planish.setup.load import loads
from planish.setup.new import new_setup
from planish.setup.schema import json_schema

BARE = new_setup("rotary").partition("[die]")[0]


def with_die(text: str):
    return loads(BARE + "[die]\n" + text)


def test_section_arrives_in_si_and_makes_the_level():
    rig = with_die('process = "oxide"\nstep = "0.6 um"\nbias = "50 nm"\nplanarization_length = "4 mm"\n').rig
    assert rig.die.given["step"] == pytest.approx(6e-7)
    assert rig.die.planarization_length == pytest.approx(4e-3)
    level = described_level(rig.die, "oxide")
    assert (level.step, level.bias) == pytest.approx((6e-7, 5e-8))
    usual = OxideLevel()
    assert level.thickness == usual.thickness
    assert left_open(rig.die, level, "oxide") == {
        "thickness": "1800 nm",
        "step_limit": "20 nm",
        "least_left": "400 nm",
        "sliding_share": "5 %",
        "sliding_spread": "50 %",
    }
    assert process_of(rig) == "oxide"


def test_without_a_section_the_process_is_that_of_the_films():
    assert loads(BARE).rig.die is None
    assert process_of(loads(BARE).rig) == "oxide"
    copper = BARE.replace('part = "fumed-silica-oxide"', 'part = "copper-bulk"').replace(
        'material = "oxide"', 'material = "copper"'
    )
    assert process_of(loads(copper).rig) == "copper"


def test_a_section_of_another_process_says_nothing_about_this_one():
    rig = with_die('process = "oxide"\nstep = "600 nm"\n').rig
    assert described_level(rig.die, "copper") == default_level("copper") == CopperLevel()


@pytest.mark.parametrize(
    "text, words",
    [
        ('process = "gold"', "die.process"),
        ('step = "600 nm"', "die.process: not given"),
        ('process = "oxide"\nstep = 600', "die.step"),
        ('process = "oxide"\nstep = "0 nm"', "die.step"),
        ('process = "oxide"\nnitride = "100 nm"', "die.nitride = '100 nm': must be left out for oxide"),
        ('process = "copper"\nstep = "100 nm"', "oxide or sti"),
        ('process = "copper"\nbarrier_material = "gold"', "die.barrier_material"),
        ('process = "oxide"\nplanarization_length = "4 um"', "die.planarization_length"),
        ('process = "oxide"\nstepp = "600 nm"', "did you mean 'step'"),
    ],
)
def test_what_does_not_belong_is_refused_in_one_line(text, words):
    with pytest.raises(SetupError) as caught:
        with_die(text + "\n")
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_film_thinner_than_its_step_is_warned_of():
    assert any(
        "less than the step" in w
        for w in with_die('process = "oxide"\nstep = "900 nm"\nthickness = "500 nm"\n').warnings
    )


def test_editors_learn_of_it():
    schema = json_schema()
    assert schema["properties"]["die"]["$ref"].endswith("DieSection")
    assert "die" not in schema["required"]
    assert schema["$defs"]["DieSection"]["required"] == ["process"]
