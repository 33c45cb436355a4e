"""Books that are only added to: what was changed, taken out, cut off or never finished is seen; nothing stops them."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from planish.web import book as books
from planish.web.book import Book, NotWritten, plain
from planish.web.log import Approvals, Log


@pytest.fixture
def book(tmp_path):
    made = Approvals(tmp_path / "approvals.jsonl")
    for note in ("first", "second", "third"):
        made.approve("ada", "0123", "abc", "a setup", note)
    return made


def notes_of(book: Book) -> list[str]:
    return [entry["note"] for entry in book.read().entries]


def test_a_whole_book_says_so_and_is_private(book) -> None:
    assert book.read().whole
    assert notes_of(book) == ["first", "second", "third"]
    assert {path.stat().st_mode & 0o777 for path in book.path.parent.iterdir()} == {0o600}


def test_a_changed_line_is_seen(book) -> None:
    text = book.path.read_text()
    book.path.write_text(text.replace("second", "other"))
    assert "line 2" in book.read().reasons[0]
    book.path.write_text("\n".join(text.splitlines()[1:]) + "\n")
    assert not book.read().whole


def test_a_cut_off_end_is_seen_and_stays_seen(book) -> None:
    """The hashes of what is left are right; only the count tells. The next entry must not heal it."""
    lines = book.path.read_text().splitlines()
    book.path.write_text("\n".join(lines[:1]) + "\n")
    assert book.read().reasons == ["2 entries fewer than were written: the end was cut off"]
    book.approve("ada", "0123", "abc", "a setup", "fourth")
    again = book.read()
    assert notes_of(book) == ["first", "fourth"]
    assert len(again.reasons) == 2
    for note in ("5", "6", "7"):
        book.approve("ada", "0123", "abc", "a setup", note)
    assert not book.read().whole


@pytest.mark.parametrize("kept", [1, 40, -2])
def test_a_torn_last_line_is_survived(book, kept) -> None:
    """As a killed write leaves it: a piece of the line, not counted."""
    line = json.dumps({"at": "now", "note": "torn", "before": "x", "hash": "y"})
    with book.path.open("a") as file:
        file.write(line[:kept])
    found = book.read()
    assert found.whole
    assert len(found.notes) == 1
    book.approve("ada", "0123", "abc", "a setup", "fourth")
    found = book.read()
    assert notes_of(book) == ["first", "second", "third", "fourth"]
    assert found.whole, found.reasons
    assert "line 4" in found.notes[0]


def test_a_line_without_its_count_is_an_entry(book, monkeypatch) -> None:
    """Killed between the two writes: the line is on the disk, the count is one behind."""
    monkeypatch.setattr(Book, "_count", lambda *_: None)
    book.approve("ada", "0123", "abc", "a setup", "fourth")
    monkeypatch.undo()
    assert book.read().whole
    book.approve("ada", "0123", "abc", "a setup", "fifth")
    assert book.read().whole
    assert notes_of(book)[-2:] == ["fourth", "fifth"]


def test_a_missing_count_is_told_unless_the_book_is_older(book) -> None:
    book.beside.unlink()
    assert book.read().reasons == ["the count beside the book is missing"]
    assert book.adopt()
    assert book.read().whole
    assert not book.adopt()


@pytest.mark.parametrize("content", [b"", b"{", b"null", b'{"lines": "x"}', b"\xff"])
def test_a_damaged_count_stops_nothing(book, content) -> None:
    book.beside.write_bytes(content)
    assert not book.read().whole
    book.approve("ada", "0123", "abc", "a setup", "fourth")
    assert notes_of(book)[-1] == "fourth"


def test_odd_bytes_are_no_entries_and_no_error(book) -> None:
    with book.path.open("ab") as file:
        file.write(b"\xff\xfe\n[1]\n" + b"[" * 100_000 + b"\nnull\n{}\n")
    found = book.read()
    assert notes_of(book) == ["first", "second", "third"]
    assert found.whole
    assert len(found.notes) == 5


WRITE_MANY = """
import sys
from pathlib import Path
from planish.web.book import Book
for turn in range(20):
    Book(Path(sys.argv[1])).add({"note": f"{sys.argv[2]} {turn}"})
"""


def test_two_processes_write_one_book(tmp_path) -> None:
    path = tmp_path / "log.jsonl"
    writers = [subprocess.Popen([sys.executable, "-c", WRITE_MANY, str(path), word]) for word in "ab"]
    assert [writer.wait() for writer in writers] == [0, 0]
    found = Book(path).read()
    assert found.whole, found.reasons
    assert len(found.entries) == 40


def test_what_moves_a_cursor_is_spelled_out(tmp_path) -> None:
    """Control, format and surrogate characters and line breaks by the categories of the Unicode standard."""
    assert plain("a\x1b[2Jb\r\nc") == "a\\x1b[2Jb\\r\\nc"
    assert plain("Müller µ × 日本 5 %") == "Müller µ × 日本 5 %"
    for odd in ("\u202e", "\u2028", "\u200b", "\x9b", "\ud800", "\x00", "\ufeff"):
        assert plain(odd).startswith("\\")
    log = Log(tmp_path)
    log.note("sign-in failed", "ad\x1b]0;a\n\ud800", address="::1")
    entry = log.read(1)[0][0]
    assert entry["person"] == "ad\\x1b]0;a\\n\\ud800"
    assert log.read(0)[1].whole


def test_a_full_disk_is_said(book, monkeypatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(books.os, "fsync", full)
    with pytest.raises(NotWritten, match="free the disk"):
        book.approve("ada", "0123", "abc", "a setup", "fourth")
