"""The routes without a browser: answers agree with the package, refusals are one line, strangers are kept out."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from answered_here import SameProcess
from starlette.testclient import TestClient

from planish.jobs.exchange import choose, fresh, with_motion, without_conditioner
from planish.predict.wafer.polish import polish
from planish.setup.models import Setup
from planish.web.app import build
from planish.web.packing import pack, unpack

EXAMPLES = Path(__file__).resolve().parents[2] / "examples" / "data"


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    with TestClient(
        build(SameProcess(), tmp_path_factory.mktemp("bench")), base_url="http://localhost"
    ) as made:
        yield made


@pytest.fixture(scope="module")
def document():
    return fresh("rotary")


def test_packed_bodies_come_back_as_they_went() -> None:
    rng = np.random.default_rng(5)
    arrays = {"a": rng.normal(size=(3, 4)).astype(np.float32), "b": np.arange(5, dtype=np.float32)}
    header, found = unpack(pack({"title": "µm × 5", "odd": float("nan")}, arrays))
    assert header["title"] == "µm × 5"
    assert header["odd"] is None
    for name, array in arrays.items():
        np.testing.assert_array_equal(found[name], array)


def test_the_wafer_answer_is_the_package_s(client, document) -> None:
    changes = {"recipe.step.2.ring_pressure": "5 psi"}
    reply = client.post("/api/wafer", json={"document": document, "changes": changes, "step": 1})
    header, arrays = unpack(reply.content)
    result = polish(Setup(document).replace(changes))
    np.testing.assert_allclose(arrays["removed"], result.removed, rtol=1e-6)
    np.testing.assert_allclose(arrays["pressure"][1], result.steps[1].pressure, rtol=1e-6)
    assert header["summary"]["wiwnu_sigma_percent"] == pytest.approx(result.summary()["wiwnu_sigma_percent"])
    assert header["document"]["recipe"]["step"][1]["ring_pressure"] == "5 psi"


def test_settings_carry_unit_range_source_and_spread(client, document) -> None:
    fields = client.post("/api/setup", json={"document": document}).json()["fields"]
    by_path = {field["path"]: field for field in fields}
    gap = by_path["head.ring.gap"]
    assert gap["value"] == pytest.approx(0.5e-3)
    assert gap["units"]["trade"]["name"] == "mm"
    assert gap["low"] <= gap["value"] <= gap["high"]
    assert gap["source"]
    assert by_path["pad.top.thickness"]["spread"] == "3 %"
    for field in fields:
        if field["kind"] == "number":
            assert field["low"] <= field["value"] <= field["high"], field["path"]


def test_sliders_stay_inside_what_the_model_allows() -> None:
    from planish.jobs.settings import _field, _spread_out
    from planish.setup.fields import keys

    setup = Setup(fresh("rotary"))
    seen = 0
    for info in keys("rotary"):
        for path in _spread_out(info.path, setup.tree):
            field = _field(info, path, setup) if info.dimension else None
            if field is None or field["kind"] != "number":
                continue
            seen += 1
            assert info.low <= field["low"] <= field["value"] <= field["high"] <= info.high, path
    assert seen > 80


@pytest.mark.parametrize("motion", ["rotary", "linear", "orbital"])
def test_parts_and_motions_can_be_chosen(motion) -> None:
    from planish.jobs.exchange import part_choices

    setup = with_motion(Setup(fresh("rotary")), motion)
    assert setup.title == fresh(motion)["title"]
    own = Setup({**fresh("rotary"), "title": "my own"})
    assert with_motion(own, motion).title == "my own"
    assert setup.motion == motion
    for section, choices in part_choices(setup).items():
        assert choices["options"], section
        for option in choices["options"]:
            chosen = choose(setup, section, option["name"])
            assert polish(chosen).mean(polish(chosen).removed) > 0
    assert without_conditioner(setup).model.conditioner is None


def test_compare_shares_add_up(client, document) -> None:
    other = choose(Setup(document), "pad", "soft-felt").document
    found = client.post("/api/compare", json={"a": document, "b": other}).json()
    for key, shares in found["shares"].items():
        assert sum(shares.values()) == pytest.approx(found["difference"][key], abs=1e-9)
        assert shares["slurry"] == 0.0


@pytest.mark.parametrize(
    ("path", "body", "words"),
    [
        ("/api/wafer", {"document": {}}, "must be"),
        ("/api/wafer", {"document": {"nonsense": 1}}, "unknown key"),
        ("/api/choose", {"document": fresh("rotary"), "section": "pad", "part": "no-such"}, "must be one of"),
        ("/api/read", {"text": "not toml ["}, "not TOML"),
        ("/api/lessons/no-such", {"document": fresh("rotary")}, "must be one of"),
        ("/api/measured", {"document": fresh("rotary"), "before": "../../etc/passwd"}, "no such file"),
        (
            "/api/compare",
            {"a": fresh("rotary"), "b": fresh("rotary"), "outcomes": ["no-such"]},
            "must be a figure",
        ),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_line(client, path, body, words) -> None:
    reply = client.post(path, json=body)
    assert reply.status_code == 400
    assert words in reply.json()["refused"]
    assert "\n" not in reply.json()["refused"]


def test_setup_files_that_name_files_are_refused(client, document) -> None:
    """A setup from the browser must not read files of the server."""
    changed = json.loads(json.dumps(document))
    changed["wafer"]["film"][0] = {"name": "x", "material": "oxide", "sites": "/etc/passwd"}
    reply = client.post("/api/wafer", json={"document": changed})
    assert reply.status_code == 400
    assert "root:" not in reply.text


def test_toml_goes_out_and_comes_back(client, document) -> None:
    text = client.post("/api/toml", json={"document": document}).text
    assert client.post("/api/read", json={"text": text}).json()["document"] == document


def test_foreign_pages_hosts_and_large_bodies_are_kept_out(client, document) -> None:
    body = {"document": document}
    assert client.post("/api/wafer", json=body, headers={"Origin": "http://evil.example"}).status_code == 403
    assert client.post("/api/wafer", json=body, headers={"Sec-Fetch-Site": "cross-site"}).status_code == 403
    assert client.get("/api/me", headers={"Host": "evil.example"}).status_code == 421
    assert client.post("/api/read", json={"text": "x" * 2_000_000}).status_code == 413
    assert client.post("/api/wafer", json=body, headers={"Origin": "http://localhost"}).status_code == 200


def test_every_answer_carries_the_headers(client) -> None:
    for path in ("/", "/api/me", "/static/main.js", "/nowhere"):
        headers = client.get(path).headers
        assert "default-src 'self'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["x-frame-options"] == "DENY"


def test_no_page_points_outside() -> None:
    from planish.web.pages import STATIC

    for file in STATIC.iterdir():
        text = file.read_text()
        text = text.replace("http://www.w3.org/2000/svg", "")  # a name, never fetched
        assert "http://" not in text, file.name
        assert "https://" not in text, file.name
        assert "style=" not in text.replace('style=""', "") or file.suffix == ".js", file.name


def test_docs_pages_that_would_fetch_from_outside_are_off(client) -> None:
    assert client.get("/docs").status_code == 404
    assert client.get("/redoc").status_code == 404
    assert client.get("/api/openapi.json").json()["info"]["title"] == "planish bench"


def test_static_files_stay_inside(client) -> None:
    for path in ("/static/../api.py", "/static/%2e%2e/api.py", "/static/..%2f..%2f..%2fpyproject.toml"):
        assert client.get(path).status_code == 404


def test_lessons_are_computed_and_their_words_follow_the_numbers(client, document) -> None:
    from planish.jobs.lessons import Figure, sentence

    listed = client.get("/api/lessons").json()
    assert len(listed) == 7
    found = client.post("/api/lessons/speeds", json={"document": document}).json()
    spread = found["figures"][0]
    # equal speeds the same way round: every point slides at the same speed (Hocheng et al. 2000, closed form)
    assert spread["values"]["carrier as fast as the platen"] < 0.01
    assert spread["values"]["carrier at a third of the platen"] > 1
    assert "least with “carrier as fast as the platen”" in spread["sentence"]
    figure = Figure("wafer", "x", "rate", "nm", 1)
    assert "most with “a” (2.0 nm, 2 times" in sentence(figure, {"a": 2.0, "b": 1.0})
    assert "for all of them" in sentence(figure, {"a": 2.0, "b": 2.0})
    assert "not defined" in sentence(figure, {"a": None, "b": 2.0})


def test_what_a_step_of_a_slider_does_is_what_two_wafers_say(client, document) -> None:
    import planish
    from planish.web.answers import setup_of

    moves = {"recipe.step.main.ring_pressure": "5 psi", "pad.top.shore_d": 1e6}
    told = client.post("/api/nudges", json={"document": document, "moves": moves}).json()
    setup = setup_of(document)
    now, then = (
        planish.polish(each).summary()
        for each in (setup, setup.replace({"recipe.step.main.ring_pressure": "5 psi"}))
    )
    for key, change in told["recipe.step.main.ring_pressure"].items():
        assert change == pytest.approx(then[key] - now[key], rel=1e-9)
    assert "shore_d" in told["pad.top.shore_d"]


def test_the_page_s_settings_are_the_package_s(client, document) -> None:
    import planish
    from planish.web.answers import setup_of

    body = {"document": document, "target_nm": 620.0, "neighbour_psi": 0.4}
    told = client.post("/api/tune", json=body).json()
    found = planish.tune(setup_of(document), target="620 nm", neighbour="0.4 psi")
    assert told["changes"] == found.document()["changes"]
    assert told["document"] == found.tuned().document
    assert told["left_after"] == pytest.approx(found.after.remaining.sum(axis=0).tolist(), rel=1e-12)
    again = planish.polish(setup_of(told["document"]))
    assert again.mean(again.remaining.sum(axis=0)) == pytest.approx(620e-9, rel=1e-3)


def test_several_wafers_have_one_recipe_and_their_band(client, document, tmp_path) -> None:
    import planish
    from planish.web.answers import setup_of
    from planish.web.depth import JOBS

    files = [EXAMPLES / "runs" / f"W0{number}-pre.csv" for number in (1, 2)]
    ids = [
        client.post("/api/uploads", params={"name": file.name}, content=file.read_bytes()).json()["id"]
        for file in files
    ]
    body = {"document": document, "target_nm": 450.0, "incoming": ids}
    told = client.post("/api/tune", json=body).json()
    found = planish.tune(setup_of(document), target="450 nm", incoming=files)
    assert told["changes"] == found.document()["changes"]
    left = np.stack([one.after.remaining.sum(axis=0) for one in found.wafers])
    np.testing.assert_allclose(told["each_after"], left, rtol=1e-12)
    np.testing.assert_allclose(told["band_after"], [left.min(axis=0), left.max(axis=0)], rtol=1e-12)
    limits = {"meet": {"thickness": "445..455 nm"}, "spreads": False, "draws": 20, "seed": 2}
    options = {"document": document, "solve": {"target_nm": 450.0, "keep": [], **limits}}
    JOBS["tune"](
        {**options, "files": [[str(file), file.name, {}] for file in files]}, tmp_path, lambda _: None
    )
    header, _ = unpack((tmp_path / "answer.bin").read_bytes())
    chance = planish.tune(setup_of(document), target="450 nm", incoming=files, workers=1, **limits).chance
    assert header["chance_percent"] == pytest.approx(100 * chance.chosen.chance.share)
    assert header["chance_low_percent"] == pytest.approx(100 * chance.chosen.chance.low)


def test_a_chance_is_refused_where_it_cannot_end_or_is_of_nothing_known(client, document) -> None:
    for solve, words in (
        ({"meet": {"thickness": "445..455 nm"}, "draws": 10**9}, "draws = 1000000000: must be at most"),
        (None, "solve: not given"),
    ):
        reply = client.post("/api/jobs", json={"document": document, "kind": "tune", "solve": solve})
        assert reply.status_code == 400
        assert words in reply.json()["refused"]
    for meet, words in (
        ({"thicknes": "1..2 nm"}, "thickness"),
        ({"thickness": "2..1 nm"}, "lower to a higher"),
    ):
        reply = client.post("/api/tune", json={"document": document, "target_nm": 450.0, "meet": meet})
        assert reply.status_code == 400
        assert words in reply.json()["refused"]


def test_the_figures_to_meet_are_the_command_s(client) -> None:
    from planish.tuning.chance.meet import FIGURES

    told = client.get("/api/tune").json()
    assert [one["key"] for one in told] == list(FIGURES)
    assert told[0] == {"key": "thickness", "words": FIGURES["thickness"].words, "unit": "nm"}


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"target_nm": 0}, "target_nm"),
        ({"target_nm": 5000.0}, "must be less than"),
        ({"target_nm": 600.0, "incoming": "../x"}, "no such file"),
        ({"target_nm": 600.0, "keep": ["recipe.step.9.time"]}, "recipe.step"),
        ({"target_nm": 600.0, "most_time_s": 1.0}, "limits"),
    ],
)
def test_what_cannot_be_tuned_is_refused_in_one_line(client, document, more, words) -> None:
    reply = client.post("/api/tune", json={"document": document, **more})
    assert 400 <= reply.status_code < 500
    assert words in reply.json()["refused"]
    assert "\n" not in reply.json()["refused"]
