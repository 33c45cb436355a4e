"""Worker processes: limits, deaths, cancelling, turns and shared answers, with real processes and small work."""

from __future__ import annotations

import asyncio
import os
import sys
import time

import pytest

from planish.web.child import CutOff
from planish.web.limits import GB, Limits, resident
from planish.web.pool import Pool, Task
from planish.web.workers import Refused, Workers

WORK = """
import mmap, os, time

def noted(path, word, seconds=0.0):
    with open(path, "a") as book:
        book.write(word + "\\n")
    time.sleep(seconds)
    return word

def touched(size):
    # shared memory is no data segment: the system's own bound does not see it
    held = mmap.mmap(-1, size)
    for at in range(0, size, 4096):
        held[at] = 1
    time.sleep(60)

def died(signal):
    os.kill(os.getpid(), signal)
"""
PLENTY = Limits(30.0, GB)
LINUX = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="looks at memory in /proc")


@pytest.fixture
def make(tmp_path, monkeypatch):
    """Workers whose processes can run the functions above; ended after the test."""
    (tmp_path / "small_work.py").write_text(WORK)
    monkeypatch.syspath_prepend(str(tmp_path))
    made = []

    def workers(size: int = 1, limits: Limits = PLENTY, each: int | None = None, grace: float = 0.1):
        found = Workers()
        found.pools = {"slow": Pool(size, limits, each=each, grace=grace)}
        made.append(found)
        return found

    yield workers
    for one in made:
        one.stop()


async def ask(workers: Workers, name: str, *arguments, module: str = "small_work", **more):
    return await workers.ask("slow", name, *arguments, module=module, **more)


async def pid_of(workers: Workers) -> int:
    workers._kept.clear()  # who answers may change, which a kept answer would not tell
    return await ask(workers, "getpid", module="os", owner="who")


async def until(true, patience: float = 30.0) -> None:
    end = time.monotonic() + patience
    while not true():
        assert time.monotonic() < end, "it never happened"
        await asyncio.sleep(0.02)


def lines(path) -> list[str]:
    return path.read_text().splitlines() if path.exists() else []


def test_work_over_its_time_is_ended_and_the_next_goes_on(make) -> None:
    workers = make(limits=Limits(1.0, GB))

    async def both():
        slow = asyncio.create_task(ask(workers, "sleep", 60, module="time"))
        other = asyncio.create_task(ask(workers, "getpid", module="os", owner="bob"))
        with pytest.raises(CutOff, match=r"^took longer than 1 s; ask for less$"):
            await slow
        return await other, await ask(workers, "getcwd", module="os")

    pid, _ = asyncio.run(both())
    assert pid != os.getpid()


@LINUX
def test_memory_that_is_only_asked_for_is_refused_and_the_worker_lives_on(make) -> None:
    workers = make()

    async def story():
        before = await pid_of(workers)
        with pytest.raises(Refused, match=r"needed more than 1 GB of memory; ask for less"):
            await ask(workers, "bytearray", 3 * GB, module="builtins")
        assert await pid_of(workers) == before

    asyncio.run(story())


@LINUX
def test_memory_past_the_system_s_bound_is_seen_and_the_worker_is_made_anew(make) -> None:
    workers = make(limits=Limits(60.0, 200_000_000))

    async def story():
        with pytest.raises(CutOff, match=r"needed more than 0.2 GB of memory; ask for less"):
            await ask(workers, "touched", GB)
        return await pid_of(workers)

    pid = asyncio.run(story())
    assert (resident(pid) or 0) < 200_000_000


@pytest.mark.parametrize(("number", "words"), [(9, "may have needed more than"), (11, "ended early")])
def test_a_process_that_dies_takes_only_its_own_work_along(make, number, words) -> None:
    workers = make(size=2)

    async def story():
        other = asyncio.create_task(ask(workers, "sleep", 2, module="time", owner="bob"))
        with pytest.raises(CutOff, match=words):
            await ask(workers, "died", number, owner="ada")
        assert await other is None
        return await pid_of(workers)

    assert asyncio.run(story()) > 0


def test_a_worker_that_died_while_idle_is_replaced_unseen(make) -> None:
    workers = make()

    async def story():
        pid = await pid_of(workers)
        os.kill(pid, 9)
        await until(
            lambda: (
                not os.path.exists(f"/proc/{pid}") or not next(iter(workers.pools["slow"]._children)).alive()
            )
        )
        assert await pid_of(workers) != pid

    asyncio.run(story())


def test_questions_are_answered_in_turn_by_person(make, tmp_path) -> None:
    workers, book = make(), tmp_path / "book"

    async def story():
        first = asyncio.create_task(ask(workers, "noted", str(book), "first", 0.5, owner="ada"))
        await until(lambda: lines(book) == ["first"])
        waiting = []
        for owner, word in (("ada", "a1"), ("ada", "a2"), ("ada", "a3"), ("bob", "b1"), ("cem", "c1")):
            waiting.append(asyncio.create_task(ask(workers, "noted", str(book), word, owner=owner)))
            await asyncio.sleep(0)
        await asyncio.gather(first, *waiting)

    asyncio.run(story())
    assert lines(book) == ["first", "a1", "b1", "c1", "a2", "a3"]


