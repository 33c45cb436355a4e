"""Trade-offs over HTTP: what is offered is the package's, the job's front is the command's, what cannot be is refused."""

from __future__ import annotations

import json
import sys

import pytest
from answered_here import SameProcess
from starlette.testclient import TestClient

import planish
from planish.errors import DataError
from planish.jobs.exchange import fresh
from planish.jobs.tradeoffs import NEAR, offered, present
from planish.measure.layout.make import make_maps
from planish.results.units import unit_of
from planish.setup.models import Setup
from planish.tuning.tradeoffs.aims import KNOWN
from planish.units import to_si
from planish.web.app import build
from planish.web.costs import check_tries, most_tries
from planish.web.depth import JOBS
from planish.web.limits import GB, Limits
from planish.web.packing import unpack

RING = "recipe.step.main.ring_pressure"
CHOICE = {
    "vary": {RING: "3..5 psi/2", "pad.part": "hard-microporous, hard-solid"},
    "aims": ["rate", "evenness"],
}


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    with TestClient(
        build(SameProcess(), tmp_path_factory.mktemp("bench")), base_url="http://localhost"
    ) as made:
        yield made


@pytest.fixture(scope="module")
def document():
    return fresh("rotary")


@pytest.fixture(scope="module")
def offer(client, document):
    return client.post("/api/trade-offs", json={"document": document}).json()


def test_the_aims_are_the_command_s_with_the_figures_of_the_setup(client, offer, document) -> None:
    setup = Setup(document)
    now = client.post("/api/trade-offs/now", json={"document": document}).json()
    assert list(now) == [aim.name for aim in KNOWN]
    assert [aim["name"] for aim in offer["aims"]] == [aim.name for aim in KNOWN]
    by_name = {aim["name"]: aim for aim in offer["aims"]}
    wafer, lot = planish.polish(setup).summary(), planish.cost_of(setup, 25).summary()
    assert now["rate"]["value"] == pytest.approx(wafer["mean_removal_rate_nm_per_min"])
    assert now["pad-life"]["value"] == lot["pad_life_wafers"]
    assert by_name["rate"]["unit"] == "nm/min" == unit_of("mean_removal_rate_nm_per_min").shown
    assert "no price is given" in now["cost"]["refused"]
    assert now["cost"]["value"] is None
    priced = Setup({**document, "cost": {"slurry_price": 4.0}})
    assert present(priced)["cost"]["value"] == pytest.approx(planish.cost_of(priced, 25).total)


@pytest.mark.parametrize("motion", ["rotary", "linear", "orbital"])
def test_every_range_that_is_offered_holds_the_value_and_can_be_asked_for(motion) -> None:
    from planish.tuning.tradeoffs.knobs import read_knobs

    setup = Setup(fresh(motion))
    offer = offered(setup)
    begin = [knob for knob in offer["knobs"] if knob["proposed"]]
    assert [knob["label"].split(": ")[0] for knob in begin] == ["main"] * 3
    for knob in offer["knobs"]:
        for written in knob["range"].values():
            low, high = float(written["low"]), float(written["high"])
            assert low < high, knob
    for knob in begin:
        for written in knob["range"].values():
            read_knobs(setup, {knob["path"]: f"{written['low']}..{written['high']} {written['unit']}"})
    ring = next(knob for knob in offer["knobs"] if knob["path"] == RING)
    now = to_si(ring["now"], "pressure")
    for end, share in zip(("low", "high"), NEAR, strict=True):
        shown = to_si(f"{ring['range']['trade'][end]} psi", "pressure")
        assert shown == pytest.approx(share * now, rel=0.05)  # two digits


def test_parts_that_are_offered_stand_in_the_setup(offer, document) -> None:
    setup = Setup(document)
    assert offer["parts"]["pad"]["chosen"] == "hard-microporous"
    for section, choices in offer["parts"].items():
        for part in choices["options"]:
            assert setup.replace({f"{section}.part": part["name"]}).parts[section] == part["name"]


def test_what_a_choice_takes_is_said_before(client, document) -> None:
    body = {"document": document, "choice": {**CHOICE, "runs": 50}}
    told = client.post("/api/trade-offs/foreseen", json=body).json()
    assert (told["possible"], told["runs"], told["every"]) == (4, 4, True)
    assert told["seconds"] == pytest.approx(4 * told["each_s"])
    assert told["most"] == most_tries(told["each_s"], Limits(told["limit_s"], GB))
    body["choice"] = {**body["choice"], "vary": {RING: "3..5 psi"}}
    told = client.post("/api/trade-offs/foreseen", json=body).json()
    assert (told["possible"], told["runs"], told["every"]) == (None, 50, False)


