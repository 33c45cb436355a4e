"""Accounts, approvals, files and jobs: what they keep, what they refuse."""

from __future__ import annotations

import gzip
import json
import time

import pytest
from starlette.testclient import TestClient

from planish.errors import DataError
from planish.web import accounts as people
from planish.web.accounts import Accounts
from planish.web.jobs import Job, Jobs
from planish.web.tiles import halved, read_tile, write_pyramid
from planish.web.uploads import Uploads, check_content, check_unpacked, ending_of


@pytest.fixture
def accounts(tmp_path):
    made = Accounts(tmp_path / "people.json")
    made.add("ada", "correct horse battery", "approve")
    return made


def test_scrypt_is_the_published_one() -> None:
    """RFC 7914, section 12: scrypt("pleaseletmein", "SodiumChloride", N=16384, r=8, p=1), first 32 bytes."""
    import hashlib

    found = hashlib.scrypt(b"pleaseletmein", salt=b"SodiumChloride", n=16384, r=8, p=1, dklen=64)
    assert found.hex().startswith("7023bdcb3afd7348461c06cd81fd38eb")
    assert people.hashed("pleaseletmein", b"SodiumChloride") != found[:32], "our cost is higher"


def test_passwords_are_never_kept_and_files_are_private(accounts) -> None:
    text = accounts.path.read_text()
    assert "correct horse" not in text
    assert accounts.path.stat().st_mode & 0o077 == 0
    assert accounts.check("ada", "correct horse battery").role == "approve"
    assert accounts.check("ada", "wrong") is None
    assert accounts.check("nobody", "wrong") is None


def test_two_people_with_one_password_have_two_hashes(accounts) -> None:
    accounts.add("bob", "correct horse battery", "view")
    kept = json.loads(accounts.path.read_text())
    assert kept["ada"]["hash"] != kept["bob"]["hash"]


@pytest.mark.parametrize(
    ("name", "password", "role"),
    [
        ("", "long enough pw", "view"),
        ("../x", "long enough pw", "view"),
        ("a", "short", "view"),
        ("a", "long enough pw", "king"),
    ],
)
def test_accounts_that_will_not_do(accounts, name, password, role) -> None:
    with pytest.raises(DataError):
        accounts.add(name, password, role)


def team(tmp_path) -> TestClient:
    from planish.web.app import build
    from planish.web.workers import Workers

    for name, role in (("vera", "view"), ("ada", "approve")):
        Accounts(tmp_path / "people.json").add(name, "correct horse battery", role)
    return TestClient(
        build(Workers(), tmp_path, team=True), base_url="http://localhost", follow_redirects=False
    )


def test_a_team_s_server_asks_who_is_there(tmp_path) -> None:
    client = team(tmp_path)
    assert client.get("/").headers["location"] == "/sign-in"
    assert client.get("/api/me").status_code == 401
    assert client.post("/api/wafer", json={"document": {}}).status_code == 401
    reply = client.post("/api/sign-in", json={"name": "vera", "password": "correct horse battery"})
    cookie = reply.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    me = client.get("/api/me").json()
    assert me == {"id": me["id"], "name": "vera", "role": "view", "team": True}
    assert me["id"] != "vera", "what a person owns hangs on an id, not on the name"
    assert client.post("/api/jobs", json={"document": {}, "kind": "lot"}).status_code == 403
    assert client.post("/api/uploads?name=a.csv", content=b"x").status_code == 403
    assert client.post("/api/approvals", json={"document": {}}).status_code == 403
    Accounts(tmp_path / "people.json").remove("vera")
    assert client.get("/api/me").status_code == 401, "whoever is taken out is out at once"


def test_a_forged_session_is_no_session(tmp_path) -> None:
    client = team(tmp_path)
    for forged in ("eyJuYW1lIjogImFkYSJ9.aaaaaa.bbbbbbbbbbbbbbbbbbbbbbbbbbb", "ada", "' or 1=1 --", "0" * 64):
        client.cookies.set("planish", forged)
        assert client.get("/api/me").status_code == 401


