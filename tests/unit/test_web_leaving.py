"""People who leave and names that come back: nobody inherits; old folders move to ids once."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from typing import Any

import pytest
from starlette.testclient import TestClient
from typer.testing import CliRunner

from planish.cli.main import app as command
from planish.errors import DataError
from planish.web import accounts as people
from planish.web import leaving
from planish.web.accounts import Accounts
from planish.web.app import build
from planish.web.jobs import Job, Jobs
from planish.web.leaving import Watch, remove, settle
from planish.web.log import Log
from planish.web.uploads import Uploads
from planish.web.workers import Workers

PASSWORD = "correct horse battery"
SITES = b"x_mm,y_mm,thickness_nm\n0,0,1\n"


@pytest.fixture(autouse=True)
def cheap(monkeypatch):
    """Hash quickly: these tests are not about the hash."""
    monkeypatch.setitem(people._COST, "n", 2)


def kept_job(folder, owner: str, number: int = 1, state: str = "done") -> Job:
    """Lay a job that has ended into a data folder."""
    job = Job(f"{number:016x}", "lot", "a lot", owner, state, 1.0, "", 1.0, 2.0)
    place = folder / "jobs" / job.id
    place.mkdir(parents=True)
    (place / "job.json").write_text(json.dumps(job.told()))
    (place / "answer.bin").write_bytes(b"answer")
    return job


def until(true: Callable[[], bool]) -> None:
    """Wait until something is so; a minute is for ever."""
    for _ in range(1200):
        if true():
            return
        time.sleep(0.05)
    raise AssertionError("it never came to be")


def client_of(folder) -> TestClient:
    return TestClient(build(Workers(), folder, team=True), base_url="http://localhost")


def enter(client: TestClient, name: str = "ada") -> None:
    assert client.post("/api/sign-in", json={"name": name, "password": PASSWORD}).status_code == 200


def test_a_name_that_comes_back_inherits_nothing(tmp_path) -> None:
    accounts = Accounts(tmp_path / "people.json")
    first = accounts.add("ada", PASSWORD, "work")
    kept_job(tmp_path, first.id)
    client = client_of(tmp_path)
    enter(client)
    kept = client.app.state.services.uploads.keep(first.id, "sites.csv", SITES)
    assert [u["id"] for u in client.get("/api/uploads").json()] == [kept.id]
    assert len(client.get("/api/jobs").json()) == 1
    old = client.cookies["planish"]
    client.app.state.services.approvals.approve("ada", first.id, "abc", "t", "n")
    remove(tmp_path, "ada")
    assert client.get("/api/me").status_code == 401
    second = accounts.add("ada", PASSWORD, "work")
    assert second.id != first.id
    client.cookies.set("planish", old)
    assert client.get("/api/me").status_code == 401, "the old cookie stays dead"
    again = client_of(tmp_path)
    enter(again)
    assert again.get("/api/uploads").json() == []
    assert again.get("/api/jobs").json() == []
    assert again.get("/api/approvals").json()["entries"][0]["id"] == first.id, "the book keeps its entries"


def test_removal_by_the_command_takes_files_jobs_and_sessions(tmp_path) -> None:
    accounts = Accounts(tmp_path / "people.json")
    gone, stays = accounts.add("ada", PASSWORD, "work"), accounts.add("bob", PASSWORD, "work")
    files = Uploads(tmp_path / "files")
    for number, person in enumerate((gone, stays)):
        files.keep(person.id, "sites.csv", SITES)
        kept_job(tmp_path, person.id, number)
    told = CliRunner().invoke(command, ["people", "remove", "ada", "--data", str(tmp_path)])
    assert told.output.strip() == "ada is out; 1 files and 1 jobs deleted"
    assert files.of(gone.id) == []
    assert len(files.of(stays.id)) == 1
    assert [path.name for path in (tmp_path / "jobs").iterdir()] == [f"{1:016x}"]
    entry = Log(tmp_path).read(1)[0][0]
    assert (entry["what"], entry["person"], entry["id"]) == ("person removed", "ada", gone.id)
    assert (entry["files"], entry["jobs"]) == (1, 1)
    again = CliRunner().invoke(command, ["people", "remove", "ada", "--data", str(tmp_path)])
    assert isinstance(again.exception, DataError)


def test_a_removal_that_was_killed_is_finished_by_the_next_start(tmp_path, monkeypatch) -> None:
    accounts = Accounts(tmp_path / "people.json")
    gone = accounts.add("ada", PASSWORD, "work")
    accounts.add("bob", PASSWORD, "work")
    kept_job(tmp_path, gone.id)

    def killed(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(leaving, "clear", killed)
    with pytest.raises(KeyboardInterrupt):
        remove(tmp_path, "ada")
    monkeypatch.undo()
    assert accounts.find("ada") is None
    assert accounts.leaving() == {gone.id: "ada"}
    build(Workers(), tmp_path, team=True)
    assert list((tmp_path / "jobs").iterdir()) == []
    assert accounts.leaving() == {}


def test_a_running_server_notices_and_stops_what_runs(tmp_path) -> None:
    from planish.jobs.exchange import fresh

    accounts = Accounts(tmp_path / "people.json")
    gone = accounts.add("ada", PASSWORD, "work")
    jobs, files = Jobs(tmp_path / "jobs"), Uploads(tmp_path / "files")
    watch = Watch(accounts, jobs, files)
    job = jobs.start("lot", "many", gone.id, {"document": fresh("rotary"), "wafers": 5000})
    waiting = jobs.start("lot", "more", gone.id, {"document": fresh("rotary"), "wafers": 5000})
    until(lambda: job.state == "running")
    remove(tmp_path, "ada")

    def over() -> bool:
        watch.look()
        return not jobs.of(gone.id) and not list((tmp_path / "jobs").iterdir())

    until(over)
    assert {job.state, waiting.state} == {"stopped"}
    files.keep(gone.id, "late.csv", SITES)  # of a request that was under way
    watch.look()
    assert files.of(gone.id) == []
    jobs.close()


def without_ids(folder) -> dict[str, Any]:
    """Make people.json what it was before people had ids; return it."""
    path = folder / "people.json"
    old = {
        name: {key: entry[key] for key in ("role", "salt", "hash")}
        for name, entry in json.loads(path.read_text()).items()
    }
    path.write_text(json.dumps(old, indent=1))
    return old


@pytest.fixture
def old_folder(tmp_path):
    """A data folder as earlier versions left it: everything under names, a signing key, books without counts."""
    accounts = Accounts(tmp_path / "people.json")
    for name, role in (("ada", "approve"), ("bob", "work")):
        accounts.add(name, PASSWORD, role)
        Uploads(tmp_path / "files").keep(name, f"{name}.csv", SITES)
    without_ids(tmp_path)
    kept_job(tmp_path, "ada", 1)
    kept_job(tmp_path, "gone long ago", 2)
    (tmp_path / "session.key").write_text("00")
    from planish.web.book import chained

    entry = {
        "at": "2025-01-01T00:00:00Z",
        "person": "ada",
        "setup": "abc",
        "title": "t",
        "note": "",
        "before": "",
    }
    (tmp_path / "approvals.jsonl").write_text(json.dumps({**entry, "hash": chained(entry)}) + "\n")
    return tmp_path


def test_an_old_folder_is_moved_to_ids_once(old_folder) -> None:
    client = client_of(old_folder)
    enter(client)
    me = client.get("/api/me").json()
    assert [u["name"] for u in client.get("/api/uploads").json()] == ["ada.csv"]
    assert [(job["id"], job["owner"]) for job in client.get("/api/jobs").json()] == [(f"{1:016x}", me["id"])]
    told = client.get("/api/approvals").json()
    assert told["whole"], told["reasons"]
    assert not (old_folder / "session.key").exists()
    first = (old_folder / "people.json").read_bytes()
    assert client_of(old_folder).app.state.services.notes == [], "there is nothing left to do"
    assert (old_folder / "people.json").read_bytes() == first
    assert Log(old_folder).read(0)[1].whole


def test_reading_alone_gives_ids_that_stay(old_folder) -> None:
    once = {name: a.id for name, a in Accounts(old_folder / "people.json").people().items()}
    told = CliRunner().invoke(command, ["people", "list", "--data", str(old_folder)])
    assert told.exit_code == 0
    again = Accounts(old_folder / "people.json")
    assert {name: a.id for name, a in again.people().items()} == once
    assert again.check("ada", PASSWORD) is not None
    settle(old_folder, again)
    assert len(Uploads(old_folder / "files").of(once["ada"])) == 1


def test_a_move_that_was_killed_is_finished(old_folder, monkeypatch) -> None:
    accounts = Accounts(old_folder / "people.json")
    monkeypatch.setattr(leaving, "write_private", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
    with pytest.raises(KeyboardInterrupt):
        settle(old_folder, accounts)
    monkeypatch.undo()
    settle(old_folder, accounts)
    for name in ("ada", "bob"):
        person = accounts.find(name)
        assert not person.unmoved
        assert len(Uploads(old_folder / "files").of(person.id)) == 1
    assert len(Jobs(old_folder / "jobs").of(accounts.find("ada").id)) == 1


def test_the_command_prints_the_log(tmp_path) -> None:
    run = CliRunner().invoke
    run(command, ["people", "add", "ada", "--data", str(tmp_path), "--password-stdin"], input=PASSWORD + "\n")
    run(command, ["people", "add", "ada", "--data", str(tmp_path), "--password-stdin"], input=PASSWORD + "\n")
    told = run(command, ["people", "log", "--data", str(tmp_path)])
    assert "person added  ada" in told.output
    assert "person changed  ada" in told.output
    assert "log and approvals are whole" in told.output
    assert PASSWORD not in told.output
    book = tmp_path / "log.jsonl"
    book.write_text(book.read_text().replace("ada", "eve"))
    told = run(command, ["people", "log", "--data", str(tmp_path), "--last", "1"])
    assert "NOT WHOLE: log: line 1: was changed after it was written" in told.output
    told = json.loads(run(command, ["people", "log", "--data", str(tmp_path), "--json"]).output)
    assert told["of"] == 2
    assert not told["whole"]