def test_one_person_cannot_hold_every_worker(make, tmp_path) -> None:
    workers, book = make(size=2, each=1), tmp_path / "book"

    async def story():
        holding = [
            asyncio.create_task(ask(workers, "noted", str(book), f"a{i}", 3.0, owner="ada")) for i in range(3)
        ]
        await until(lambda: lines(book) == ["a0"])
        await ask(workers, "noted", str(book), "b", owner="bob")
        assert lines(book) == ["a0", "b"]
        for task in holding:
            task.cancel()

    asyncio.run(story())


def test_one_question_of_several_people_is_answered_once_and_kept(make, tmp_path) -> None:
    workers, book = make(), tmp_path / "book"

    async def story():
        asked = [ask(workers, "noted", str(book), "x", 0.3, owner=f"p{i}") for i in range(5)]
        assert await asyncio.gather(*asked) == ["x"] * 5
        assert await ask(workers, "noted", str(book), "x", 0.3, owner="late") == "x"

    asyncio.run(story())
    assert lines(book) == ["x"]


def test_who_leaves_a_shared_question_does_not_take_it_from_others(make, tmp_path) -> None:
    workers, book = make(), tmp_path / "book"

    async def story():
        one = asyncio.create_task(ask(workers, "noted", str(book), "x", 1.0, owner="ada"))
        two = asyncio.create_task(ask(workers, "noted", str(book), "x", 1.0, owner="bob"))
        await until(lambda: lines(book) == ["x"])
        one.cancel()
        assert await two == "x"

    asyncio.run(story())


def test_a_refusal_is_not_kept(make) -> None:
    workers = make()

    async def story():
        for _ in range(2):
            with pytest.raises(Refused, match="ValueError"):
                await ask(workers, "int", "no number", module="builtins")

    asyncio.run(story())
    assert not workers._kept


def test_work_that_nobody_waits_for_is_ended_and_the_worker_is_free(make, tmp_path) -> None:
    workers, book = make(), tmp_path / "book"

    async def story():
        gone = asyncio.create_task(ask(workers, "noted", str(book), "gone", 60.0, owner="ada"))
        never = asyncio.create_task(ask(workers, "noted", str(book), "never", owner="ada"))
        await until(lambda: lines(book) == ["gone"])
        never.cancel()
        gone.cancel()
        assert await ask(workers, "noted", str(book), "next", owner="ada") == "next"

    asyncio.run(story())
    assert lines(book) == ["gone", "next"], "a question given up while it waits never starts"


def test_the_newest_question_of_a_person_wins(make, tmp_path) -> None:
    workers, book = make(), tmp_path / "book"

    async def story():
        old = asyncio.create_task(
            ask(workers, "noted", str(book), "old", 60.0, owner="ada", newest="page lot")
        )
        await until(lambda: lines(book) == ["old"])
        other = asyncio.create_task(ask(workers, "noted", str(book), "die", owner="ada", newest="page die"))
        new = asyncio.create_task(ask(workers, "noted", str(book), "new", owner="ada", newest="page lot"))
        bob = asyncio.create_task(ask(workers, "noted", str(book), "bob", owner="bob", newest="page lot"))
        with pytest.raises(Refused, match="newer question"):
            await old
        assert await asyncio.gather(other, new, bob) == ["die", "new", "bob"]
        assert not workers._newest

    asyncio.run(story())


def test_stopping_ends_the_processes_and_what_waits(make) -> None:
    workers = make()

    async def story():
        pid = await pid_of(workers)
        running = asyncio.create_task(ask(workers, "sleep", 60, module="time"))
        await asyncio.sleep(0.3)
        waiting = asyncio.create_task(ask(workers, "sleep", 61, module="time"))
        await asyncio.sleep(0.1)
        await asyncio.to_thread(workers.stop)
        for task in (running, waiting):
            with pytest.raises((CutOff, Refused)):
                await task
        return pid

    pid = asyncio.run(story())
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)


def test_a_pool_whose_workers_cannot_start_says_so(monkeypatch) -> None:
    from planish.web import pool as module

    def broken(*_arguments):
        raise OSError("no more processes")

    monkeypatch.setattr(module, "Child", broken)
    pool, task = Pool(1, Limits(1.0, GB)), Task("os", "getpid", ())
    pool.put("ada", task)
    with pytest.raises(CutOff, match="cannot start a worker"):
        task.answer.result(timeout=30)
    pool.stop()


def test_an_answer_that_would_flood_the_server_is_refused(make, monkeypatch) -> None:
    workers = make()
    with pytest.raises(Refused, match="the answer would be larger than 64 MiB"):
        asyncio.run(ask(workers, "bytes", 70 * 2**20, module="builtins"))


def test_who_closes_the_connection_has_asked_for_nothing() -> None:
    from fastapi import HTTPException

    from planish.web.ask import _unless_gone

    ended = []

    class Request:
        def __init__(self, words):
            self.words = words

        async def receive(self):
            if not self.words:
                await asyncio.Event().wait()
            return {"type": self.words.pop(0)}

    async def answer(seconds):
        try:
            await asyncio.sleep(seconds)
        except asyncio.CancelledError:
            ended.append("cancelled")
            raise
        return "answer"

    async def story():
        with pytest.raises(HTTPException):
            await _unless_gone(Request(["http.request", "http.disconnect"]), answer(60))
        assert ended == ["cancelled"]
        assert await _unless_gone(Request(["http.request"]), answer(0.01)) == "answer"

    asyncio.run(story())


def test_what_workers_load_beforehand_is_there() -> None:
    """A function that is misspelt would show only as a slow first answer."""
    from planish.web.inside import call

    for pool in Workers().pools.values():
        assert pool.warm is not None
        assert call(*pool.warm, ()) == (True, "ready")
