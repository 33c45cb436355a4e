"""What the hosting page says of limits, files, back up and restore, checked against what the server does."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from typer.testing import CliRunner

from planish.cli.main import app as command
from planish.web import accounts as people
from planish.web import security, sessions, tries, uploads
from planish.web.app import build
from planish.web.workers import Workers

PASSWORD = "correct horse battery"
PAGE = (Path(__file__).resolve().parents[2] / "docs" / "guide" / "host.md").read_text()


@pytest.fixture(autouse=True)
def cheap(monkeypatch):
    """Hash quickly: these tests are not about the hash."""
    monkeypatch.setitem(people._COST, "n", 2)


def client_of(folder) -> TestClient:
    return TestClient(build(Workers(), folder, team=True), base_url="http://localhost")


@pytest.fixture
def used(tmp_path):
    """A data folder after some use."""
    folder = tmp_path / "bench"
    made = CliRunner().invoke(
        command,
        ["people", "add", "ada", "--role", "approve", "--data", str(folder), "--password-stdin"],
        input=PASSWORD,
    )
    assert made.exit_code == 0, made.output
    client = client_of(folder)
    assert client.post("/api/sign-in", json={"name": "ada", "password": PASSWORD}).status_code == 200
    held = client.app.state.services
    person = held.accounts.find("ada")
    held.uploads.keep(person.id, "sites.csv", b"x_mm,y_mm,thickness_nm\n0,0,1\n")
    for note in "abc":
        held.approvals.approve("ada", person.id, "abc", "t", note)
    return folder, client.cookies["planish"]


def listed() -> list[str]:
    """The files that the page lists, and whether to back them up."""
    rows = re.findall(r"^\| (`.+?) \| .+ \| (yes|no).* \|$", PAGE, re.M)
    return [(re.findall(r"`([^`]+)`", names), keep) for names, keep in rows]


def test_the_page_lists_every_file(used) -> None:
    folder, _ = used
    known = [name.rstrip("/") for names, _ in listed() for name in names if "*" not in name]
    for path in folder.iterdir():
        assert path.name in known or path.name.endswith(".lock") or path.name.startswith("sessions.sqlite"), (
            path
        )


def test_a_restored_copy_is_whole_and_nobody_is_signed_in(used, tmp_path) -> None:
    folder, cookie = used
    copy = tmp_path / "copy"
    copy.mkdir()
    for names, keep in listed():
        for name in names if keep == "yes" else ():
            place = folder / name.rstrip("/")
            if place.is_dir():
                shutil.copytree(place, copy / place.name)
            elif place.exists():
                shutil.copy(place, copy / place.name)
    told = CliRunner().invoke(command, ["people", "log", "--data", str(copy)]).output
    assert "3 approvals" in told
    assert "log and approvals are whole" in told
    client = client_of(copy)
    client.cookies.set("planish", cookie)
    assert client.get("/api/me").status_code == 401
    assert client.post("/api/sign-in", json={"name": "ada", "password": PASSWORD}).status_code == 200
    assert [u["name"] for u in client.get("/api/uploads").json()] == ["sites.csv"]
    assert client.get("/api/approvals").json()["whole"]


def test_a_book_restored_without_its_newer_part_is_seen(used) -> None:
    folder, _ = used
    for name in ("approvals.jsonl", "log.jsonl"):
        lines = (folder / name).read_text().splitlines(keepends=True)
        (folder / name).write_text("".join(lines[:-1]))
    told = CliRunner().invoke(command, ["people", "log", "--data", str(folder)]).output
    assert told.count("NOT WHOLE") == 2


def test_the_numbers_on_the_page_are_those_of_the_code() -> None:
    limits = tries.LIMITS
    assert limits["pair"] == limits["device"] == (5, 60)
    assert limits["address"] == (20, 60)
    assert limits["name"] == (30, 600)
    assert limits["knock"] == (60, 60)
    for words in (
        f"from one address | {limits['pair'][0]} a minute",
        f"whatever the names | {limits['address'][0]} a minute",
        f"from everywhere | {limits['name'][0]} in ten minutes",
        f"before | {limits['device'][0]} a minute",
        f"| {limits['knock'][0]} a minute; above that they are refused unread",
        f"known browsers; {tries.WAITING} more wait",
        f"sessions of one person | {sessions.PER_PERSON};",
        f"question | {security.LARGEST_QUESTION // 2**20} MiB",
        f"sign in {security.SMALL['/api/sign-in'] // 1024} KiB",
        f"a file {uploads.LARGEST // 2**20} MiB",
        f"after {sessions.IDLE / 3600:.0f} hours without a request, after {sessions.LONGEST / 3600:.0f} hours",
        f"at least {people.SHORTEST} characters",
    ):
        assert words in PAGE, words
