"""Column maps over HTTP: a table that cannot be read by itself is told, kept for its like, private, and gone with its person."""

from __future__ import annotations

import stat
from typing import Any

import numpy as np
import pytest
from answered_here import SameProcess
from starlette.testclient import TestClient

from planish.jobs.exchange import fresh
from planish.measure.sites.column_map import read_column_map
from planish.measure.sites.pairing import read_removal
from planish.web import accounts as people
from planish.web import column_maps
from planish.web.accounts import Accounts
from planish.web.app import build
from planish.web.column_maps import ColumnMaps
from planish.web.leaving import Watch, remove

TOLD = {
    "columns": {"x": "Pos A", "y": "Pos B", "thickness": "T1"},
    "units": {"x": "in", "y": "in", "thickness": "A"},
}
PASSWORD = "correct horse battery"


@pytest.fixture
def rig(tmp_path):
    with TestClient(build(SameProcess(), tmp_path / "data"), base_url="http://localhost") as client:
        yield client


def gauge(start: float, names: str = "Nr;Pos A;Pos B;T1") -> bytes:
    rings = [(r * np.cos(a), r * np.sin(a)) for r in (0.5, 2.5, 5.5) for a in np.arange(8) * np.pi / 4]
    rows = "\n".join(f"{k};{x:.4f};{y:.4f};{start + k:.1f}" for k, (x, y) in enumerate(rings))
    return f"{names}\n{rows}\n".encode()


def bring(client, name: str, content: bytes) -> dict[str, Any]:
    reply = client.post(f"/api/uploads?name={name}", content=content)
    assert reply.status_code == 200, reply.json()
    return reply.json()


def told(client, file: dict[str, Any], **more: Any):
    return client.post(f"/api/uploads/{file['id']}/read", json={"told": TOLD, **more})


def test_a_table_that_says_nothing_is_kept_and_told(rig, tmp_path) -> None:
    first = bring(rig, "before.csv", gauge(10000.0))
    assert first["about"]["is"] == "unread"
    assert "before.csv: cannot be read" in first["about"]["refused"]
    assert str(tmp_path) not in first["about"]["refused"]
    look = rig.post(f"/api/uploads/{first['id']}/look", json={}).json()
    assert look["header"] == ["Nr", "Pos A", "Pos B", "T1"]
    assert look["refused"].startswith("before.csv: ")
    answer = told(rig, first, remember=True, name="bay gauge").json()
    assert (answer["about"]["is"], answer["about"]["sites"]) == ("sites", 24)
    (kept,) = rig.get("/api/columns").json()
    assert (kept["name"], kept["told"], kept["header"]) == ("bay gauge", TOLD, look["header"])
    second = bring(rig, "after.csv", gauge(6000.0))
    assert second["about"]["is"] == "sites"
    assert second["notes"] == [
        "after.csv: has the column names of your column map 'bay gauge' and was read by it"
    ]
    body = {"document": fresh(), "before": first["id"], "after": second["id"], "time_s": 60}
    page = rig.post("/api/measured", json=body).json()

    toml = tmp_path / "columns.toml"
    toml.write_bytes(rig.get(f"/api/columns/{kept['id']}/toml").content)
    (tmp_path / "before.csv").write_bytes(gauge(10000.0))
    (tmp_path / "after.csv").write_bytes(gauge(6000.0))
    same = read_removal(tmp_path / "before.csv", tmp_path / "after.csv", read_column_map(toml))
    assert page["measured"] == same.removal.value.tolist()
    assert page["x"] == same.removal.x.tolist()


def test_files_dropped_together_are_read_by_the_map_told_for_one(rig) -> None:
    first, second = bring(rig, "a.csv", gauge(10000.0)), bring(rig, "b.csv", gauge(6000.0))
    other = bring(rig, "c.csv", gauge(6000.0, "Nr;Pos B;Pos A;T1"))
    also = told(rig, first, remember=True, name="a").json()["also"]
    assert list(also) == [second["id"]]
    listed = {one["name"]: one["about"]["is"] for one in rig.get("/api/uploads").json()}
    assert listed == {"a.csv": "sites", "b.csv": "sites", "c.csv": "unread"}
    assert other["about"]["is"] == "unread"


def test_a_guess_is_corrected_and_taken_back(rig) -> None:
    content = b"x_mm,y_mm,thickness_nm,T2 [nm]\n" + b"".join(
        b"%d,0,1000,%d\n" % (k, 500 + k) for k in range(5)
    )
    file = bring(rig, "two.csv", content)
    assert file["about"]["mean"] == pytest.approx(1000e-9)
    answer = rig.post(f"/api/uploads/{file['id']}/read", json={"told": {"columns": {"thickness": "T2 [nm]"}}})
    assert answer.json()["about"]["mean"] == pytest.approx(502e-9)
    assert rig.get("/api/columns").json() == []  # it was not to be remembered
    back = rig.post(f"/api/uploads/{file['id']}/read", json={"told": {}}).json()
    assert back["about"]["mean"] == pytest.approx(1000e-9)


def test_one_map_for_the_same_names_the_last_told(rig) -> None:
    file = bring(rig, "a.csv", gauge(10000.0))
    told(rig, file, remember=True, name="first")
    told(rig, file, remember=True, name="second")
    assert [one["name"] for one in rig.get("/api/columns").json()] == ["second"]


