"""Separator and line of names, told where they cannot be found; a map says the same in its file and in words."""

from __future__ import annotations

import numpy as np
import pytest

from planish.errors import DataError
from planish.measure.sites.column_map import ColumnMap, column_map_of
from planish.measure.sites.read import read_sites

# Two lines name places and a thickness; the first belongs to what was planned.
TWICE = "x [mm];y [mm];thickness [nm];plan\n0;0;1000;a\n\nx [mm];y [mm];thickness [nm];gauge\n" + "\n".join(
    f"{x};{y};{1000 + x};b" for x, y in ((0, 0), (10, 0), (0, 10))
)
TOLD = {"x": "Pos A", "y": "Pos B", "thickness": "T1"}


def test_the_line_of_names_can_be_told(tmp_path) -> None:
    file = tmp_path / "twice.csv"
    file.write_text(TWICE)
    with pytest.raises(DataError):
        read_sites(file)
    found = read_sites(file, columns=ColumnMap(names_line=4))
    assert np.allclose(found.value * 1e9, [1000, 1010, 1000])
    assert "3 lines above the names" not in found.understood[0]  # the blank one is none
    assert "2 lines above the names" in found.understood[0]


@pytest.mark.parametrize(
    ("line", "words"),
    [(2, "line of the column names = 2: must be one with names"), (3, "it is blank or not there")],
)
def test_a_line_without_names_is_refused_with_what_stands_there(tmp_path, line, words) -> None:
    file = tmp_path / "twice.csv"
    file.write_text(TWICE)
    with pytest.raises(DataError, match=words):
        read_sites(file, columns=ColumnMap(names_line=line))


def test_the_separator_can_be_told(tmp_path) -> None:
    file = tmp_path / "odd.csv"
    # With commas each row has more numbers, as 0,0|0,0|1000,5 shows: bars are what is meant.
    rows = "\n".join(f"{x},0|{y},0|{1000 + x},5" for x, y in ((0, 0), (10, 0), (0, 10)))
    file.write_text(f"Pos A|Pos B|T1\n{rows}\n")
    units = {"x": "mm", "y": "mm", "thickness": "nm"}
    told = ColumnMap(columns=TOLD, units=units, separator="bar", decimal="comma")
    assert np.allclose(read_sites(file, columns=told).value * 1e9, [1000.5, 1010.5, 1000.5])
    with pytest.raises(DataError, match="Pos A"):
        read_sites(file, columns=ColumnMap(columns=TOLD, units=units, separator="comma"))


@pytest.mark.parametrize(
    "bad", [{"separator": "star"}, {"names_line": 0}, {"names_line": "7"}, {"names_line": True}]
)
def test_what_cannot_be_is_refused(bad) -> None:
    with pytest.raises(DataError, match=f"{next(iter(bad))} = "):
        ColumnMap(**bad)


def test_a_map_comes_back_from_its_text() -> None:
    told = ColumnMap(columns=TOLD, units={"thickness": "A"}, separator="bar", names_line=3, decimal="comma")
    assert column_map_of(told.to_toml()) == told
    assert told.document()["names_line"] == 3
