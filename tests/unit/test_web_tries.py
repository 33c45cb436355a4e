"""How often a password may be tried: counted before it is hashed, by name and address, nobody kept out by others."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from planish.web.tries import LIMITS, WAITING, Line, TooMany, Tries, grouped


class Clock:
    now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def tries(clock):
    return Tries(clock)


def taken(tries: Tries, times: int, name: str = "ada", address: str = "10.0.0.1", device: str = "") -> int:
    """Return how many of so many tries were let through."""
    through = 0
    for _ in range(times):
        try:
            tries.take(name, address, device)
        except TooMany:
            continue
        through += 1
    return through


def test_tries_side_by_side_are_counted_before_any_has_failed(tries) -> None:
    with ThreadPoolExecutor(32) as pool:
        through = sum(pool.map(lambda _: taken(tries, 10), range(50)))
    assert through == LIMITS["pair"][0]


def test_an_address_is_limited_whatever_the_names(tries) -> None:
    assert sum(taken(tries, 1, f"name{i}") for i in range(100)) == LIMITS["address"][0]


def test_a_name_is_limited_over_many_addresses_that_have_failed(tries) -> None:
    through = sum(taken(tries, 5, address=f"10.0.{i}.1") for i in range(40))
    first_ones = 40 - LIMITS["name"][0] // 5  # one for each address after the name is full
    assert through == LIMITS["name"][0] + first_ones


def test_nobody_is_kept_out_by_others(tries) -> None:
    for i in range(40):
        taken(tries, 5, address=f"10.0.{i}.1")
    assert taken(tries, 1, address="10.9.9.9") == 1, "an address without failures"
    assert taken(tries, 1, address="10.0.0.1", device="known") == 1, "a known browser, even from there"


def test_a_known_browser_is_limited_by_itself(tries) -> None:
    assert taken(tries, 50, device="known") == LIMITS["device"][0]
    assert taken(tries, 1, device="other") == 1


def test_waiting_is_as_long_as_is_said(tries, clock) -> None:
    taken(tries, 5)
    with pytest.raises(TooMany) as refused:
        tries.take("ada", "10.0.0.1")
    assert refused.value.first
    clock.now += refused.value.wait - 1
    with pytest.raises(TooMany) as refused:
        tries.take("ada", "10.0.0.1")
    assert not refused.value.first, "told once"
    clock.now += refused.value.wait
    assert taken(tries, 50) == 5


def test_refused_tries_do_not_make_it_longer(tries, clock) -> None:
    taken(tries, 500)
    clock.now += 60
    assert taken(tries, 1) == 1


def test_a_right_password_clears_the_pair_but_not_the_address(tries) -> None:
    taken(tries, 4)
    tries.right(tries.take("ada", "10.0.0.1"))
    assert taken(tries, 10) == 5
    for _ in range(30):  # whoever has an account cannot buy more guesses at others with it
        taken(tries, 1, "other")
        with contextlib.suppress(TooMany):
            tries.right(tries.take("own", "10.0.0.1"))
    left = LIMITS["address"][0] - 4 - 5 - 5
    assert sum(taken(tries, 5, name) for name in ("third", "fourth", "fifth")) == left


def test_a_try_given_back_is_not_counted(tries) -> None:
    for _ in range(50):
        tries.give_back(tries.take("ada", "10.0.0.1"))
    assert taken(tries, 50) == 5


def test_what_is_over_is_forgotten(tries, clock) -> None:
    for i in range(500):
        tries.give_back(tries.take(f"name{i}", f"10.0.{i % 250}.1"))
        taken(tries, 1, f"name{i}", f"10.1.{i % 250}.1")
    clock.now += 3600
    taken(tries, 1)
    assert len(tries._tried) == 3


def test_addresses_are_grouped_as_people_hold_them() -> None:
    assert grouped("10.1.2.3") == "10.1.2.3"
    assert grouped("2001:db8:1:2:3:4:5:6") == grouped("2001:db8:1:2::1")
    assert grouped("2001:db8:1:3::1") != grouped("2001:db8:1:2::1")
    assert grouped("::ffff:10.1.2.3") == "10.1.2.3"
    assert grouped("fe80::1%eth0") == grouped("fe80::2%eth1")
    assert len(grouped("x" * 1000)) == 64


def test_the_line_holds_so_many_and_runs_one_at_a_time() -> None:
    running, most, go = [0], [0], threading.Event()

    def work() -> None:
        running[0] += 1
        most[0] = max(most[0], running[0])
        go.wait(10)
        running[0] -= 1

    async def crowd() -> list[object]:
        line = Line("test")
        asked = [asyncio.create_task(line.run(work)) for _ in range(100)]
        await asyncio.sleep(0.05)
        refused = [task for task in asked if task.done()]
        go.set()
        found = await asyncio.gather(*asked, return_exceptions=True)
        assert len(refused) == 100 - 1 - WAITING
        assert await line.run(lambda: 7) == 7, "there is room again"
        line.stop()
        return found

    found = asyncio.run(crowd())
    assert sum(isinstance(one, TooMany) for one in found) == 100 - 1 - WAITING
    assert most[0] == 1


def test_a_crowd_at_the_door_is_not_heard(tries, clock) -> None:
    """Above so many requests from one address they are refused unread; the count goes on from the oldest."""
    waits = [tries.knock("10.0.0.1") for _ in range(200)]
    assert waits[: LIMITS["knock"][0]] == [0.0] * LIMITS["knock"][0]
    assert set(waits[LIMITS["knock"][0] :]) == {60.0}
    assert tries.knock("10.0.0.2") == 0.0
    clock.now += 60
    assert tries.knock("10.0.0.1") == 0.0
