"""Signing in and out, sessions, passwords: what begins, what ends, what is written down."""

from __future__ import annotations

import json

import pytest
from starlette.testclient import TestClient

from planish.errors import DataError
from planish.web import accounts as people
from planish.web.accounts import Accounts
from planish.web.app import build
from planish.web.door import address_of
from planish.web.tries import LIMITS
from planish.web.workers import Refused, Workers, call

PASSWORD = "correct horse battery"


@pytest.fixture(autouse=True)
def cheap(monkeypatch):
    """Hash quickly: these tests are not about the hash."""
    monkeypatch.setitem(people._COST, "n", 2)


class SameProcess(Workers):
    """Workers that answer here."""

    async def ask(self, pool, name, *arguments, module="planish.web.answers", owner="", newest=None):
        done, answer = call(module, name, arguments)
        if not done:
            raise Refused(answer)
        return answer


@pytest.fixture
def app(tmp_path):
    for name, role in (("vera", "view"), ("ada", "approve")):
        Accounts(tmp_path / "people.json").add(name, PASSWORD, role)
    return build(SameProcess(), tmp_path, team=True)


@pytest.fixture
def browser(app):
    """Opens browsers that know nothing of each other, each from an address."""

    def make(address: str = "10.0.0.1") -> TestClient:
        return TestClient(app, base_url="http://localhost", follow_redirects=False, client=(address, 1))

    return make


def enter(client: TestClient, name: str = "ada", password: str = PASSWORD) -> int:
    return client.post("/api/sign-in", json={"name": name, "password": password}).status_code


def log_of(app) -> list[tuple[str, str]]:
    entries, book = app.state.services.log.read(0)
    assert book.whole, book.reasons
    return [(entry["what"], entry.get("person", "")) for entry in entries]


def test_a_session_lives_on_the_server_and_its_token_nowhere(app, browser, tmp_path) -> None:
    client = browser()
    assert enter(client) == 200
    token = client.cookies["planish"]
    kept = b"".join(path.read_bytes() for path in tmp_path.iterdir() if path.is_file())
    assert token.encode() not in kept
    assert client.cookies["planish-device"].encode() not in kept
    assert client.get("/api/me").json()["name"] == "ada"


def test_a_session_outlives_the_server(app, browser, tmp_path) -> None:
    client = browser()
    enter(client)
    again = TestClient(build(SameProcess(), tmp_path, team=True), base_url="http://localhost")
    again.cookies = client.cookies
    assert again.get("/api/me").status_code == 200


def test_sign_out_ends_the_session_itself(browser) -> None:
    """The cookie alone going away would leave a copy of it good."""
    client = browser()
    enter(client)
    copy = client.cookies["planish"]
    assert client.post("/api/sign-out", json={}).status_code == 200
    client.cookies.set("planish", copy)
    assert client.get("/api/me").status_code == 401


def test_signing_in_anew_ends_the_session_before(browser) -> None:
    client = browser()
    enter(client)
    first = client.cookies["planish"]
    enter(client)
    other = browser()
    other.cookies.set("planish", first)
    assert other.get("/api/me").status_code == 401
    assert client.get("/api/me").status_code == 200


def test_cookies_are_out_of_reach(tmp_path) -> None:
    Accounts(tmp_path / "people.json").add("ada", PASSWORD, "approve")
    app = build(SameProcess(), tmp_path, team=True, https=True)
    client = TestClient(app, base_url="https://localhost")
    reply = client.post("/api/sign-in", json={"name": "ada", "password": PASSWORD})
    cookies = [value for key, value in reply.headers.multi_items() if key == "set-cookie"]
    assert len(cookies) == 2
    for cookie in cookies:
        assert cookie.startswith("__Host-planish")
        for part in ("HttpOnly", "Secure", "SameSite=strict", "Path=/"):
            assert part in cookie
        assert "Domain" not in cookie
    assert client.get("/api/me").status_code == 200