@pytest.mark.parametrize(
    "name",
    [
        "../a.csv",
        "a/b.csv",
        "a\\b.csv",
        ".hidden.csv",
        "a..b.csv",
        "a.exe",
        "a",
        "a\n.csv",
        "x" * 130 + ".csv",
        "a.zip",
        "a.csv.gz",
    ],
)
def test_names_that_will_not_do(name) -> None:
    with pytest.raises(DataError):
        ending_of(name)


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.csv", b""), ("a.csv", b"PK\x03\x04"), ("a.csv", b"\x1f\x8b1234"), ("a.csv", b"a\0"), ("a.xlsx", b"x,y\n"), ("a.gds", b"\0\1\2\3"),
        ("a.oas", b"%SEMI"), ("a.parquet", b"PAR1 but not its end"), ("a.gds.gz", b"plain"), ("a.gds.gz", b"\x1f\x8b broken"),
        ("a.csv", b"\0" * 257 + b"ustar"), ("a.gds.gz", gzip.compress(b"x" * 1000, mtime=0)[:-9]), ("a.gds.gz", gzip.compress(b"x", mtime=0) + b"more"),
    ],
)  # fmt: skip
def test_contents_that_will_not_do(name, content) -> None:
    with pytest.raises(DataError):
        check_content(name, ending_of(name), content)


def test_a_gzip_bomb_is_stopped_on_the_way() -> None:
    bomb = gzip.compress(b"\0" * 50_000_000, 9, mtime=0)
    with pytest.raises(DataError, match="when unpacked"):
        check_unpacked("a.gds.gz", bomb, most=1_000_000)
    check_unpacked("a.gds.gz", gzip.compress(b"fine", mtime=0), most=1_000_000)


def test_files_belong_to_their_owner(tmp_path) -> None:
    kept = Uploads(tmp_path)
    mine = kept.keep("ada", "sites.csv", b"x_mm,y_mm,thickness_nm\n0,0,1\n")
    assert kept.path("ada", mine.id).read_bytes().startswith(b"x_mm")
    for stranger, name in (("bob", mine.id), ("ada", "../" + mine.id), ("ada", "0" * 16)):
        with pytest.raises(DataError):
            kept.path(stranger, name)
    kept.forget("ada", mine.id)
    assert kept.of("ada") == []


def wait(jobs: Jobs, job: Job, states: tuple[str, ...]) -> Job:
    for _ in range(1200):
        if jobs.get(job.id).state in states:
            return jobs.get(job.id)
        time.sleep(0.05)
    raise AssertionError(f"the job is still {job.state}")


def test_jobs_run_tell_stop_and_outlive_the_server(tmp_path) -> None:
    from planish.jobs.exchange import fresh
    from planish.web.packing import unpack

    jobs = Jobs(tmp_path)
    options = {"document": fresh("rotary"), "wafers": 3}
    first = jobs.start("lot", "three wafers", "ada", options)
    bad = jobs.start("lot", "no setup", "ada", {"document": {}, "wafers": 3})
    stopped = jobs.start("lot", "many", "ada", {**options, "wafers": 5000})
    with pytest.raises(DataError, match="no such job"):
        jobs.get(first.id, "bob")
    jobs.start("lot", "fourth", "ada", options)
    with pytest.raises(DataError, match="wait for one"):
        jobs.start("lot", "fifth", "ada", options)
    assert wait(jobs, first, ("done", "failed")).state == "done"
    header, arrays = unpack((jobs.place(first) / "answer.bin").read_bytes())
    assert header["summary"]["wafers"] == 3
    assert arrays["rate"].shape == (3,)
    jobs.stop(stopped)
    assert jobs.get(stopped.id).state == "stopped"
    assert "must be" in wait(jobs, bad, ("failed",)).message
    jobs.close()
    again = Jobs(tmp_path)
    assert again.get(first.id, "ada").state == "done"
    again.stop(again.get(first.id))
    assert not (tmp_path / first.id).exists()


def test_tiles_hold_the_map(tmp_path) -> None:
    import numpy as np

    field = np.arange(700 * 300, dtype=np.float64).reshape(700, 300)
    write_pyramid(tmp_path, "surface", field)
    part, rows, columns = read_tile(tmp_path, "surface", 0, 2, 1)
    assert (rows, columns) == (700 - 512, 300 - 256)
    np.testing.assert_array_equal(part, field[::-1][512:, 256:].astype(np.float32))
    np.testing.assert_allclose(halved(np.array([[0, 2], [4, 6]], np.float32)), [[3.0]])
    for level, row, column in ((9, 0, 0), (0, 5, 0), (0, 0, -1)):
        with pytest.raises(DataError):
            read_tile(tmp_path, "surface", level, row, column)
