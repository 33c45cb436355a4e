"""Setups side by side: each pair is what comparing the two says, and costs stand beside."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import SetupError

RATE = "mean_removal_rate_nm_per_min"
FLAT = "wiwnu_sigma_percent"
COST = {"currency": "EUR", "pad_price": 400, "slurry_price": 4, "hour_price": 150}


@pytest.fixture(scope="module")
def setups():
    a = planish.loads(planish.new_setup("rotary")).replace({"cost": COST})
    b = a.replace(
        {"pad.part": "medium-microporous", "recipe.step.main.platen_speed": "110 rpm", "title": "medium"}
    )
    c = a.replace({"pad.part": "soft-felt", "recipe.step.main.flow": "150 ml/min", "title": "soft"})
    return [a, b, c]


@pytest.fixture(scope="module")
def found(setups):
    return planish.compare_all(setups)


def test_each_pair_is_the_comparison_of_the_two(setups, found):
    for pair, other in zip(found.pairs, setups[1:], strict=True):
        alone = planish.compare(setups[0], other)
        assert {**pair.document(), "notes": []} == {**alone.document(), "notes": []}
    assert found.values(RATE) == [planish.polish(one).summary()[RATE] for one in setups]


def test_differences_are_from_the_first_and_shares_add_up_to_them(found):
    document = found.document()
    rows = {row["figure"]: row for row in document["figures"]}
    for pair in document["pairs"]:
        for key in (RATE, FLAT):
            difference = rows[key][pair["letter"]] - rows[key]["A"]
            assert rows[key][f"{pair['letter']} less A"] == difference
            assert sum(pair["shares"][key].values()) == pytest.approx(difference)
    assert [one["title"] for one in document["setups"]] == [
        "rotary demo (invented scenario)",
        "medium",
        "soft",
    ]


def test_sentences_call_each_setup_by_its_letter(setups, found):
    told = found.document()["pairs"][1]["sentences"][0]
    alone = planish.compare(setups[0], setups[2]).sentence(RATE)
    assert told == alone.replace(" in B", " in C")
    assert " in C, " in told


def test_changes_make_each_setup_of_the_first(setups, found):
    for pair, other in zip(found.document()["pairs"], setups[1:], strict=True):
        assert setups[0].replace(pair["changes"]) == other


def test_a_setup_against_itself_differs_in_nothing(setups):
    same = planish.compare_all([setups[0], setups[0], setups[1]]).document()
    assert same["pairs"][0]["differing"] == []
    assert all(row["B less A"] == 0 for row in same["figures"] if row["A"] is not None)


def test_notes_say_whose_they_are(setups):
    cleaned = setups[0].replace({"clean": {"step": [{"kind": "brush", "slip": "1 m/s"}]}})
    notes = planish.compare_all([setups[0], cleaned, cleaned.replace({"title": "again"})]).notes
    of_particles = [note for note in notes if "particles left" in note]
    assert of_particles
    assert all(note.startswith("B and C: ") for note in of_particles)


def test_costs_stand_beside_with_their_items(setups):
    side = planish.compare_all(setups[:2], cost_wafers=6)
    costs = [planish.cost_of(one, 6) for one in setups[:2]]
    assert side.values("cost_per_wafer") == [cost.total for cost in costs]
    rows = {row["item"]: row for row in side.document()["costs"]}
    assert sum(row["B"] for row in rows.values() if row["B"] is not None) == pytest.approx(costs[1].total)
    assert rows["ring"]["A"] is None
    assert any(note.startswith("A and B: cost: not counted") for note in side.notes)
    other = setups[1].replace({"cost.currency": "USD"})
    mixed = planish.compare_all([setups[0], other], cost_wafers=6)
    row = next(row for row in mixed.document()["figures"] if row["figure"] == "cost_per_wafer")
    assert row["B less A"] is None
    assert any("different money" in note for note in mixed.notes)


@pytest.mark.parametrize("given", [[], "ab", 3, None])
def test_what_is_no_list_of_setups_is_refused(given):
    with pytest.raises(SetupError, match="setups to compare"):
        planish.compare_all(given)


def test_one_setup_too_many_an_unknown_figure_and_a_short_lot_are_refused(setups):
    with pytest.raises(SetupError, match="setups to compare = 13: must be a list of 2 to 12"):
        planish.compare_all(setups[:1] * 13)
    with pytest.raises(SetupError, match="outcome = 'beauty'"):
        planish.compare_all(setups, ["beauty"])
    with pytest.raises(planish.PlanishError, match="wafers = 1"):
        planish.compare_all(setups, cost_wafers=1)


def test_the_verb_with_two_stays_as_it_was_and_with_three_stands_side_by_side(setups, found, tmp_path):
    files = []
    for letter, setup in zip("abc", setups, strict=True):
        files.append(str(tmp_path / f"{letter}.toml"))
        (tmp_path / f"{letter}.toml").write_text(setup.to_toml(), encoding="utf-8")
    two = CliRunner().invoke(app, ["compare", *files[:2], "--json"])
    assert json.loads(two.stdout) == json.loads(json.dumps(planish.compare(*setups[:2]).document()))
    three = CliRunner().invoke(app, ["compare", *files, "--json", "--out", str(tmp_path / "out")])
    assert three.exit_code == 0, three.stderr
    assert json.loads(three.stdout) == json.loads(json.dumps(found.document()))
    saved = planish.open_result(tmp_path / "out" / "comparison.nc")
    assert saved.document() == json.loads(three.stdout)
    shown = CliRunner().invoke(app, ["compare", *files]).stdout
    assert "C less A" in shown
    assert "to make C of A, add" in shown
