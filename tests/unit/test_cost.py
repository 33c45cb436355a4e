"""What a wafer costs: a sum worked by hand, lives against longer lots, and what is left out is told."""

from __future__ import annotations

import json
import math

import pytest
from priced import SAID, TIMED
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import DataError, ModelError, SetupError
from planish.predict.lot.variation import Variation

# By hand: of 100 wafers on a pad 98 are product.
BY_HAND = {
    "pad": 490 / 98,
    "disk": 392 / 200 * 100 / 98,
    "ring": 98 / 400 * 100 / 98,
    "membrane": 147 / 500 * 100 / 98,
    "slurry": 4 * (10 * 250 + 60 * 250 + 15 * 300) / 60 / 1000 * 100 / 98,
    "monitors": 49 * 2 / 98,
    # 120 s a wafer; changes of 30 min and 20 min of breaking in, of 10 min, and twice of 20 min
    "machine": 180 / 3600 * (120 + (1800 + 1200) / 100 + 600 / 200 + 1200 / 400 + 1200 / 500) * 100 / 98,
}


@pytest.fixture(scope="module")
def plain():
    return planish.loads(planish.new_setup("rotary")).replace(
        {**TIMED, "conditioner.break_in_time": "20 min"}
    )


@pytest.fixture(scope="module")
def said(plain):
    return planish.cost_of(plain.replace({"cost": SAID}), 4)


def test_a_wafer_costs_what_a_sum_by_hand_says(said):
    assert {item.name: item.cost for item in said.items} == pytest.approx(BY_HAND, rel=1e-9)
    assert said.total == pytest.approx(sum(BY_HAND.values()), rel=1e-9)
    figures = said.summary()
    assert figures["cost_per_wafer"] == said.total
    assert figures["polish_time_s"] == pytest.approx(85.0)
    assert figures["slurry_ml"] == pytest.approx(1000 * BY_HAND["slurry"] / 4)
    assert figures["wafers_per_hour"] == pytest.approx(180 / BY_HAND["machine"])
    assert figures["currency"] == "EUR"


def test_shares_and_times_add_up(said):
    rows, figures = said.rows(), said.summary()
    assert sum(row["share_percent"] for row in rows) == pytest.approx(100.0)
    assert sum(row["cost"] for row in rows) == pytest.approx(said.total)
    parts = [figures[f"{name}_time_s"] for name in ("polish", "between", "monitors", "changes")]
    assert sum(parts) == pytest.approx(figures["machine_time_s"])
    assert all(part > 0 for part in parts)


def test_without_prices_nothing_is_made_up(plain):
    bare = planish.cost_of(plain, 4)
    assert bare.total is None
    assert all(item.cost is None for item in bare.items)
    assert bare.summary()["wafers_per_hour"] > 0
    told = next(note for note in bare.notes if note.startswith("no price is given"))
    assert all(f"cost.{key}_price" in told for key in ("pad", "disk", "ring", "membrane", "slurry", "hour"))
    assert any("30 s between wafers taken (common practice, no source)" in note for note in bare.notes)
    assert any("times that are not given count as none: cost.pad_change" in note for note in bare.notes)


def test_a_price_without_a_life_is_left_out_and_told(plain):
    cost = planish.cost_of(plain.replace({"cost": {"ring_price": 200, "slurry_price": 1}}), 4)
    ring = next(item for item in cost.items if item.name == "ring")
    assert ring.cost is None
    assert cost.total == pytest.approx(BY_HAND["slurry"] * 0.98 / 4)
    assert any(
        note.startswith("ring: nothing here tells") and "cost.ring_wafers" in note for note in cost.notes
    )


def test_a_life_that_is_said_ends_nothing_later_than_the_model(plain):
    model, early, late = (
        next(item for item in planish.cost_of(plain.replace({"cost": cost}), 6).items if item.name == "pad")
        for cost in ({"pad_price": 1}, {"pad_wafers": 50}, {"pad_wafers": 100_000})
    )
    assert (early.life, early.end) == (50, "as the setup says")
    assert (late.life, late.end) == (model.life, model.end)


def test_a_ring_lasts_as_long_as_its_allowance_over_its_wear(plain):
    wearing = plain.replace(
        {"head.ring.wear_rate": "40 um/h", "head.ring.wear_allowance": "2 mm", "cost": {"ring_price": 100}}
    )
    ring = next(item for item in planish.cost_of(wearing, 4).items if item.name == "ring")
    # 2000 um at 40 um/h are 50 h of polishing, 85 s each
    assert ring.life == math.floor(50 * 3600 / 85)
    assert ring.cost == pytest.approx(100 / ring.life)


def test_a_pad_s_life_drawn_on_is_that_of_a_longer_lot(plain):
    shallow = plain.replace({"pad.grooves.depth": "0.15 mm"})
    drawn = planish.cost_of(shallow, 40)
    pad = next(item for item in drawn.items if item.name == "pad")
    long = planish.polish_lot(shallow, 200, variation=Variation.none())
    assert long.end_of_life()[1] == pad.end == "grooves nearly gone"
    assert pad.life == pytest.approx(long.end_of_life()[0], rel=0.03)
    assert any("drawn on from their wear" in note for note in drawn.notes)
    reached = planish.cost_of(shallow, 200)
    assert next(item for item in reached.items if item.name == "pad").life == long.end_of_life()[0]