@pytest.mark.parametrize(
    ("body", "status", "words"),
    [
        ({"told": {**TOLD, "units": {"x": "m", "y": "m", "thickness": "A"}}}, 400, "a.csv: line "),
        ({"told": {"columns": {"x": "Pos Q"}}}, 400, "column of x = 'Pos Q'"),
        ({"told": {"columns": {"colour": "T1"}}}, 400, "role = 'colour'"),
        ({"told": {**TOLD, "pitch": "26 mm"}}, 400, "pitch = '26 mm'"),
        ({"told": {**TOLD, "site_plan": "7, 300 mm, 3 mm"}}, 400, "site_plan"),
        ({"told": {"colour": "red"}}, 422, "colour"),
        ({"told": {"names_line": 0}}, 422, "names_line"),
        ({"told": {"separator": "star"}}, 422, "separator"),
        ({"told": {}, "remember": True, "name": "n"}, 400, "nothing to remember"),
        ({"told": TOLD, "remember": True, "name": ""}, 422, "name"),
        ({"told": TOLD, "wafer": "W7"}, 400, "wafer = 'W7'"),
    ],
)
def test_what_cannot_be_told_is_refused_with_words_and_changes_nothing(rig, body, status, words) -> None:
    file = bring(rig, "a.csv", gauge(10000.0))
    reply = rig.post(f"/api/uploads/{file['id']}/read", json=body)
    assert reply.status_code == status
    assert words in reply.json()["refused"]
    assert "--" not in reply.json()["refused"]
    assert rig.get("/api/uploads").json()[0]["about"]["is"] == "unread"
    assert rig.get("/api/columns").json() == []


def test_only_a_table_of_ones_own_can_be_told(rig) -> None:
    for path in ("look", "read"):
        assert rig.post(f"/api/uploads/{'0' * 16}/{path}", json={}).status_code == 400
    words = b"colour,shape\nred,round\n"
    reply = rig.post("/api/uploads?name=words.csv", content=words)
    assert reply.status_code == 400
    assert "cannot be read" in reply.json()["refused"]
    assert rig.get("/api/uploads").json() == []


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("x = ", "gauge.toml: is no TOML"),
        ("", "says nothing"),
        ("[columns]\ncolour = 'a'", "role = 'colour'"),
    ],
)
def test_a_file_that_is_no_column_map_is_refused(rig, text, words) -> None:
    reply = rig.post("/api/columns", json={"name": "gauge.toml", "text": text})
    assert reply.status_code == 400
    assert words in reply.json()["refused"]


def test_a_map_brought_as_a_file_is_kept_and_goes(rig) -> None:
    toml = rig.post("/api/columns/toml", json=TOLD).text
    kept = rig.post("/api/columns", json={"name": "gauge.toml", "text": toml}).json()
    assert (kept["told"], kept["header"]) == (TOLD, [])
    assert bring(rig, "a.csv", gauge(1e4))["about"]["is"] == "unread"  # it was made for no file in particular
    assert rig.delete(f"/api/columns/{kept['id']}").status_code == 200
    reply = rig.delete(f"/api/columns/{kept['id']}")
    assert (reply.status_code, "no such column map" in reply.json()["refused"]) == (400, True)


def test_so_many_for_each_person_and_none_too_large(tmp_path, monkeypatch) -> None:
    maps = ColumnMaps(tmp_path / "columns")
    monkeypatch.setattr(column_maps, "PER_PERSON", 3)
    said = [maps.keep("ada", f"map {k}", TOLD, [f"name {k}"])[1] for k in range(4)]
    assert said[:3] == [[], [], []]
    assert said[3] == ["column map map 0 was taken away: one person may keep 3"]
    with pytest.raises(Exception, match="too large"):
        maps.keep("ada", "big", TOLD, ["x" * 1000] * 400)
    assert maps.of("bob") == []
    (home,) = (tmp_path / "columns").iterdir()
    assert stat.S_IMODE(home.stat().st_mode) == 0o700
    assert {stat.S_IMODE(path.stat().st_mode) for path in home.iterdir()} == {0o600}


def test_maps_are_private_and_leave_with_their_person(tmp_path, monkeypatch) -> None:
    monkeypatch.setitem(people._COST, "n", 2)
    accounts = Accounts(tmp_path / "people.json")
    ada = accounts.add("ada", PASSWORD, "work")
    accounts.add("bob", PASSWORD, "work")
    accounts.add("vera", PASSWORD, "view")
    app = build(SameProcess(), tmp_path, team=True)
    clients = {name: TestClient(app, base_url="http://localhost") for name in ("ada", "bob", "vera")}
    for name, client in clients.items():
        assert client.post("/api/sign-in", json={"name": name, "password": PASSWORD}).status_code == 200
    file = bring(clients["ada"], "a.csv", gauge(1e4))
    kept = told(clients["ada"], file, remember=True, name="mine").json()["by"]
    assert clients["bob"].get("/api/columns").json() == []
    assert clients["bob"].get(f"/api/columns/{kept}/toml").status_code == 400
    assert clients["bob"].delete(f"/api/columns/{kept}").status_code == 400
    assert clients["bob"].post(f"/api/uploads/{file['id']}/look", json={}).status_code == 400
    assert bring(clients["bob"], "a.csv", gauge(1e4))["about"]["is"] == "unread"
    assert (
        clients["vera"].post("/api/columns", json={"name": "n", "text": "decimal = 'comma'"}).status_code
        == 403
    )
    remove(tmp_path, "ada")
    held = app.state.services
    assert held.maps.of(ada.id) == []
    assert not held.maps.home(ada.id).exists()
    bob = accounts.people()["bob"].id if "bob" in accounts.people() else ""
    watch = Watch(accounts, held.jobs, held.uploads)
    accounts.remove("bob")
    held.maps.keep(bob, "late", TOLD, [])  # a request that was on its way
    watch.look()
    assert held.maps.of(bob) == []