def test_the_job_s_front_is_the_package_s(document, tmp_path) -> None:
    choice = {
        **CHOICE, "aims": ["rate", "evenness", "step-height"], "limits": {"evenness": "..5"}, "runs": 20, "points": 20,
        "seed": 1, "wafers": 5, "layout": "density-blocks", "place": "edge",
    }  # fmt: skip
    shares: list[float] = []
    JOBS["trade-off"]({"document": document, "choice": choice}, tmp_path, shares.append)
    header, _ = unpack((tmp_path / "answer.bin").read_bytes())
    maps = make_maps("density-blocks", 200e-6, size=20e-3)
    found = planish.choose(
        Setup(document), CHOICE["vary"], choice["aims"], limits={"evenness": "..5"}, runs=20, seed=1, wafers=5, maps=maps,
        place="edge", workers=1,
    )  # fmt: skip
    assert header["points"] == json.loads(json.dumps(found.document()["points"]))
    assert shares[-1] == 1.0
    assert header["start_document"] == Setup(document).document
    for row, whole in zip(header["points"], header["documents"], strict=True):
        again = planish.polish(Setup(whole)).summary()
        assert again["mean_removal_rate_nm_per_min"] == row["mean_removal_rate_nm_per_min"]
    assert header["axes"]["rate"].endswith("[nm/min]")
    lines = (tmp_path / "table.csv").read_text().splitlines()
    assert lines[0].startswith("point,where,mean_removal_rate_nm_per_min")
    assert len(lines) == len(found.points) + 1


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"vary": {"recipe.step.main.ring_presure": "3..5 psi"}}, "did you mean 'ring_pressure'"),
        ({"vary": {RING: "5..3 psi"}}, "must be a range from a lower to a higher number"),
        ({"vary": {RING: "3..5 apples"}}, "ring_pressure"),
        ({"vary": {"pad.part": "no-such, nor-this"}}, "must be a catalogue part"),
        ({"vary": {}}, "vary"),
        ({"vary": {RING: "3..5 psi"}, "runs": 10**9}, "must be at most"),
        ({"runs": 1}, "runs"),
        ({"aims": ["rate"]}, "must be two or more"),
        ({"aims": ["rate", "speed of light"]}, "speed of light"),
        ({"aims": ["rate", "cost"]}, "no price is given"),
        ({"limits": {"evenness": "3..1"}}, "lower end below"),
        ({"layout": "/etc/passwd"}, "layout"),
    ],
)
def test_what_cannot_be_searched_is_refused_in_one_line(client, document, more, words) -> None:
    body = {"document": document, "kind": "trade-off", "choice": {**CHOICE, "runs": 20, **more}}
    reply = client.post("/api/jobs", json=body)
    assert 400 <= reply.status_code < 500
    assert words in reply.json()["refused"]
    assert "\n" not in reply.json()["refused"]
    assert client.get("/api/jobs").json() == []


def test_a_trade_off_needs_to_be_said(client, document) -> None:
    reply = client.post("/api/jobs", json={"document": document, "kind": "trade-off"})
    assert reply.status_code == 400
    assert "choice: not given" in reply.json()["refused"]


def test_the_tries_are_bounded_by_what_the_host_allows() -> None:
    limits = Limits(600.0, GB)
    check_tries(most_tries(0.1, limits), 0.1, limits)
    with pytest.raises(DataError, match="runs = 4801: must be at most 4800 on this host"):
        check_tries(4801, 0.1, limits)


def test_without_the_library_lists_alone_are_tried_and_the_remedy_is_said(
    client, document, monkeypatch
) -> None:
    monkeypatch.setitem(sys.modules, "pymoo", None)
    for name in [each for each in sys.modules if each.startswith("pymoo.")]:
        monkeypatch.setitem(sys.modules, name, None)
    assert client.post("/api/trade-offs", json={"document": document}).json()["search"] is False
    body = {"document": document, "choice": {**CHOICE, "runs": 20}}
    assert client.post("/api/trade-offs/foreseen", json=body).json()["every"] is True
    body["choice"] = {**body["choice"], "vary": {RING: "3..5 psi"}}
    reply = client.post("/api/trade-offs/foreseen", json=body)
    assert reply.status_code == 400
    assert "pip install 'planish[choose]'" in reply.json()["refused"]


def test_the_cost_is_the_package_s(client, document) -> None:
    priced = {**document, "cost": {"currency": "EUR", "pad_price": 450, "hour_price": 180}}
    told = client.post("/api/cost", json={"document": priced}).json()
    found = planish.cost_of(Setup(priced), 25)
    assert told["cost_per_wafer"] == pytest.approx(found.total)
    assert [row["item"] for row in told["items"]] == [row["item"] for row in found.rows()]
    assert told["notes"] == list(found.notes)


def test_every_price_that_a_setup_can_say_is_offered(offer, document) -> None:
    from planish.jobs.settings import prices
    from planish.setup.prices import CostSection

    assert [price["path"] for price in offer["prices"]] == [f"cost.{key}" for key in CostSection.model_fields]
    assert all(price["text"] is None for price in offer["prices"])
    told = prices(Setup({**document, "cost": {"pad_price": 450}}))
    assert {price["path"]: price["text"] for price in told}["cost.pad_price"] == 450
