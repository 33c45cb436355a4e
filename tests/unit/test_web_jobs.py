"""Long jobs: what a killed server left is told as it was, nobody loses results to others, stopping stops."""

from __future__ import annotations

import json
import os
import time
from pathlib import Path

import pytest

from planish.errors import DataError
from planish.jobs.exchange import fresh
from planish.web import jobs as module
from planish.web import kept
from planish.web.jobs import Job, Jobs
from planish.web.limits import GB, Limits

TEN_MINUTES = Limits(600.0, GB)


def left(folder: Path, number: int, state: str, files: dict[str, bytes], marker: bool, **more) -> Path:
    """Leave a job on disk as a server that is gone would."""
    place = folder / f"{number:016x}"
    place.mkdir(parents=True)
    told = {
        "id": place.name,
        "kind": "lot",
        "title": "t",
        "owner": "ada",
        "state": state,
        "made": number,
        **more,
    }
    (place / "job.json").write_text(json.dumps(told))
    for name, content in files.items():
        (place / name).write_bytes(content)
    if marker:
        kept.write_marker(place)
    return place


def wait(true, words: str = "it never happened") -> None:
    end = time.monotonic() + 60.0
    while not true():
        assert time.monotonic() < end, words
        time.sleep(0.02)


def test_a_whole_answer_is_found_though_job_json_says_running(tmp_path) -> None:
    left(tmp_path, 1, "running", {"answer.bin": b"1234", "table.csv": b"a"}, marker=True)
    jobs = Jobs(tmp_path)
    job = jobs.get(f"{1:016x}", "ada")
    assert (job.state, job.share, job.size) == ("done", 1.0, 5)
    assert json.loads((jobs.place(job) / "job.json").read_text())["state"] == "done"


@pytest.mark.parametrize("state", ["running", "waiting"])
def test_what_was_cut_off_has_failed_and_is_swept(tmp_path, state) -> None:
    place = left(tmp_path, 1, state, {"answer.bin": b"12", ".answer.bin.x.part": b"1"}, marker=False)
    job = Jobs(tmp_path).get(place.name)
    assert job.state == "failed"
    assert job.message.endswith("ran" if state == "running" else "waited")
    assert [path.name for path in place.iterdir()] == ["job.json"]


def test_a_marker_that_does_not_agree_with_the_files_is_none(tmp_path) -> None:
    place = left(tmp_path, 1, "running", {"answer.bin": b"1234"}, marker=True)
    (place / "answer.bin").write_bytes(b"12")
    assert Jobs(tmp_path).get(place.name).state == "failed"


def test_folders_without_a_job_go_and_foreign_ones_stay(tmp_path) -> None:
    (tmp_path / f"{7:016x}").mkdir(parents=True)
    (tmp_path / f"{7:016x}" / "answer.bin").write_bytes(b"1")
    (tmp_path / "notes").mkdir()
    broken = left(tmp_path, 8, "done", {"answer.bin": b"1"}, marker=True)
    (broken / "job.json").write_text("no json")
    assert Jobs(tmp_path).of("ada") == []
    assert sorted(path.name for path in tmp_path.iterdir()) == [broken.name, "notes"]


def test_a_job_of_an_older_server_is_still_read(tmp_path) -> None:
    place = left(tmp_path, 1, "done", {"answer.bin": b"1234"}, marker=False, no_longer_known=3)
    job = Jobs(tmp_path).get(place.name)
    assert (job.state, job.size) == ("done", 4)


