"""What lies in the data folder is for the server's user alone, whoever made it and whenever."""

from __future__ import annotations

import os
import stat
import subprocess
import sys

import pytest

from planish.errors import DataError
from planish.web import private
from planish.web.accounts import Accounts
from planish.web.private import private_folder, repair, write_private
from planish.web.uploads import Uploads


def open_to_others(folder) -> list[str]:
    return [
        str(path.relative_to(folder.parent))
        for path in [folder, *folder.rglob("*")]
        if not path.is_symlink() and path.lstat().st_mode & 0o077
    ]


@pytest.fixture
def loose():
    """A umask as most systems have it."""
    before = os.umask(0o022)
    yield
    os.umask(before)


def test_what_stood_open_is_shut_with_a_note(tmp_path, loose) -> None:
    folder = tmp_path / "bench"
    for name in ("people.json", "log.jsonl", "jobs/01/job.json", "files/a/b/data.csv", "sessions.sqlite"):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text("x")
    outside = tmp_path / "outside"
    outside.write_text("x")
    (folder / "link").symlink_to(outside)
    notes = repair(folder)
    assert len(notes) == 1
    assert "files or folders were open to others" in notes[0]
    assert open_to_others(folder) == []
    assert stat.S_IMODE(outside.stat().st_mode) == 0o644, "links are not followed"
    assert repair(folder) == []


def test_another_user_s_folder_is_refused(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(private.os, "geteuid", lambda: os.getuid() + 1)
    with pytest.raises(DataError, match="belongs to user"):
        private_folder(tmp_path / "bench")


def test_a_file_in_place_of_the_folder_is_refused(tmp_path) -> None:
    (tmp_path / "bench").write_text("")
    with pytest.raises(DataError, match="not a folder"):
        repair(tmp_path / "bench")


def test_writers_leave_nothing_open(tmp_path, loose) -> None:
    folder = tmp_path / "bench"
    Accounts(folder / "people.json").add("ada", "correct horse battery", "approve")
    Uploads(folder / "files").keep("ada", "sites.csv", b"x_mm,y_mm,thickness_nm\n0,0,1\n")
    write_private(folder / "jobs" / "x" / "job.json", b"{}")
    (folder / "jobs").chmod(0o700)
    assert open_to_others(folder) == []


def test_the_command_makes_a_private_folder(tmp_path, loose) -> None:
    folder = tmp_path / "parent" / "bench"
    command = [sys.executable, "-m", "planish.cli.main", "people", "add", "ada", "--data", str(folder)]
    done = subprocess.run(
        [*command, "--password-stdin"],
        input="correct horse battery\n",
        text=True,
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert open_to_others(folder) == []
    folder.chmod(0o755)
    subprocess.run([*command[:4], "list", "--data", str(folder)], check=True, capture_output=True)
    assert open_to_others(folder) == []


@pytest.mark.parametrize("typed", ["", "correct horse battery\n"])
def test_a_password_not_typed_twice_is_asked_for(tmp_path, typed) -> None:
    command = [
        sys.executable,
        "-m",
        "planish.cli.main",
        "people",
        "add",
        "ada",
        "--data",
        str(tmp_path / "b"),
    ]
    done = subprocess.run(command, input=typed, text=True, capture_output=True, check=False)
    assert done.returncode == 2
    assert "--password-stdin" in done.stderr
