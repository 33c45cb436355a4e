"""A whole cost sheet worked by hand, what another setup saves, what a cost hangs on, and wafers that pass the machine."""

from __future__ import annotations

import json

import pytest
from priced import SAID, TIMED
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.cost.lives import Life, Lives
from planish.cost.sheet import YEAR, sheet
from planish.cost.used import Used
from planish.setup.si import Prices

USED = Used(
    Lives(Life(100, "worn"), Life(200, "dull"), Life(400, "worn"), Life(500, "said"), ()),
    polish=90.0,
    slurry=400e-6,
    conditioning=20.0,
    break_in=1200.0,
)
PRICES = Prices(
    currency="EUR",
    pad_price=490,
    disk_price=392,
    ring_price=98,
    membrane_price=147,
    slurry_price=4,
    hour_price=18,
    monitor_price=49,
    monitors=2,
    between=15.0,
    pad_change=1800.0,
    disk_change=600.0,
    head_change=1200.0,
    platens=3,
    load=30.0,
    rinse=10.0,
    clean=48.0,
    measure=60.0,
    measured=0.5,
    failure_every=360000.0,
    repair=7200.0,
    engineering=8 * 3600.0,
    idle=20 * 3600.0,
    machine_price=2_000_000,
    machine_years=5,
    upkeep_price=100_000,
    labour_price=40,
    water_price=0.01,
    water_flow=50e-6,
    wafer_price=600,
    scrapped=0.005,
)
# By hand. Platens: (90 + 10 + 20)/3 = 40 s a wafer; the cleaner takes 48 s and sets the pace. 98 of 100 are product.
CYCLE = 48.0
MONITORS = 48.0 * 2 / 98
CHANGES = (3000 / 100 + 600 / 200 + 1200 / 400 + 1200 / 500) * 100 / 98
STOPS = (48.0 + 48.0 * 2 / 98) * 7200 / 360000
TOTAL = CYCLE + MONITORS + CHANGES + STOPS
HOURS = TOTAL / 3600 * 168 / 140  # of the calendar: 140 of 168 hours a week are operation
ITEMS = {
    "pad": 490 / 98,
    "disk": 392 / 200 * 100 / 98,
    "ring": 98 / 400 * 100 / 98,
    "membrane": 147 / 500 * 100 / 98,
    "slurry": 4 * 0.4 * 100 / 98,
    "water": 0.01 * 0.05 * (10 + 15) * 100 / 98,
    "monitors": 49 * 2 / 98,
    "machine": 18 * TOTAL / 3600,
    "machine bought": 2_000_000 * HOURS / (5 * 365.25 * 24),
    "upkeep": 100_000 * HOURS / (365.25 * 24),
    "labour": 40 * HOURS * 148 / 168,
    "scrap": 600 * 0.005,
}


def test_a_sheet_worked_by_hand():
    found = sheet(USED, PRICES)
    assert {item.name: item.cost for item in found.items} == pytest.approx(ITEMS, rel=1e-9)
    assert found.total == pytest.approx(sum(ITEMS.values()), rel=1e-9)
    assert found.times.total == pytest.approx(TOTAL, rel=1e-9)
    assert found.times.waiting == pytest.approx(8.0, rel=1e-9)
    states = found.states
    assert sum(row["share_percent"] for row in states.rows()) == pytest.approx(100.0, rel=1e-12)
    assert states.productive == pytest.approx(140 / 168 * CYCLE / TOTAL, rel=1e-9)
    assert states.scheduled_down == pytest.approx(140 / 168 * (MONITORS + CHANGES) / TOTAL, rel=1e-9)
    assert states.unscheduled_down == pytest.approx(140 / 168 * STOPS / TOTAL, rel=1e-9)
    assert (states.engineering, states.non_scheduled) == pytest.approx((8 / 168, 20 / 168))
    assert [row["state"] for row in states.rows()] == [1, 2, 3, 4, 5, 6]
    assert pytest.approx(365.25 * 86400) == YEAR


@pytest.fixture(scope="module")
def priced():
    return planish.loads(planish.new_setup("rotary")).replace({**TIMED, "cost": SAID})


def test_a_good_wafer_bears_the_scrapped_ones(priced):
    cost = planish.cost_of(priced.replace({"cost.scrapped": "2 %", "cost.wafer_price": 100}), 4)
    figures = cost.summary()
    assert figures["cost_per_good_wafer"] == pytest.approx(figures["cost_per_wafer"] / 0.98)
    groups = {row["group"]: row["cost"] for row in cost.groups()}
    assert groups["yield"] == pytest.approx(2.0)
    assert sum(groups.values()) == pytest.approx(cost.total)


