"""Qualifications and tests of equivalence that cannot be: refused in one line with place, value and remedy, exit code 2."""

from __future__ import annotations

import subprocess
import sys

import pytest

import planish
from planish.errors import DataError
from planish.hold.qualify.checklist import TEXT, read_checklist
from planish.hold.qualify.record import read_key

LINE = 'title = "t"\n[[check]]\nname = "a"\ncolumn = "x"\nlook = "mean"\n'
DATA = {"x": [1.0, 2.0, 1.5, 2.5], "p": ["a", "a", "b", "b"]}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "title = '': must be a text"),
        ('title = "t"', "[[check]] = 0: must be 1 to 200"),
        ("title = ", "is no TOML text"),
        (LINE, "neither is given: must be one at least"),
        (LINE + "low = 2\nhigh = 1", "low = 2.0: must be at most high (1)"),
        (LINE + 'low = "2"', "check 1: low = '2': must be a number"),
        (LINE + "low = nan", "check 1: low = nan: must be a number"),
        (LINE + "low = true", "check 1: low = True: must be a number"),
        (LINE + "low = 1\nlimit = 3", "key = 'limit': must be column, high"),
        (LINE + "low = 1\nlast = 0", "last = 0: must be a whole number"),
        (LINE.replace("mean", "median") + "low = 1", "look = 'median': must be one of mean"),
        (LINE.replace("mean", "settled") + "low = 1", "must be high alone, above 0"),
        (LINE.replace('"x"', "3") + "low = 1", "column = 3: must be a text"),
        (LINE + "low = 1\n" + LINE.split("\n", 1)[1] + "low = 1", "check 'a': is there twice"),
        (LINE + "low = 1\nunit = 3", "unit = 3: must be a text"),
        ('titel = "t"', "key = 'titel': must be title or [[check]]"),
        ("#" * 300_000, "at most 200000 bytes"),
    ],
)
def test_checklists(tmp_path, text, said):
    file = tmp_path / "c.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(DataError) as told:
        read_checklist(file)
    assert said in str(told.value)
    assert str(file) in str(told.value)
    assert "\n" not in str(told.value)


def test_a_checklist_that_is_not_there_says_how_to_get_one(tmp_path):
    with pytest.raises(DataError, match=r"hold checklist -o none\.toml"):
        read_checklist(tmp_path / "none.toml")


@pytest.mark.parametrize(
    ("data", "options", "said"),
    [
        ({"y": [1.0]}, {}, "must be the name of one of its columns"),
        ({"x": [float("nan"), float("nan")]}, {}, "no row holds a number|1 or more"),
        ({"x": [1.0]}, {"by": "  "}, "by = ' ': must be the name of who signs"),
        ({"x": [1.0]}, {"when": "today"}, "when = 'today': must be a time as ISO 8601"),
        ({"x": [1.0]}, {"when": "2026-03-01T10:00:00"}, "with its zone"),
        ({"x": [1.0]}, {"remark": "x" * 5000}, "remark = '5000 characters'"),
    ],
)
def test_qualifications(tmp_path, data, options, said):
    file = tmp_path / "c.toml"
    file.write_text(LINE + "low = 0", encoding="utf-8")
    with pytest.raises(DataError, match=said):
        planish.hold_qualify(data, file, **{"by": "A", **options})


def test_too_few_rows(tmp_path):
    file = tmp_path / "c.toml"
    file.write_text(LINE.replace("mean", "settled") + "high = 1\nlast = 5", encoding="utf-8")
    with pytest.raises(DataError, match=r"check 'a' \(column 'x'\) = 2: must be 5 or more"):
        planish.hold_qualify({"x": [1.0, 2.0]}, file, "A")
    with pytest.raises(DataError, match="mean of its rows is 0"):
        planish.hold_qualify({"x": [-2.0, -1.0, 0.0, 1.0, 2.0]}, file, "A")


@pytest.mark.parametrize("content", [b"", b"[]", b"{}", b"\xff\x00", b'{"format": "other"}', b"[" * 100_000])
def test_what_is_no_record(tmp_path, content):
    file = tmp_path / "r.json"
    file.write_bytes(content)
    with pytest.raises(DataError, match="is no record"):
        planish.read_qualification(file)


def test_a_record_that_lacks_a_part_but_has_its_digest(tmp_path):
    import json

    from planish.hold.qualify.record import FORMAT, sealed

    file = tmp_path / "r.json"
    file.write_text(json.dumps(sealed({"format": FORMAT, "by": "A"}, None)), encoding="utf-8")
    with pytest.raises(DataError, match="lacks part of its content"):
        planish.read_qualification(file)


def test_keys(tmp_path):
    file = tmp_path / "key"
    file.write_bytes(b"short\n")
    with pytest.raises(DataError, match="5 bytes': must be 16 to 10000 bytes"):
        read_key(file)
    with pytest.raises(DataError, match="cannot be read"):
        read_key(tmp_path / "none")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"margin": 0}, "margin = 0: must be a number above 0"),
        ({"margin": "wide"}, "margin = 'wide'"),
        ({"margin": "nan"}, "margin = 'nan'"),
        ({"old": "c"}, "rows with p 'c' = 0: must be 2 or more with a value (labels there are: a, b)"),
        ({"new": "a"}, "new part = 'a': must be another one than the old"),
        ({"alpha": 0.6}, "alpha = 0.6: must be from 1e-6 to 0.4"),
        ({"power": 1.0}, "power of the test = 1.0: must be from 0.01 to 0.9999"),
        ({"part": "q"}, "must be the name of one of its columns"),
        ({"data": {"x": [1.0, 1.0, 2.0, 2.0], "p": list("aabb")}}, "all rows of a part are the same"),
    ],
)
def test_equivalence(options, said):
    asked = {"data": DATA, "value": "x", "part": "p", "old": "a", "new": "b", "margin": 1.0, **options}
    with pytest.raises(DataError) as told:
        planish.hold_equivalence(**asked)
    assert said in str(told.value)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"sd": 0.0}, "standard deviation of a row = 0.0: must be above 0"),
        ({"margin": -1.0}, "margin = "),
        ({"difference": 1.0}, "true difference = 1.0: must be within the margins"),
        ({"samples": 3}, "samples = 3: must be 1"),
        ({"sd": 1e4}, "more than 100000 are needed"),
    ],
)
def test_sizes(options, said):
    asked = {"sd": 1.0, "margin": 1.0, **options}
    with pytest.raises(DataError) as told:
        planish.hold_equivalence_size(asked.pop("sd"), asked.pop("margin"), **asked)
    assert said in str(told.value)


def test_a_refusal_is_one_line_and_ends_with_two(tmp_path):
    (tmp_path / "c.toml").write_text(TEXT, encoding="utf-8")
    (tmp_path / "r.json").write_text("{}", encoding="utf-8")
    for words in (["qualified", "r.json"], ["checklist", "-o", "c.toml"]):
        done = subprocess.run(
            [sys.executable, "-m", "planish", "hold", *words],
            capture_output=True,
            text=True,
            check=False,
            cwd=tmp_path,
        )
        assert done.returncode == 2
        assert len(done.stderr.strip().splitlines()) == 1