def test_a_password_change_ends_every_other_session(app, browser, tmp_path) -> None:
    here, there = browser(), browser("10.0.0.2")
    enter(here)
    enter(there)
    assert here.post("/api/password", json={"old": "wrong", "new": "another long one"}).status_code == 403
    assert here.post("/api/password", json={"old": PASSWORD, "new": "short"}).status_code == 400
    assert here.post("/api/password", json={"old": PASSWORD, "new": PASSWORD}).status_code == 400
    assert there.get("/api/me").status_code == 200
    assert here.post("/api/password", json={"old": PASSWORD, "new": "another long one"}).status_code == 200
    assert here.get("/api/me").status_code == 200
    assert there.get("/api/me").status_code == 401
    assert enter(browser()) == 401
    assert enter(browser(), password="another long one") == 200
    assert log_of(app)[2:] == [
        ("password change failed", "ada"),
        ("password changed", "ada"),
        ("sign-in failed", "ada"),
        ("signed in", "ada"),
    ]


def test_guessing_the_old_password_is_limited_too(browser) -> None:
    client = browser()
    enter(client)
    asked = {"old": "wrong", "new": "another long one"}
    codes = [client.post("/api/password", json=asked).status_code for _ in range(8)]
    assert codes == [403] * 5 + [429] * 3
    assert enter(browser("10.0.0.9")) == 200


def test_the_command_s_password_ends_sessions_too(browser, tmp_path) -> None:
    client = browser()
    enter(client)
    before = client.get("/api/me").json()["id"]
    Accounts(tmp_path / "people.json").add("ada", "another long one", "approve")
    assert client.get("/api/me").status_code == 401
    enter(client, password="another long one")
    assert client.get("/api/me").json()["id"] == before, "the person is the same"


def test_too_many_tries_are_refused_with_a_time_to_wait(app, browser) -> None:
    client = browser()
    assert [enter(client, password="wrong") for _ in range(7)] == [401] * 5 + [429] * 2
    reply = client.post("/api/sign-in", json={"name": "ada", "password": PASSWORD})
    assert reply.status_code == 429
    assert 1 <= int(reply.headers["retry-after"]) <= 60
    assert log_of(app).count(("sign-ins refused", "ada")) == 1, "told once, however often"


