"""A site file looked at while it is told: as found beside as read, known again by its column names, each file by its own map."""

from __future__ import annotations

import numpy as np
import pytest

from planish.errors import DataError
from planish.jobs.site_files import (
    SiteFile,
    known_by_header,
    looked,
    map_as_toml,
    map_of_toml,
    may_be_told,
    removal_of,
    told_of,
    without_options,
)
from planish.measure.sites.pairing import read_removal
from planish.measure.sites.read import read_sites

PLACES = ((0, 0), (2.5, 0), (0, 2.5), (-2.5, 0), (0, -2.5))
TOLD = {
    "columns": {"x": "Pos A", "y": "Pos B", "thickness": "T1"},
    "units": {"x": "in", "y": "in", "thickness": "A"},
}


def gauge(folder, name: str, start: float, names: str = "Nr;Pos A;Pos B;T1;Fit") -> object:
    rows = "\n".join(f"{k};{x};{y};{start + 10 * k};0,9" for k, (x, y) in enumerate(PLACES, start=1))
    file = folder / name
    file.write_text(f"Gauge log;;;;\n{names}\n{rows}\n".replace(".", ","))
    return file


def test_what_is_found_and_what_is_missing(tmp_path) -> None:
    found = looked(gauge(tmp_path, "a.csv", 10000.0))
    assert found["names_line"] == 2
    assert found["header"] == ["Nr", "Pos A", "Pos B", "T1", "Fit"]
    assert [one["role"] for one in found["columns"]] == ["site", "", "", "", ""]
    assert found["separator"] == "semicolon"
    assert found["rows"][0] == {"line": 1, "cells": ["Gauge log", "", "", "", ""], "more": 0}
    assert found["sites"] is None
    assert "no line of column names is found" in found["refused"]
    assert "--column" not in found["refused"]


def test_what_is_told_is_read_by_the_one_reader(tmp_path) -> None:
    file = gauge(tmp_path, "a.csv", 10000.0)
    found, read = looked(file, TOLD), read_sites(file, columns=told_of(TOLD))
    assert np.array_equal(found["sites"]["value"], read.value)
    assert found["sites"]["reach"] == pytest.approx(2.5 * 25.4e-3)  # an inch is 25.4 mm by definition
    assert found["sites"]["mean"] == pytest.approx(1003e-9)
    assert found["understood"] == read.understood[0]
    assert [one["role"] for one in found["columns"]] == ["site", "x", "y", "thickness", ""]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"units": {"x": "m", "y": "m", "thickness": "A"}}, "2500 mm from the centre: must be on the wafer"),
        ({"columns": {"x": "Pos A", "y": "Pos B", "thickness": "T9"}}, "column of thickness = 'T9'"),
        ({"units": {"x": "in", "y": "in", "thickness": "mm"}}, "must be at most"),
        ({"names_line": 1}, "line of the column names = 1"),
        ({"sheet": "one"}, "sheet = 'one': must be left out"),
        ({"decimal": "point"}, "line 4, column"),
    ],
)
def test_what_is_told_wrongly_is_refused_with_its_place_and_still_shown(tmp_path, more, words) -> None:
    file = gauge(tmp_path, "a.csv", 10000.5)
    found = looked(file, {**TOLD, **more})
    assert words in found["refused"]
    assert str(file) in found["refused"]
    assert found["sites"] is None
    assert len(found["rows"]) == 7


def test_a_file_of_several_wafers_says_which(tmp_path) -> None:
    file = tmp_path / "two.csv"
    rows = [f"{w},{x},{y},{1000 + k}" for w in ("W1", "W2") for k, (x, y) in enumerate(PLACES)]
    file.write_text("wafer,x_in,y_in,thickness_nm\n" + "\n".join(rows))
    found = looked(file)
    assert found["wafers"] == ["W1", "W2"]
    assert looked(file, None, "W2")["sites"]["sites"] == 5


def test_a_wafer_a_row_is_offered_as_such(tmp_path) -> None:
    file = tmp_path / "row.csv"
    file.write_text("Id," + ",".join(f"Q{k}" for k in range(1, 10)) + "\nA," + ",".join(["1000"] * 9))
    (family,) = looked(file)["numbered"]
    assert family == {"told": "Q*", "first": "Q1", "last": "Q9", "count": 9}
    told = {"columns": {"thickness": "Q*"}, "units": {"thickness": "nm"}, "site_plan": "9, 300 mm, 3 mm"}
    assert looked(file, told)["sites"]["reach"] == pytest.approx(0.147)


def test_names_far_down_are_shown_with_what_stands_above_them(tmp_path) -> None:
    file = tmp_path / "long.csv"
    notes = "\n".join(f"note {k},," for k in range(1, 101))
    file.write_text(f"{notes}\nx_mm,y_mm,thickness_nm\n" + "\n".join(f"{x},{y},900" for x, y in PLACES))
    shown = looked(file)["rows"]
    assert [row["line"] for row in shown][:5] == [1, 2, 3, 4, None]
    assert {"line": 101, "cells": ["x_mm", "y_mm", "thickness_nm"], "more": 0} in shown


def test_another_file_is_known_by_its_column_names_alone(tmp_path) -> None:
    first, second = gauge(tmp_path, "a.csv", 10000.0), gauge(tmp_path, "b.csv", 6000.0)
    other = gauge(tmp_path, "c.csv", 6000.0, "Nr;Pos B;Pos A;T1;Fit")
    kept = [
        {"header": ["x", "y"], "told": {"separator": "bar"}},
        {"header": looked(first, TOLD)["header"], "told": TOLD},
    ]
    assert known_by_header(second, kept) == 1
    assert known_by_header(other, kept) is None
    assert known_by_header(second, [{"header": [], "told": TOLD}]) is None


def test_each_file_of_a_pair_by_its_own_map(tmp_path) -> None:
    before, after = gauge(tmp_path, "a.csv", 10000.0), gauge(tmp_path, "b.csv", 6000.0)
    whole = read_removal(before, after, told_of(TOLD))
    swapped = gauge(tmp_path, "c.csv", 6000.0, "Nr;Pos A;Pos B;Thick;Fit")
    other = {**TOLD, "columns": {**TOLD["columns"], "thickness": "Thick"}}
    found = removal_of(SiteFile(before, told_of(TOLD)), SiteFile(swapped, told_of(other)))
    assert np.array_equal(found.removal.value, whole.removal.value)
    assert np.allclose(found.removal.value, 400e-9)


def test_maps_as_files_and_back() -> None:
    assert map_of_toml(map_as_toml(TOLD)) == TOLD
    for text, words in (
        ("", "says nothing"),
        ("x = 1 =", "is no TOML"),
        ("colour = 'red'", "key = 'colour'"),
    ):
        with pytest.raises(DataError, match=words):
            map_of_toml(text)


def test_only_a_table_of_numbers_may_be_told(tmp_path) -> None:
    words, numbers = tmp_path / "words.csv", tmp_path / "numbers.csv"
    words.write_text("colour,shape\nred,round\n")
    numbers.write_text("a,b,c\n1,2,3\n")
    assert not may_be_told(words)
    assert may_be_told(numbers)


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        ("f: no column (say which, as --column thickness='Foo (nm)')", "f: no column"),
        ("must be told, in its name or --unit x=mm (in Python columns={'a': 1}); it fits", "must be told, in its name or here; it fits"),
        ("is no unit (must be mm)", "is no unit (must be mm)"),
    ],
)  # fmt: skip
def test_options_of_the_command_are_not_shown_elsewhere(said, shown) -> None:
    assert without_options(said) == shown
