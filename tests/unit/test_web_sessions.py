"""The table of sessions: what ends by time, how many there are, what a damaged table costs."""

from __future__ import annotations

import sqlite3

import pytest

from planish.web.sessions import IDLE, KNOWN, LONGEST, PER_PERSON, Sessions


@pytest.fixture
def clock():
    class Clock:
        now = 1e9

        def __call__(self) -> float:
            return self.now

    return Clock()


def test_sessions_end_by_time(tmp_path, clock) -> None:
    sessions = Sessions(tmp_path / "sessions.sqlite", clock)
    token = sessions.open("0123", "stamp")
    clock.now += IDLE + 1
    assert sessions.find(token) is None
    token, turns = sessions.open("0123", "stamp"), 0
    while (found := sessions.find(token)) is not None:
        sessions.touch(found)
        clock.now += IDLE / 2
        turns += 1
    assert turns == LONGEST // (IDLE / 2) + 1
    device = sessions.trust("0123")
    assert sessions.known(device, "0123")
    assert not sessions.known(device, "4567")
    clock.now += KNOWN + 1
    assert not sessions.known(device, "0123")
    sessions.close()
    Sessions(tmp_path / "sessions.sqlite", clock).close()
    table = sqlite3.connect(tmp_path / "sessions.sqlite")
    assert table.execute("select count(*) from sessions").fetchone() == (0,), "the start sweeps"
    assert table.execute("select count(*) from devices").fetchone() == (0,)


def test_a_person_has_so_many_sessions(tmp_path, clock) -> None:
    sessions = Sessions(tmp_path / "sessions.sqlite", clock)
    tokens = [sessions.open("0123", "stamp") for _ in range(PER_PERSON + 5)]
    assert [sessions.find(token) is not None for token in tokens] == [False] * 5 + [True] * PER_PERSON


def test_a_damaged_table_is_put_aside(tmp_path) -> None:
    path = tmp_path / "sessions.sqlite"
    path.write_bytes(b"no table at all " * 100)
    sessions = Sessions(path)
    assert "is damaged" in sessions.note
    assert sessions.find(sessions.open("0123", "stamp")) is not None
    assert {p.stat().st_mode & 0o777 for p in tmp_path.iterdir()} == {0o600}