def test_an_owner_gets_in_while_others_guess(browser) -> None:
    owner = browser("10.0.0.7")
    enter(owner)
    owner.post("/api/sign-out", json={})
    for i in range(LIMITS["name"][0] // 5 + 2):
        stranger = browser(f"10.1.0.{i}")
        assert [enter(stranger, password="wrong") for _ in range(6)][-1] == 429
    for _ in range(6):
        enter(browser("10.0.0.7"), password="wrong")  # even from the owner's own address
    assert enter(owner) == 200, "the browser is known"
    assert enter(browser("10.2.0.1")) == 200, "an address without failures"
    thief = browser("10.0.0.7")
    thief.cookies.set("planish-device", "made up")
    assert enter(thief) == 429


def test_a_known_browser_is_known_for_its_owner_only(browser) -> None:
    client = browser()
    enter(client)
    assert [enter(client, "vera", "wrong") for _ in range(6)][-1] == 429
    other = browser("10.0.0.1")
    assert enter(other, "vera") == 429


def test_who_is_not_signed_in_is_not_listened_to(browser) -> None:
    """The answer comes before any of the body is read."""

    def endless():
        raise AssertionError("the body was read")
        yield b""

    assert browser().post("/api/uploads?name=a.csv", content=endless()).status_code == 401


def test_large_questions_at_the_door_are_refused(browser) -> None:
    reply = browser().post(
        "/api/sign-in", content=b"x" * 20_000, headers={"content-type": "application/json"}
    )
    assert reply.status_code == 413


def test_approvers_read_the_log_and_others_do_not(app, browser) -> None:
    client = browser()
    enter(client)
    told = client.get("/api/log").json()
    assert told["whole"]
    assert [entry["what"] for entry in told["entries"]] == ["signed in"]
    assert told["entries"][0]["address"] == "10.0.0.1"
    other = browser()
    enter(other, "vera")
    assert other.get("/api/log").status_code == 403
    assert len(client.get("/api/log?last=1").json()["entries"]) == 1


def test_runs_deletions_and_approvals_are_written_down(app, browser, monkeypatch) -> None:
    from planish.jobs.exchange import fresh
    from planish.web.jobs import Job

    client = browser()
    enter(client)
    held = app.state.services
    monkeypatch.setattr(
        held.jobs, "start", lambda kind, title, owner, options: Job("0" * 16, kind, title, owner, "done")
    )
    monkeypatch.setattr(held.jobs, "get", lambda job, owner: Job("0" * 16, "lot", "mine", owner, "done"))
    document = fresh("rotary")
    asked = {"document": document, "kind": "lot", "title": "pad \x1b[31mlife\u202e"}
    assert client.post("/api/jobs", json=asked).status_code == 200
    assert client.delete("/api/jobs/" + "0" * 16).status_code == 200
    kept = client.post(
        "/api/uploads?name=a.csv", content=b"x_mm,y_mm,removal_nm\n0,0,1\n1,0,2\n0,1,3\n"
    ).json()
    assert client.delete(f"/api/uploads/{kept['id']}").status_code == 200
    approved = client.post("/api/approvals", json={"document": document, "note": "n"}).json()
    client.post("/api/sign-out", json={})
    entries = app.state.services.log.read(0)[0]
    run = next(entry for entry in entries if entry["what"] == "run")
    assert run["title"] == "pad \\x1b[31mlife\\u202e"
    assert run["kind"] == "lot"
    assert run["setup"] == approved["setup"]
    assert [entry["what"] for entry in entries] == [
        "signed in", "run", "job deleted", "file deleted", "approved", "signed out",
    ]  # fmt: skip
    assert approved["person"] == "ada"


def test_an_approvals_book_that_a_killed_write_left_is_readable(app, browser) -> None:
    client = browser()
    enter(client)
    held = app.state.services
    held.approvals.approve("ada", "0", "abc", "t", "n")
    with held.approvals.path.open("a") as book:
        book.write('{"at": "2025-01-0')
    told = client.get("/api/approvals").json()
    assert told["whole"]
    assert len(told["entries"]) == 1
    assert len(told["notes"]) == 1
    held.approvals.path.write_text("")
    told = client.get("/api/approvals").json()
    assert not told["whole"]
    assert "cut off" in told["reasons"][0]


def test_a_log_that_cannot_be_written_is_said(app, browser, monkeypatch) -> None:
    from planish.web import book

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    client = browser()
    monkeypatch.setattr(book.os, "fsync", full)
    reply = client.post("/api/sign-in", json={"name": "ada", "password": PASSWORD})
    assert reply.status_code == 503
    assert "planish" not in reply.cookies


def scope(client: str, passed: str = "") -> dict:
    headers = [(b"x-forwarded-for", passed.encode())] if passed else []
    return {"client": (client, 1), "headers": headers}


def test_a_proxy_that_nobody_named_is_not_taken_for_one_person() -> None:
    """All behind it would count as one address, and one of them could keep the others out."""
    assert address_of(scope("10.0.0.1"), ()) == "10.0.0.1"
    with pytest.raises(DataError, match=r"--proxy 10\.0\.0\.5"):
        address_of(scope("10.0.0.5", "192.0.2.7"), ())
    with pytest.raises(DataError, match="X-Forwarded-For"):
        address_of(scope("10.0.0.5"), ("10.0.0.5",))
    assert address_of(scope("192.0.2.7", "192.0.2.7"), ("10.0.0.5",)) == "192.0.2.7"


def test_the_table_holds_what_the_page_needs_and_no_more(app, browser, tmp_path) -> None:
    enter(browser())
    people_kept = json.loads((tmp_path / "people.json").read_text())
    assert set(people_kept["ada"]) == {"id", "role", "stamp", "salt", "hash"}
