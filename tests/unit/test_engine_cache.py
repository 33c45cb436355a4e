"""Arrays kept on disk: made once, read back the same, made again when damaged."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from planish.engine import cache
from planish.engine.cache import cache_folder, cached_arrays


class Maker:
    def __init__(self) -> None:
        self.calls = 0

    def __call__(self) -> dict[str, np.ndarray]:
        self.calls += 1
        return {"a": np.arange(5.0), "b": np.full((20, 20), 1 / 3)}


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("PLANISH_CACHE", str(tmp_path / "deep" / "store"))
    return tmp_path / "deep" / "store"


def check(arrays: dict[str, np.ndarray]) -> None:
    assert set(arrays) == {"a", "b"}
    np.testing.assert_array_equal(arrays["a"], np.arange(5.0))
    np.testing.assert_array_equal(arrays["b"], np.full((20, 20), 1 / 3))


def test_built_once_then_read(folder: Path) -> None:
    make = Maker()
    for _ in range(3):
        check(cached_arrays("one", make))
    assert make.calls == 1
    check(cached_arrays("two", make))
    assert make.calls == 2
    assert len(list(folder.iterdir())) == 2  # and no temporary file left


def _truncate(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-40])


def _flip(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 0xFF
    path.write_bytes(bytes(data))


def _other_key(path: Path) -> None:
    cached_arrays("other", lambda: {"a": np.zeros(2)})
    (other,) = [p for p in path.parent.iterdir() if p != path]
    other.replace(path)


@pytest.mark.parametrize(
    "damage",
    [
        _truncate,
        _flip,
        _other_key,
        lambda p: p.write_bytes(b""),
        lambda p: p.write_bytes(b"not a store at all"),
        lambda p: np.savez(p.open("wb"), a=np.zeros(3)),
        lambda p: np.save(p.open("wb"), np.zeros(3)),
    ],
)
def test_damaged_files_are_made_again(folder: Path, damage) -> None:
    make = Maker()
    cached_arrays("one", make)
    (path,) = folder.iterdir()
    damage(path)
    check(cached_arrays("one", make))
    assert make.calls == 2
    check(cached_arrays("one", make))
    assert make.calls == 2


def test_nowhere_to_write_still_works(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    blocked = tmp_path / "a-file"
    blocked.write_text("in the way")
    monkeypatch.setenv("PLANISH_CACHE", str(blocked / "store"))
    make = Maker()
    check(cached_arrays("one", make))
    check(cached_arrays("one", make))
    assert make.calls == 2


def test_a_failed_build_leaves_nothing(folder: Path) -> None:
    def fail() -> dict[str, np.ndarray]:
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        cached_arrays("one", fail)
    assert not folder.exists()


def test_folder_order(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PLANISH_CACHE", "/somewhere")
    assert cache_folder() == Path("/somewhere")
    monkeypatch.delenv("PLANISH_CACHE")
    monkeypatch.setenv("XDG_CACHE_HOME", "/general")
    assert cache_folder() == Path("/general/planish")
    monkeypatch.delenv("XDG_CACHE_HOME")
    assert cache_folder() == Path.home() / ".cache" / "planish"


def test_what_was_made_longest_ago_goes_when_there_is_too_much(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cache, "LOOK_EVERY", 1)
    monkeypatch.setattr(cache, "MOST_BYTES", 12_000)
    for number in range(6):
        cached_arrays(f"number {number}", lambda: {"a": np.zeros(400)})  # some 3,500 bytes each
        for path in folder.iterdir():
            os.utime(path, (path.stat().st_mtime - 10,) * 2)
    left = list(folder.iterdir())
    assert len(left) == 3
    make = Maker()
    cached_arrays("number 5", make)
    assert make.calls == 0
    cached_arrays("number 0", make)
    assert make.calls == 1
