"""The cleaning as a table of the setup: one physics for wafer, lot, command, comparison and form; nothing without it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import SetupError
from planish.jobs.settings import describe, usual_cleaning
from planish.predict.cleaning import USUAL as WORDS
from planish.predict.cleaning import clean_wafer
from planish.setup.load import loads
from planish.setup.models import Setup
from planish.setup.new import new_setup

ROTARY = Path(__file__).parents[2] / "examples" / "rotary.toml"
STEPS = [
    {"kind": "brush", "slip": "1 m/s", "coverage": "95 %"},
    {"name": "spin", "kind": "rinse", "turning": "1000 rpm", "flow": "1000 ml/min"},
]
LEFT = ("small_particles_left_percent", "particles_left_percent", "large_particles_left_percent")


@pytest.fixture(scope="module")
def plain() -> Setup:
    return loads(new_setup("rotary"))


@pytest.fixture(scope="module")
def cleaned(plain: Setup) -> Setup:
    return plain.replace({"clean": {"step": STEPS}})


def test_a_wafer_s_particles_are_those_that_the_same_steps_leave_as_words(
    plain: Setup, cleaned: Setup
) -> None:
    left = clean_wafer(plain, ["brush 1 m/s 95 %", "rinse 1000 rpm 1000 ml/min"])
    told = planish.polish(cleaned)
    assert [told.summary()[key] for key in LEFT] == pytest.approx(list(100 * left.left[-1]), rel=1e-12)
    assert [row["left_percent"] for row in told.document()["cleaning"]] == [
        pytest.approx(list(100 * row), rel=1e-12) for row in left.left
    ]
    assert any("no count on a wafer" in note for note in told.notes)
    assert any("Hamaker" in line for line in told.sources())


def test_the_usual_steps_of_a_form_are_those_of_the_command(plain: Setup) -> None:
    made = plain.replace({"clean": {"step": usual_cleaning()}})
    np.testing.assert_allclose(clean_wafer(made).left, clean_wafer(plain, WORDS).left, rtol=1e-12)
    assert not [note for note in clean_wafer(made).notes if "no steps given" in note]
    assert [note for note in clean_wafer(plain).notes if "no steps given" in note]


def test_every_wafer_of_a_lot_is_cleaned_alike_and_that_is_said(cleaned: Setup) -> None:
    lot, wafer = planish.polish_lot(cleaned, 3), planish.polish(cleaned)
    for key in LEFT:
        assert lot.table()[key].to_list() == pytest.approx([wafer.summary()[key]] * 3, rel=1e-12)
        assert lot.summary()[key] == pytest.approx(wafer.summary()[key], rel=1e-12)
    assert any("same share on every wafer" in note for note in lot.notes)
    assert any("no count on a wafer" in note for note in lot.notes)


def test_without_the_table_nothing_is_said_of_particles(plain: Setup, cleaned: Setup) -> None:
    before, after = planish.polish(plain), planish.polish(cleaned)
    assert not [key for key in before.document() if "particle" in key or "clean" in key]
    assert not [note for note in before.notes if "particle" in note]
    assert not [name for name in planish.polish_lot(plain, 2).table().columns if "particle" in name]
    kept = after.summary()
    assert all(kept[key] == value for key, value in before.summary().items())


def test_a_stronger_step_leaves_less_and_set_reaches_it(cleaned: Setup, tmp_path: Path) -> None:
    faster = cleaned.replace({"clean.step.spin.turning": "3000 rpm"})
    assert planish.polish(faster).summary()[LEFT[1]] < planish.polish(cleaned).summary()[LEFT[1]]
    own = tmp_path / "own.toml"
    own.write_text(new_setup("rotary") + "\n[[clean.step]]\nkind = 'brush'\nslip = '1 m/s'\n")

    def said(*words: str) -> str:
        return CliRunner().invoke(app, [*words], catch_exceptions=False).stdout

    outcomes = [
        json.loads(said("polish", str(own), "--set", f"clean.step.1.slip={slip}", "--json"))[LEFT[0]]
        for slip in ("0.2 m/s", "2 m/s")
    ]
    shown, alone = said("polish", str(own)), said("clean", str(own), "--json")
    assert outcomes[1] < outcomes[0]
    assert "share of the particles left" in shown
    assert [row["step"] for row in json.loads(alone)["steps"]] == ["brush"]


def test_a_comparison_says_that_the_cleaning_made_the_difference(cleaned: Setup) -> None:
    other = cleaned.replace({"clean.step.1.slip": "3 m/s", "recipe.step.main.flow": "200 ml/min"})
    found = planish.compare(cleaned, other, [LEFT[1]])
    assert found.differing == ("recipe", "clean")
    assert found.shares[LEFT[1]]["clean"] == pytest.approx(found.difference(LEFT[1]))
    assert found.shares[LEFT[1]]["recipe"] == 0.0
    assert found.changes["clean.step.1.slip"] == "3 m/s"


def test_the_form_reads_the_table_from_the_schema(plain: Setup, cleaned: Setup) -> None:
    fields = {field["path"]: field for field in describe(cleaned) if field["part"] == "clean"}
    assert {"clean.step.1.slip", "clean.step.spin.turning", "clean.step.spin.flow", "clean.hamaker"} <= set(
        fields
    )
    assert fields["clean.step.1.slip"]["label"] == "brush: slip"
    assert "typical" in fields["clean.step.1.slip"]["usual"]
    assert not [field for field in describe(plain) if field["part"] == "clean"]
    schema = planish.json_schema()
    assert schema["$defs"]["CleanStepSection"]["required"] == ["kind"]


def test_a_saved_wafer_and_lot_are_cleaned_again(cleaned: Setup, tmp_path: Path) -> None:
    wafer = planish.polish(cleaned)
    again = planish.open_result(wafer.save(tmp_path / "wafer.nc"))
    assert again.summary()[LEFT[1]] == wafer.summary()[LEFT[1]]
    assert again.rerun().summary() == wafer.summary()
    assert loads(cleaned.to_toml()).rig.clean is not None


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"clean.step.spin.flow": None}, "clean.step.spin.flow: not given: must be given for a rinse"),
        ({"clean.step.spin.slip": "1 m/s"}, "must be left out for a rinse"),
        ({"clean.step.1.kind": "soak"}, "must be one of brush, sound, rinse"),
        ({"clean.step.1.slip": "99 m/s"}, "from 0.001 m/s to 30 m/s"),
        ({"clean.step.1.coverage": "120 %"}, "from 0 to 1"),
        ({"clean.step": []}, "clean.step"),
        ({"clean.hamaker": "1 J"}, "clean.hamaker"),
        ({"clean.soap": "yes"}, "unknown key"),
    ],
)
def test_bad_cleaning_is_refused_by_its_place(cleaned: Setup, changes: dict[str, object], told: str) -> None:
    with pytest.raises(SetupError) as caught:
        cleaned.replace(changes)
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_page_switches_cleaning_on_and_sets_it() -> None:
    """As its script does: the usual steps go into the document, a change goes by its path; without them all is as before."""
    from planish.jobs.exchange import fresh
    from planish.web.answers import forms, wafer
    from planish.web.packing import unpack

    document = fresh("rotary")
    told = forms(document, {})
    assert not [field for field in told["fields"] if field["part"] == "clean"]
    on = {**document, "clean": {"step": told["usual_cleaning"]}}
    paths = [field["path"] for field in forms(on, {})["fields"] if field["part"] == "clean"]
    assert "clean.step.1.slip" in paths
    left = [
        unpack(wafer(of, changes))[0]["summary"].get(LEFT[1])
        for of, changes in ((document, {}), (on, {}), (on, {"clean.step.1.slip": "3 m/s"}))
    ]
    assert left[0] is None
    assert left[2] < left[1]


def test_the_page_says_that_a_carrier_stands_still() -> None:
    from planish.jobs.exchange import fresh
    from planish.web.answers import wafer
    from planish.web.packing import unpack

    header = unpack(wafer(fresh("rotary"), {"recipe.step.main.carrier_speed": "0 rpm"}))[0]
    (finding,) = [each for each in header["findings"] if "does not turn" in each["text"]]
    assert finding["subject"] == "speed"
    assert "round its rim the sliding speed goes from" in finding["text"]
