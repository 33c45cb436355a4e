"""Turns by person, what is cleared first, and what is refused before it starts."""

from __future__ import annotations

import pytest

from planish.errors import DataError
from planish.web.costs import check_die, check_job, check_lot
from planish.web.fair import FairQueue
from planish.web.kept import Job, to_clear
from planish.web.limits import GB, Limits, machine_memory, resident, side_by_side


def order(queue: FairQueue[str]) -> list[str]:
    found = []
    while (taken := queue.take()) is not None:
        found.append(taken[1])
    return found


def test_people_take_turns_however_much_one_has_asked_for() -> None:
    queue: FairQueue[str] = FairQueue()
    for item in ("a1", "a2", "a3", "a4"):
        queue.put("ada", item)
    queue.put("bob", "b1")
    queue.put("cem", "c1")
    queue.put("bob", "b2")
    assert len(queue) == 7
    assert queue.waiting("ada") == 4
    assert order(queue) == ["a1", "b1", "c1", "a2", "b2", "a3", "a4"]
    assert len(queue) == 0


def test_who_may_not_is_passed_over_and_keeps_the_turn() -> None:
    queue: FairQueue[str] = FairQueue()
    queue.put("ada", "a1")
    queue.put("bob", "b1")
    assert queue.take(lambda owner: owner != "ada") == ("bob", "b1")
    assert queue.take(lambda owner: owner != "ada") is None
    assert queue.take() == ("ada", "a1")


def test_what_is_dropped_never_comes() -> None:
    queue: FairQueue[str] = FairQueue()
    for owner, item in (("ada", "x"), ("bob", "x"), ("ada", "y")):
        queue.put(owner, item)
    queue.drop("x")
    assert order(queue) == ["y"]


def job(owner: str, made: float, size: int, state: str = "done") -> Job:
    return Job(f"{owner}{made}", "lot", "", owner, state=state, made=made, size=size)


def test_the_person_who_holds_most_gives_first_the_oldest_first() -> None:
    jobs = [job("ada", 1, 10), job("bob", 2, 40), job("bob", 3, 50), job("ada", 4, 10), job("bob", 5, 9)]
    assert to_clear(jobs, 200) == []
    assert [j.made for j in to_clear(jobs, 100)] == [2]
    assert [j.made for j in to_clear(jobs, 60)] == [2, 3]
    assert to_clear([job("ada", 1, 500, "running")], 100) == [], "nothing is taken from under a run"


def with_steps(count: int) -> dict:
    return {"recipe": {"step": [{}] * count}}


def test_a_lot_that_cannot_end_in_its_time_is_refused() -> None:
    minute = Limits(60.0, GB)
    check_lot(with_steps(3), 500, minute)
    with pytest.raises(DataError, match=r"wafers = 500: must be at most 150 with 200 steps"):
        check_lot(with_steps(200), 500, minute)
    for odd in ({}, {"recipe": 3}, {"recipe": {"step": "no"}}):
        check_lot(odd, 500, minute)  # the setup itself is checked elsewhere


def test_a_die_that_cannot_fit_is_refused_and_the_cell_that_fits_is_named() -> None:
    limits = Limits(600.0, GB)
    check_die(20e-6, 26e-3, limits)
    with pytest.raises(DataError, match=r"cell_um = 5: must be .* or more .* need more than 1 GB"):
        check_die(5e-6, 33e-3, limits)
    with pytest.raises(DataError, match="take longer than 1 s"):
        check_die(20e-6, 33e-3, Limits(1.0, 100 * GB))
    with pytest.raises(DataError) as said:
        check_job("die", {"cell_um": 5, "size_mm": 33}, limits)
    named = float(str(said.value).split("must be ")[1].split()[0])
    check_die((named + 0.1) * 1e-6, 33e-3, limits)
    check_job("die", {"cell_um": 5, "size_mm": 33, "file": "x"}, limits)  # its size shows when it is read


def test_the_machine_is_read_sensibly() -> None:
    import os

    assert 2 <= side_by_side() <= 8
    assert machine_memory() > 100_000_000
    held = resident(os.getpid())
    assert held is None or 1_000_000 < held < machine_memory()
    assert resident(2**30) is None