def test_nobody_s_results_go_for_another_s_many(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(module, "KEPT", 3)
    left(tmp_path, 1, "done", {"answer.bin": b"x"}, marker=True, owner="bob")
    for number in range(2, 9):
        left(tmp_path, number, "done", {"answer.bin": b"x"}, marker=True)
    jobs = Jobs(tmp_path)
    assert [job.made for job in jobs.of("ada")] == [8, 7, 6]
    assert [job.made for job in jobs.of("bob")] == [1]


def test_the_disk_is_bounded_and_what_went_is_told(tmp_path) -> None:
    left(tmp_path, 1, "done", {"answer.bin": b"x" * 300}, marker=True, owner="bob")
    for number in (2, 3, 4):
        left(tmp_path, number, "done", {"answer.bin": b"x" * 400}, marker=True)
    jobs = Jobs(tmp_path, disk=1200)
    assert [job.state for job in jobs.of("ada")] == ["done", "done", "cleared"]
    assert "to make room" in jobs.of("ada")[-1].message
    assert [job.state for job in jobs.of("bob")] == ["done"]
    assert [path.name for path in (tmp_path / f"{2:016x}").iterdir()] == ["job.json"]
    assert [job.state for job in Jobs(tmp_path, disk=1200).of("ada")] == ["done", "done", "cleared"]


def test_what_cannot_end_within_the_limits_is_refused_and_leaves_nothing(tmp_path) -> None:
    jobs = Jobs(tmp_path, limits=Limits(5.0, GB))
    with pytest.raises(DataError, match="wafers = 5000: must be at most"):
        jobs.start("lot", "", "ada", {"document": fresh("rotary"), "wafers": 5000})
    with pytest.raises(DataError, match="cell_um = 5: must be"):
        jobs.start("die", "", "ada", {"document": fresh("rotary"), "cell_um": 5, "size_mm": 33})
    assert jobs.of("ada") == []
    assert list(tmp_path.iterdir()) == []


def test_a_job_that_cannot_be_written_down_is_refused(tmp_path) -> None:
    (tmp_path / "jobs").write_text("a file where the folder should be")
    jobs = Jobs(tmp_path / "jobs")
    with pytest.raises(DataError, match="cannot be written down"):
        jobs.start("lot", "", "ada", {"document": fresh("rotary"), "wafers": 3})
    assert jobs.of("ada") == []


def test_an_end_that_cannot_be_written_down_is_told(tmp_path, monkeypatch) -> None:
    jobs = Jobs(tmp_path, at_once=1)

    def full(place, job):
        if not job.open:
            raise DataError(f"job {job.id}: cannot be written down (no space)")

    monkeypatch.setattr(kept, "keep", full)
    job = jobs.start("lot", "", "ada", {"document": {}, "wafers": 3})
    wait(lambda: job.state == "failed")
    assert "cannot be written down (no space); it will be lost when the server stops" in job.message
    jobs.close()


@pytest.fixture
def slow_jobs(tmp_path, monkeypatch):
    """Jobs that run one at a time and take long: their processes note that they began, and sleep."""
    (tmp_path / "slow_job.py").write_text(
        "import json, os, time\n"
        "def work(channel, kind, options, folder, memory):\n"
        "    with open(options['book'], 'a') as book:\n"
        "        book.write(f\"{options['word']} {os.getpid()}\\n\")\n"
        "    open(folder + '/answer.bin', 'w').write('half')\n"
        "    time.sleep(options['seconds'])\n"
        "    channel.send_bytes(json.dumps(['done', '']).encode())\n"
    )
    monkeypatch.syspath_prepend(str(tmp_path))
    import importlib

    monkeypatch.setattr(module, "work", importlib.import_module("slow_job").work)
    made = Jobs(tmp_path / "jobs", at_once=1, limits=TEN_MINUTES)
    book = tmp_path / "book"

    def start(owner: str, word: str, seconds: float = 60.0) -> Job:
        return made.start(
            "lot", word, owner, {"book": str(book), "word": word, "seconds": seconds, "wafers": 1}
        )

    def began() -> list[str]:
        return [line.split()[0] for line in book.read_text().splitlines()] if book.exists() else []

    made.begin, made.began, made.book = start, began, book
    yield made
    made.close()


def gone(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    return False


def test_stopping_ends_the_process_and_one_that_waits_never_starts(slow_jobs) -> None:
    running, waiting = slow_jobs.begin("ada", "running"), slow_jobs.begin("ada", "waiting")
    wait(lambda: slow_jobs.began() == ["running"])
    pid = int(slow_jobs.book.read_text().split()[1])
    slow_jobs.stop(waiting)
    slow_jobs.stop(running)
    last = slow_jobs.begin("ada", "last", 0.0)
    wait(lambda: last.state == "done")
    assert gone(pid)
    assert slow_jobs.began() == ["running", "last"]
    assert (running.state, waiting.state) == ("stopped", "stopped")
    assert [path.name for path in slow_jobs.place(running).iterdir()] == ["job.json"]


def test_people_take_turns_with_jobs(slow_jobs) -> None:
    first = slow_jobs.begin("ada", "a0", 1.0)
    wait(lambda: slow_jobs.began() == ["a0"])
    rest = [
        slow_jobs.begin(owner, word, 0.0) for owner, word in (("ada", "a1"), ("ada", "a2"), ("bob", "b1"))
    ]
    wait(lambda: all(job.state == "done" for job in (first, *rest)))
    assert slow_jobs.began() == ["a0", "a1", "b1", "a2"]


def test_a_server_that_stops_says_so_and_leaves_no_process(slow_jobs, tmp_path) -> None:
    running, waiting = slow_jobs.begin("ada", "running"), slow_jobs.begin("bob", "waiting")
    wait(lambda: slow_jobs.began() == ["running"])
    pid = int(slow_jobs.book.read_text().split()[1])
    slow_jobs.close()
    assert gone(pid)
    again = Jobs(tmp_path / "jobs")
    assert again.get(running.id).message == "the server was stopped while this ran"
    assert again.get(waiting.id).message == "the server was stopped while this waited"


def test_a_job_over_its_time_is_ended(slow_jobs) -> None:
    slow_jobs.limits = Limits(1.0, GB)
    job = slow_jobs.begin("ada", "long")
    wait(lambda: job.state == "failed")
    assert job.message == "took longer than 1 s; ask for less"


def test_an_own_layout_is_read_within_the_limits_of_quick_work(slow_jobs, monkeypatch) -> None:
    monkeypatch.setattr(module, "READING", Limits(1.0, GB))
    options = {"book": str(slow_jobs.book), "word": "layout", "seconds": 60.0, "file": "some.gds"}
    job = slow_jobs.start("die", "", "ada", options)
    wait(lambda: job.state == "failed")
    assert job.message == "took longer than 1 s; ask for less"
