"""CSV that planish writes: no spreadsheet runs it, and planish reads back what was meant.

Leading characters and the remedy: OWASP, CSV Injection (owasp.org/www-community/attacks/CSV_Injection).
"""

from __future__ import annotations

import csv
import io

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planish import loads, polish
from planish.engine.csv_text import csv_text, frame_csv, plain, safe
from planish.jobs.exchange import fresh
from planish.jobs.written import write_files
from planish.measure.sites.read import SiteMap, read_sites, write_sites
from planish.web.answers import profile_csv, to_toml

LEADS = ("=", "+", "-", "@", "\t", "\r", "\n")
HOSTILE = [
    "=1+1",
    "+cmd|' /C calc'!A0",
    "-2+3",
    "@SUM(1,2)",
    '=HYPERLINK("http://example.org";"x")',
    "'=already",
    "-",
    "--1",
    "=",
    "+1e",
    "1,=2",
    'a"b',
]


def runs(cell: str) -> bool:
    """Whether a spreadsheet takes a cell for a formula; a number with a sign is only a number."""
    try:
        float(cell)
    except ValueError:
        return cell.startswith(LEADS)
    return cell.strip() != cell


@pytest.mark.parametrize("text", HOSTILE)
def test_no_text_is_a_formula_and_each_comes_back(text):
    assert not runs(safe(text))
    assert plain(safe(text)) == text


@pytest.mark.parametrize("number", ["-1.5", "+3", "-1e-5", "0", "12", "-.5", "-inf", "nan"])
def test_numbers_stay_numbers(number):
    assert safe(number) == number


@given(st.text(alphabet=st.sampled_from("=+-@\t\r\n'\"a1,;. µ"), max_size=12))
def test_any_text_comes_back_and_none_runs(text):
    assert not runs(safe(text)) or safe(text) == text == "" or text.strip() != text
    assert plain(safe(text)) == text


def test_separators_and_quotes_cannot_open_a_new_cell():
    written = csv_text(
        ("=name", "value"), [(text, "-1.5") for text in HOSTILE], ["by a user,=1+1", "two\nlines"]
    )
    lines = written.splitlines()
    assert lines[:2] == ["# by a user,'=1+1", "# two lines"]
    rows = list(csv.reader(io.StringIO("\n".join(lines[2:]))))
    assert [plain(cell) for cell in rows[0]] == ["=name", "value"]
    assert [plain(row[0]) for row in rows[1:]] == HOSTILE
    assert not any(runs(cell) for row in rows for cell in row)


def test_tables_of_polars_are_written_the_same_way():
    frame = pl.DataFrame(
        {"=wafer": HOSTILE, "rate": np.linspace(-1, 1, len(HOSTILE)), "none": [None] * len(HOSTILE)}
    )
    rows = list(csv.reader(io.StringIO(frame_csv(frame))))
    assert [plain(cell) for cell in rows[0]] == ["=wafer", "rate", "none"]
    assert [plain(row[0]) for row in rows[1:]] == HOSTILE
    assert rows[1][1] == "-1.0"
    assert not any(runs(cell) for row in rows for cell in row)


def test_site_names_survive_a_file_that_a_spreadsheet_can_open(tmp_path):
    names = tuple(HOSTILE)
    x = np.linspace(-0.05, 0.05, len(names))
    sites = SiteMap(x, np.zeros_like(x), np.full_like(x, 1e-7), names, "thickness", "nm", "made here")
    path = tmp_path / "sites.csv"
    write_sites(sites, path, comments=("invented",))
    cells = [row for row in csv.reader(path.open(encoding="utf-8", newline="")) if not row[0].startswith("#")]
    assert not any(runs(cell) for row in cells for cell in row)
    assert read_sites(path).site == names


def test_step_names_of_a_setup_cannot_run_either():
    document = fresh("rotary")
    document["recipe"]["step"][1]["name"] = '=cmd|"x,y"'
    head = next(csv.reader(io.StringIO(profile_csv(document))))
    assert not any(runs(cell) for cell in head)
    assert any(plain(cell).startswith('=cmd|"x,y"_pressure') for cell in head)


def test_profiles_of_command_and_page_are_the_same(tmp_path):
    document = fresh("rotary")
    setup = loads(to_toml(document))
    write_files(polish(setup), tmp_path / "out")
    told = (tmp_path / "out" / "profile.csv").read_text(encoding="utf-8")
    assert told == profile_csv(document)
    head = told.splitlines()[0].split(",")
    films = {f"{film}_remaining_nm" for film in polish(setup).films}
    assert {"remaining_nm", "main_speed_m_per_s", *films} <= set(head)
