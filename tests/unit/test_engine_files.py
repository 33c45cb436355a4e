"""Files and folders written whole: what a failed or killed writer leaves, and what takes it away."""

from __future__ import annotations

import os
import signal
import stat
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from planish.engine import files
from planish.engine.files import sweep, whole_file, whole_folder, write_whole

# Writes half of a file or a folder, says so, and waits to be killed.
CHILD = """
import sys, time
from pathlib import Path
from planish.engine.files import whole_file, whole_folder
how, target = sys.argv[1], Path(sys.argv[2])
if how == "file":
    with whole_file(target) as out:
        out.write(b"half")
        out.flush()
        print("writing", flush=True)
        time.sleep(120)
else:
    with whole_folder(target) as folder:
        (folder / "inner").write_bytes(b"half")
        print("writing", flush=True)
        time.sleep(120)
"""


def started(how: str, target: Path) -> subprocess.Popen[bytes]:
    child = subprocess.Popen([sys.executable, "-c", CHILD, how, str(target)], stdout=subprocess.PIPE)
    assert child.stdout is not None
    assert child.stdout.readline() == b"writing\n"
    return child


def killed(child: subprocess.Popen[bytes]) -> None:
    child.send_signal(signal.SIGKILL)
    child.wait()
    assert child.stdout is not None
    child.stdout.close()


def parts(folder: Path) -> list[str]:
    return [name for name in os.listdir(folder) if name.endswith(".part")]


def fails_in_a_folder(target: Path) -> None:
    with whole_folder(target) as folder:
        (folder / "b").write_bytes(b"second")
        raise ZeroDivisionError


def fails_in_a_file(path: Path) -> None:
    with whole_file(path) as out:
        out.write(b"new")
        raise ZeroDivisionError


@pytest.mark.parametrize("how", ["file", "folder"])
def test_what_a_killed_process_left_goes_with_the_next_write_and_not_before_it_is_dead(tmp_path, how):
    child = started(how, tmp_path / "result")
    try:
        assert len(parts(tmp_path)) == 1
        write_whole(tmp_path / "other", b"1")
        assert len(parts(tmp_path)) == 1, "a living process is still writing it"
    finally:
        killed(child)
    assert len(parts(tmp_path)) == 1
    assert not (tmp_path / "result").exists()
    write_whole(tmp_path / "other", b"2")
    assert parts(tmp_path) == []
    assert (tmp_path / "other").read_bytes() == b"2"


def test_a_dead_process_not_yet_waited_for_counts_as_dead(tmp_path):
    child = started("file", tmp_path / "result")
    child.send_signal(signal.SIGKILL)
    deadline = time.monotonic() + 30
    while Path(f"/proc/{child.pid}/stat").read_bytes().rpartition(b")")[2].split()[0] != b"Z":
        assert time.monotonic() < deadline
        time.sleep(0.01)
    sweep(tmp_path)
    assert parts(tmp_path) == []
    killed(child)


def test_another_process_with_the_number_of_a_dead_one_does_not_shield_its_part(tmp_path):
    child = started("file", tmp_path / "result")
    (mine,) = parts(tmp_path)
    try:
        head, _, tail = mine.partition(f"-{child.pid}-")
        start, _, rest = tail.partition("-")
        other = tmp_path / f"{head}-{child.pid}-{int(start) - 1}-{rest}"
        other.write_bytes(b"of a process that had this number before")
        sweep(tmp_path)
        assert parts(tmp_path) == [mine]
    finally:
        killed(child)


def test_parts_of_other_machines_go_when_they_are_a_day_old(tmp_path):
    kept = tmp_path / ".result.00000000-1-1-0123abcd.part"
    old = tmp_path / ".result.00000000-2-1-0123abcd.part"
    for path in (kept, old):
        path.write_bytes(b"x")
    past = time.time() - files.STRANGER_SECONDS - 60
    os.utime(old, (past, past))
    sweep(tmp_path)
    assert parts(tmp_path) == [kept.name]


