"""`planish inputs`: what each input moves, as a table and as one JSON document."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from planish.cli.main import app
from planish.errors import SetupError
from planish.jobs.inputs import inputs_moved
from planish.setup.check import check
from planish.setup.fields import keys
from planish.setup.load import loads
from planish.setup.new import new_setup


def asked(*words: str) -> str:
    answer = CliRunner().invoke(app, ["inputs", *words], catch_exceptions=False)
    assert answer.exit_code == 0
    return answer.output


def test_a_table_is_asked_for_by_its_beginning():
    found = json.loads(asked("ambient", "--settings", "2", "--json"))
    assert [row["key"] for row in found["inputs"]] == [
        "ambient.temperature",
        "ambient.platen_temperature",
        "ambient.air_loss",
        "ambient.carrier_loss",
    ]
    room = found["inputs"][0]
    assert room["settings"] == ["15 °C", "30 °C"]
    assert room["usual"] == "typical 15 °C to 30 °C"
    assert {move["answer"]: move["way"] for move in room["moves"]}["pad temperature"] == "up"
    assert found["dead"] == []


def test_the_table_says_what_moves_what_is_stated_and_what_is_set_beside():
    text = asked("wafer.density", "slurry.size_power", "slurry.abrasive", "--settings", "2")
    assert "vacuum margin down" in text
    assert "descriptive: moves no answer" in text
    assert "(beside" in text.split("note: ")[0]  # in the table too
    assert "note: slurry.size_power: tried beside removal.oxide.reference.particle_size = 80 nm" in text


def test_what_goes_otherwise_than_stated_is_said():
    text = asked("head.ring.gap", "--settings", "2")
    assert "(here down)" in text
    assert "head.ring.gap: WIWNU: down; stated: up (common practice, no source)" in text


def test_a_setting_that_the_setup_refuses_is_named():
    (row,) = inputs_moved(["wafer.film.*.stress"], settings=3).rows
    assert [line.split(":")[0] for line in row.refused] == ["0 MPa"]
    assert row.acts


@pytest.mark.parametrize("words", [("wafer.densty",), ("nothing",)])
def test_a_key_that_there_is_not_is_refused_with_the_nearest(words):
    with pytest.raises(SetupError, match="a key of the setup"):
        inputs_moved(words)


def test_one_setting_is_too_few():
    with pytest.raises(SetupError, match="2 or more"):
        inputs_moved(["ambient"], settings=1)


def test_forms_and_check_say_that_a_key_describes():
    words = {info.path: info.description for info in keys("rotary")}
    assert words["pad.family"].endswith("; descriptive: moves no answer")
    assert not words["title"].endswith("moves no answer")  # nobody expects it of a title
    setup = loads(new_setup("rotary"))
    told = [f.message for f in check(setup.replace({"pad.family": "coated-felt", "title": "mine"}))]
    assert "pad.family: descriptive: moves no answer" in told
    assert not any("title" in line for line in told)
    assert "pad.family: descriptive: moves no answer" not in [f.message for f in check(setup)]