def test_a_disk_s_life_is_that_of_a_lot_with_changes_of_pad(plain):
    """The law of dulling, drawn on over the pads that the disk breaks in, against a lot that polishes all of them."""
    dull = plain.replace({"conditioner.halving_time": "1 h", "cost": {"pad_wafers": 30}})
    disk = next(item for item in planish.cost_of(dull, 20).items if item.name == "disk")
    changes = [f"{at} pad" for at in range(31, disk.life + 60, 30)]
    lot = planish.polish_lot(dull, disk.life + 60, variation=Variation.none(), events=changes)
    # the lot breaks whole pads in, the life shares them out: they part by one pad at most
    assert disk.end == "disk dull"
    assert lot.limits_reached()["disk dull"] == pytest.approx(disk.life, abs=30)
    never = planish.cost_of(plain.replace({"cost": {"pad_wafers": 30}}), 20)
    assert next(item for item in never.items if item.name == "disk").life > disk.life


def test_a_pad_that_wears_through_ends_the_lot(plain):
    soon = plain.replace(
        {"pad.top.thickness": "0.1 mm", "pad.grooves": "none", "pad.wear_coefficient": "4e-10 1/Pa"}
    )
    with pytest.raises(ModelError, match="worn through") as caught:
        planish.polish_lot(soon, 40, variation=Variation.none())
    cost = planish.cost_of(soon, 40)
    assert cost.wafers < caught.value.wafer
    assert any("the pad wears through: its lot ends after" in note for note in cost.notes)
    pad = next(item for item in cost.items if item.name == "pad")
    assert pad.life <= cost.wafers


def test_a_limit_that_the_first_wafer_is_beyond_ends_no_pad(plain):
    uneven = plain.replace({"recipe.step.main.zone_pressures": ["1 psi", "2 psi", "3 psi", "4 psi", "5 psi"]})
    assert planish.polish_lot(uneven, 2).limits_reached()["uniformity out of limits"] == 1
    cost = planish.cost_of(uneven, 10)
    assert cost.summary()["pad_end"] == "grooves nearly gone"
    assert any("uniformity out of limits from the first wafer on" in note for note in cost.notes)


def test_what_is_not_there_costs_nothing(plain):
    bare = plain.replace(
        {
            "conditioner": "none",
            "recipe.step.1.conditioning": False,
            "recipe.step.main.conditioning": False,
            "head.ring": "none",
            "cost": {"disk_price": 1, "ring_price": 1, "monitor_price": 5},
        }
        | {f"recipe.step.{at}.ring_pressure": None for at in (1, 2, 3)}
    )
    cost = planish.cost_of(bare, 4)
    assert {"disk", "ring", "monitors"}.isdisjoint(item.name for item in cost.items)
    for words in ("no conditioner", "no retaining ring", "cost.monitors not given"):
        assert any(words in note for note in cost.notes)


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"cost.pad_price": -1}, "cost.pad_price = -1: must be a price"),
        ({"cost.pad_price": "4 EUR"}, "a bare number without quotes or unit"),
        ({"cost.pad_price": True}, "cost.pad_price"),
        ({"cost.pad_price": math.inf}, "cost.pad_price"),
        ({"cost.pad_price": math.nan}, "cost.pad_price"),
        ({"cost.monitors": 2.5}, "a whole number"),
        ({"cost.pad_wafers": 0}, "from 1 to"),
        ({"cost.between": "3 psi"}, "cost.between"),
        ({"cost.pad_change": "-1 s"}, "cost.pad_change"),
        ({"cost.pad_prise": 3}, "did you mean 'pad_price'"),
        ({"cost": 3}, "cost"),
    ],
)
def test_prices_that_cannot_be_are_refused_by_their_place(plain, changes, told):
    with pytest.raises(SetupError) as caught:
        plain.replace(changes)
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)


def test_more_monitors_than_a_pad_lasts_are_refused(plain):
    with pytest.raises(SetupError, match=r"cost\.monitors = 20: must be fewer than the 20 wafers"):
        planish.cost_of(plain.replace({"cost": {"pad_wafers": 20, "monitors": 20}}), 4)


@pytest.mark.parametrize("wafers", [0, 1, 2.5, True, 10**9])
def test_a_lot_that_cannot_be_is_refused(plain, wafers):
    with pytest.raises(DataError, match="wafers"):
        planish.cost_of(plain, wafers)


def test_prices_move_no_prediction_and_no_comparison(plain):
    priced = plain.replace({"cost": SAID})
    assert planish.polish(priced).summary() == planish.polish(plain).summary()
    found = planish.compare(plain, priced)
    assert found.differing == ()
    assert plain.replace(found.changes) == priced
    assert "8 prices in EUR" not in repr(priced.rig.prices)
    assert "7 prices in EUR" in repr(priced.rig.prices)


def test_the_verb_prints_and_writes_what_the_function_says(plain, said, tmp_path):
    path = tmp_path / "own.toml"
    path.write_text(plain.replace({"cost": SAID}).to_toml(), encoding="utf-8")
    words = ["cost", str(path), "--wafers", "4"]
    done = CliRunner().invoke(app, [*words, "--json", "--out", str(tmp_path / "out")])
    assert done.exit_code == 0
    document = json.loads(done.stdout)
    assert document["cost_per_wafer"] == said.total
    saved = planish.open_result(tmp_path / "out" / "cost.nc")
    assert saved.document() == document
    table = (tmp_path / "out" / "cost.csv").read_text(encoding="utf-8")
    assert "item,price,life_wafers,end,cost,share_percent" in table
    assert {file.name for file in (tmp_path / "out").iterdir()} == {
        "cost.png",
        "cost.svg",
        "cost.csv",
        "cost.nc",
    }
    shown = CliRunner().invoke(app, words).stdout
    assert "what a wafer of product uses up, in EUR" in shown
    assert "not counted unless a price is given for it" in shown
    wrong = CliRunner().invoke(app, ["cost", str(path), "--wafers", "1"])
    assert wrong.exit_code != 0