def test_nothing_else_is_swept(tmp_path):
    names = [".result.part", "result.part", ".a.b-c-d-e.part", ".result.12345678-1-1-0123abcd.part.txt"]
    for name in names:
        (tmp_path / name).write_bytes(b"x")
    sweep(tmp_path)
    assert sorted(os.listdir(tmp_path)) == sorted(names)


def test_a_folder_comes_back_if_its_writer_died_between_the_two_renames(tmp_path, monkeypatch):
    target = tmp_path / "maps.zarr"
    with whole_folder(target) as folder:
        (folder / "a").write_bytes(b"first")
    dead = files._part(target, old=True)
    target.rename(tmp_path / dead.name.replace(f"-{os.getpid()}-", "-4194999-"))
    assert not target.exists()
    write_whole(tmp_path / "other", b"")
    assert (target / "a").read_bytes() == b"first"
    assert parts(tmp_path) == []


def test_a_folder_is_replaced_whole_or_not_at_all(tmp_path):
    target = tmp_path / "maps.zarr"
    with whole_folder(target) as folder:
        (folder / "a").write_bytes(b"first")
    with pytest.raises(ZeroDivisionError):
        fails_in_a_folder(target)
    assert os.listdir(target) == ["a"]
    with whole_folder(target) as folder:
        (folder / "b").write_bytes(b"second")
    assert os.listdir(target) == ["b"]
    assert os.listdir(tmp_path) == ["maps.zarr"]


def test_a_failed_block_leaves_the_file_as_it_was(tmp_path):
    path = tmp_path / "deep" / "a.txt"
    write_whole(path, "grüße\n")
    with pytest.raises(ZeroDivisionError):
        fails_in_a_file(path)
    assert path.read_text(encoding="utf-8") == "grüße\n"
    assert os.listdir(path.parent) == ["a.txt"]


def test_permissions_follow_the_mask_and_a_private_file_stays_private(tmp_path):
    write_whole(tmp_path / "open", b"x")
    write_whole(tmp_path / "private", b"x", mode=0o600)
    plain = tmp_path / "plain"
    plain.touch()
    assert (tmp_path / "open").stat().st_mode == plain.stat().st_mode
    assert stat.S_IMODE((tmp_path / "private").stat().st_mode) & 0o177 == 0


def test_a_new_file_does_not_replace_one(tmp_path):
    path = tmp_path / "key"
    write_whole(path, b"first", new=True)
    with pytest.raises(FileExistsError):
        write_whole(path, b"second", new=True)
    assert path.read_bytes() == b"first"
    assert os.listdir(tmp_path) == ["key"]


def test_names_as_long_as_the_system_takes(tmp_path):
    for name in ("n" * 255, "é" * 127):
        write_whole(tmp_path / name, b"x")
        assert (tmp_path / name).read_bytes() == b"x"
    assert parts(tmp_path) == []


def test_a_link_stays_a_link_and_what_it_names_is_written(tmp_path):
    (tmp_path / "kept").mkdir()
    target, link = tmp_path / "kept" / "there", tmp_path / "link"
    write_whole(target, b"old")
    link.symlink_to(target)
    write_whole(link, b"new")
    assert link.is_symlink()
    assert target.read_bytes() == b"new"


def test_permissions_of_a_file_that_is_there_are_kept_unless_fewer_are_asked_for(tmp_path):
    path = tmp_path / "mine"
    write_whole(path, b"old", mode=0o600)
    write_whole(path, b"new")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    path.chmod(0o644)
    write_whole(path, b"newer", mode=0o600)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_a_pipe_is_written_into_and_stays_a_pipe(tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    got: list[bytes] = []
    reader = threading.Thread(target=lambda: got.append(pipe.read_bytes()))
    reader.start()
    write_whole(pipe, b"content")
    reader.join(timeout=20)
    assert got == [b"content"]
    assert stat.S_ISFIFO(pipe.stat().st_mode)
    with pytest.raises(FileExistsError):
        write_whole(pipe, b"x", new=True)