def test_platens_share_the_wafers_until_another_station_is_slower(priced):
    one, three = (planish.cost_of(priced.replace({"cost.platens": n}), 4) for n in (1, 3))
    assert three.times.cycle == pytest.approx(one.times.cycle / 3)
    assert three.document()["bottleneck"] == "platens"
    slow = planish.cost_of(priced.replace({"cost.platens": 3, "cost.clean": "2 min"}), 4)
    assert slow.times.cycle == pytest.approx(120.0)
    assert slow.document()["bottleneck"] == "cleaner"
    row = planish.cost_of(priced.replace({"cost.platens": 4, "cost.visits": 2}), 4)
    # 85 s of polishing and two exchanges of 35 s, on four platens
    assert row.times.cycle == pytest.approx((85 + 2 * 35) / 4)


def test_what_another_setup_saves(priced):
    here = planish.cost_of(priced.replace({"cost.pad_price": 245}), 4)
    against = planish.cost_of(priced, 4)
    saving = planish.cost_saving(here, against)
    rows = {row["item"]: row["saved_cost"] for row in saving.rows()}
    assert rows["pad"] == pytest.approx(245 / 98)
    assert sum(rows.values()) == pytest.approx(saving.summary()["saved_cost"])
    assert all(value == pytest.approx(0.0) for name, value in rows.items() if name != "pad")


def test_what_a_cost_hangs_on(priced):
    found = planish.cost_sensitivity(priced, 0.1, 4)
    swings = {one.name: one for one in found.swings}
    widths = [one.width() for one in found.swings]
    assert widths == sorted(widths, reverse=True)
    assert swings["cost.pad_price"].high - found.total == pytest.approx(0.1 * 490 / 98)
    assert swings["slurry for a wafer"].high == pytest.approx(swings["cost.slurry_price"].high)
    # 90 instead of 100 wafers on a pad, of which 2 are monitors
    pad = {item.name: item for item in planish.cost_of(priced.replace({"cost.pad_wafers": 90}), 4).items}
    assert swings["life of the pad"].low == pytest.approx(sum(item.cost for item in pad.values()))
    assert "cost.platens" not in swings


def test_wafers_pass_as_the_closed_form_says(priced):
    """Changes of pad, disk, ring and membrane fall together each 2000 wafers: 1960 of product."""
    setup = priced.replace({"cost.platens": 2, "cost.clean": "20 s"})
    flow = planish.flow_wafers(setup, 4000, lot=4)
    foreseen = planish.cost_of(setup, 4).times.total
    assert (flow.left[100 + 1960] - flow.left[100]) / 1960 == pytest.approx(foreseen, rel=0.01)
    figures = flow.document()
    assert figures["wafers_per_hour"] == pytest.approx(
        3600 / foreseen, abs=4 * figures["wafers_per_hour_error"] + 0.01 * 3600 / foreseen
    )
    assert sum(row["share_percent"] for row in figures["states"]) == pytest.approx(100.0)
    assert figures["monitors"] == 2 * (figures["product"] // 98)


def test_wafers_that_arrive_leave_the_machine_standing_by(priced):
    flow = planish.flow_wafers(priced, 600, lot=4, arrival=400.0, seed=2)
    states = {row["name"]: row["share_percent"] for row in flow.document()["states"]}
    assert states["standby"] > 30
    assert flow.waited > 0
    assert flow.document()["wafers_per_hour"] == pytest.approx(9.0, rel=0.15)


def test_the_verbs_print_what_the_functions_say(priced, tmp_path):
    path, prices = tmp_path / "own.toml", tmp_path / "prices.toml"
    path.write_text(priced.to_toml(), encoding="utf-8")
    prices.write_text('# invented\npad_price = 245\ncurrency = "EUR"\n', encoding="utf-8")

    def asked(*words):
        done = CliRunner().invoke(app, [*words, "--json"])
        assert done.exit_code == 0, done.output
        return json.loads(done.stdout)

    words = ["cost", str(path), "-n", "4"]
    cheap = asked(*words, "--prices", str(prices))
    assert {"wafers_per_hour", "cost_per_wafer", "items"} <= set(cheap)
    saving = asked(*words, "--set", "cost.pad_price=245", "--against", str(path))
    assert saving["saved_cost"] == pytest.approx(245 / 98)
    assert saving["cost_per_wafer"] == pytest.approx(cheap["cost_per_wafer"])
    assert asked(*words, "--tornado", "10 %", "--out", str(tmp_path / "t"))["swings"][0]["width_percent"] > 0
    assert {one.name for one in (tmp_path / "t").iterdir()} == {"tornado.png", "tornado.svg", "tornado.nc"}
    flow = ["flow", str(path), "-n", "200", "--lot", "4"]
    passed = asked(*flow, "--out", str(tmp_path / "f"))
    assert passed == planish.open_result(tmp_path / "f" / "flow.nc").document()
    assert "how the machine spends its time" in CliRunner().invoke(app, flow).stdout
    assert "in EUR" in CliRunner().invoke(app, [*words, "--against", str(path)]).stdout
