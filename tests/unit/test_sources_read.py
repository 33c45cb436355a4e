"""The register of sources that were read, and the marks that lean on it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest

DOCS = Path(__file__).resolve().parents[2] / "docs"


@pytest.fixture(scope="module")
def marks() -> Any:
    sys.path.insert(0, str(DOCS))
    try:
        from generate import sources
    finally:
        sys.path.remove(str(DOCS))
    return sources


def test_every_source_of_the_register_is_named_by_a_line(marks: Any) -> None:
    labels = [one.label for one in marks.read_sources()]
    assert len(labels) == len(set(labels))
    used = {one.label for one in marks.used_sources()}
    assert sorted(set(labels) - used) == []
    for one in marks.read_sources():
        assert one.how in marks.HOW, one.label
        assert one.what.strip(), one.label
        assert one.says.strip(), one.label


def test_every_quotation_names_a_source_of_the_register(marks: Any) -> None:
    labels = {one.label for one in marks.read_sources()}
    quoted = marks.quoted_in()
    assert len(quoted) > 30
    assert {name: files for name, files in quoted.items() if name not in labels} == {}
    quoting = {one.label for one in marks.read_sources() if one.how == "quoting"}
    assert sorted(quoting - set(quoted)) == []


def test_counts_are_of_marks_and_not_of_words_about_them(marks: Any, tmp_path: Path) -> None:
    (tmp_path / "docs").mkdir()
    (tmp_path / "src" / "planish" / "web").mkdir(parents=True)
    (tmp_path / "README.md").write_text(
        "Many were written **from memory** and not checked.\n", encoding="utf-8"
    )
    (tmp_path / "src" / "planish" / "web" / "door.py").write_text("# RFC 1 (from memory)\n", encoding="utf-8")
    (tmp_path / "src" / "planish" / "law.py").write_text(
        '"""Return it from memory, from disk."""\nSOURCES = ("A 1900 (from memory)",)\n', encoding="utf-8"
    )
    assert marks.memory_marks(tmp_path) == ['src/planish/law.py: SOURCES = ("A 1900 (from memory)",)']


def test_most_statements_are_no_longer_from_memory(marks: Any) -> None:
    left = len(marks.memory_marks())
    assert left <= 0.4 * marks.MEMORY_BEFORE
    assert f"{left} statements from memory (were {marks.MEMORY_BEFORE})" in marks.reading_line()


def test_a_line_is_sorted_by_how_it_was_read(marks: Any) -> None:
    assert marks.standing("Preston (read as quoted in B)") == "read as another text quotes it"
    assert marks.standing("B, table 1 (read)") == "read"
    assert marks.standing("B (abstract read)") == "read as an abstract only"
    assert marks.standing("steps in series: derived here") == "our own derivation, rule or computation"
    assert marks.standing("A (from memory); B (read)") == "cited from memory, not checked against the paper"
