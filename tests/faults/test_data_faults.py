"""Broken measurement files: each is refused in one line that names the place and what to do."""

from __future__ import annotations

import contextlib

import numpy as np
import pytest

from planish.errors import DataError
from planish.measure.nested import read_nested
from planish.measure.sites.read import read_sites
from planish.measure.sites.site_plan import site_plan
from planish.measure.sites.wafer import measure_wafer
from planish.measure.traces.read import read_rates, read_traces
from planish.measure.traces.wafers import cut_wafers

GOOD = "site,x_mm,y_mm,thickness_nm\n1,0,0,1000\n2,50,0,1001\n3,-50,0,1002\n"

SITE_FILES: dict[str, tuple[str | bytes, str]] = {
    "empty": ("", "the file is empty"),
    "only comments": ("# a\n# b\n", "no column names and no rows"),
    "no rows": ("site,x_mm,y_mm,thickness_nm\n", "has column names but no rows"),
    "no names": ("0,0,1000\n1,0,1001\n", "numbers stand where column names belong"),
    "empty name": ("site,,y_mm,thickness_nm\n1,0,0,1000\n", "column 2 has no name"),
    "name twice": ("x_mm,x_mm,y_mm,thickness_nm\n0,0,0,1\n", "stands twice"),
    "binary": (bytes(range(256)) * 8, "is binary"),
    "short row": (GOOD + "4,0\n", "line 5: 2 cells"),
    "long row": (GOOD + "4,0,10,1000,7\n", "line 5: 5 cells"),
    "open quote": ('site,x_mm,y_mm,thickness_nm\n"1,0,0,1000\n', "quotation marks"),
    "no unit of thickness": ("x_mm,y_mm,thickness\n0,0,1000\n", "'thickness' has no unit"),
    "no unit of x": ("x,y_mm,thickness_nm\n0,0,1000\n", "'x' has no unit"),
    "no unit of angle": ("r_mm,theta,thickness_nm\n0,0,1000\n", "'theta' has no unit"),
    "wrong unit of thickness": ("x_mm,y_mm,thickness [psi]\n0,0,1000\n", "must be a length unit"),
    "wrong unit of angle": ("r_mm,theta [mm],thickness_nm\n0,0,1000\n", "must be deg or rad"),
    "wrong unit of rate": ("x_mm,y_mm,rate [nm]\n0,0,1000\n", "a length over a time"),
    "broken units line": ("# units: x mm\nx,y,thickness\n0,0,1\n", "name=unit"),
    "infinite": (GOOD + "4,0,10,inf\n", "must be a finite number"),
    "text in a number": (GOOD + "4,0,10,high\n", "column 'thickness_nm' = 'high'"),
    "neither UTF-8 nor Latin-1": (GOOD.encode() + b"4\x80,0,10,1\n", "line 5: byte 0x80 is neither UTF-8"),
    "utf-16 cut in a sign": (GOOD.encode("utf-16")[:-1], "is no whole UTF-16 text"),
    "unit in a cell": (GOOD + "4,0,10,1000 nm\n", "the unit belongs in the column's name"),
    "negative thickness": (GOOD + "4,0,10,-5\n", "must be 0 or more"),
    "site twice": (GOOD + "3,0,10,1000\n", "site '3' was given before, on line 4"),
    "place twice": (GOOD + "4,50,0,1000\n", "is the same place as line 3"),
    "off the wafer": ("# wafer: 200 mm\n" + GOOD + "4,120,0,1000\n", "must be on the wafer, 100 mm or less"),
    "mm read as cm": ("site,x_cm,y_cm,thickness_nm\n1,147,0,1\n", "is the unit of the position right?"),
    "wafer without unit": ("# wafer: 300\n" + GOOD, "the line '# wafer:'"),
    "time of zero": ("# polish_time: 0 s\n" + GOOD, "above zero"),
    "no positions": ("site,thickness_nm\n1,1000\n", "no site positions"),
    "no value": ("site,x_mm,y_mm\n1,0,0\n", "no column of thickness, removal or rate"),
    "two values": ("x_mm,y_mm,thickness_nm,removal_nm\n0,0,1,1\n", "could each be what was measured"),
    "several wafers": ("wafer,x_mm,y_mm,thickness_nm\na,0,0,1\nb,0,0,1\n", "holds 2 wafers"),
}


def one_line(error, *wanted):
    text = str(error.value)
    assert "\n" not in text
    assert len(text) < 400
    for w in wanted:
        assert w in text, text
    return text


@pytest.mark.parametrize("name", SITE_FILES)
def test_broken_site_file(tmp_path, name):
    content, wanted = SITE_FILES[name]
    file = tmp_path / "sites.csv"
    file.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    with pytest.raises(DataError) as error:
        read_sites(file)
    one_line(error, "sites.csv", wanted)


def test_the_file_these_cases_start_from_is_good(tmp_path):
    file = tmp_path / "sites.csv"
    file.write_text(GOOD)
    assert len(read_sites(file)) == 3


def test_missing_file_folder_and_false_parquet(tmp_path):
    with pytest.raises(DataError) as error:
        read_sites(tmp_path / "none.csv")
    one_line(error, "no such file")
    with pytest.raises(DataError) as error:
        read_sites(tmp_path)
    one_line(error, "is a folder")
    fake = tmp_path / "a.parquet"
    fake.write_text(GOOD)
    with pytest.raises(DataError) as error:
        read_sites(fake)
    one_line(error, "not a readable Parquet file")


def test_huge_text_is_refused_before_it_is_read(tmp_path, monkeypatch):
    monkeypatch.setattr("planish.measure.tables.limits.MAX_TEXT_BYTES", 1000)
    file = tmp_path / "sites.csv"
    file.write_text(GOOD * 40)
    with pytest.raises(DataError) as error:
        read_sites(file)
    one_line(error, "is more than the")


def test_too_many_sites_are_no_wafer(tmp_path, monkeypatch):
    monkeypatch.setattr("planish.measure.sites.read.MAX_SITES", 2)
    file = tmp_path / "sites.csv"
    file.write_text(GOOD)
    with pytest.raises(DataError) as error:
        read_sites(file)
    one_line(error, "no site map of one wafer")


def test_wafer_that_is_not_there(tmp_path):
    file = tmp_path / "sites.csv"
    file.write_text("wafer,x_mm,y_mm,thickness_nm\na,0,0,1\nb,0,0,1\n")
    with pytest.raises(DataError) as error:
        read_sites(file, wafer="c")
    one_line(error, "must be one of a, b")
    file.write_text(GOOD)
    with pytest.raises(DataError) as error:
        read_sites(file, wafer="c")
    one_line(error, "the file has none")


@pytest.mark.parametrize(
    "before, after, time, wanted",
    [
        (GOOD, GOOD.replace("thickness", "removal"), None, "must be thickness, to be paired"),
        (GOOD, GOOD.replace("50,0", "60,0"), None, "lies 10 mm from where"),
        (GOOD, "x_mm,y_mm,thickness_nm\n10,10,900\n20,20,900\n", None, "only 0 of 3 and 2 sites pair up"),
        (GOOD, GOOD.replace("100", "200"), 60.0, "must be above zero"),
        (GOOD, GOOD.replace("100", "50"), 0.0, "polish time = '0 s': must be from 0.001 s"),
        (GOOD, GOOD.replace("100", "50"), float("nan"), "polish time = nan: must be a number in s"),
        (
            "# polish_time: 60 s\n" + GOOD,
            "# polish_time: 50 s\n" + GOOD.replace("100", "50"),
            None,
            "differs from",
        ),
    ],
)
def test_pairs_that_are_no_pair(tmp_path, before, after, time, wanted):
    (tmp_path / "pre.csv").write_text(before)
    (tmp_path / "post.csv").write_text(after)
    with pytest.raises(DataError) as error:
        measure_wafer(tmp_path / "pre.csv", tmp_path / "post.csv", time)
    one_line(error, wanted)


NESTED = "lot,wafer,site,nm\n1,1,1,5\n1,1,2,6\n1,2,1,7\n1,2,2,5\n2,1,1,8\n2,1,2,9\n2,2,1,7\n2,2,2,6\n"


@pytest.mark.parametrize(
    "levels, value, text, wanted",
    [
        (["lot", "slot"], "nm", NESTED, "must be one of its columns"),
        (["lot", "wafer"], "thickness", NESTED, "must be one of its columns"),
        (["lot", "Lot"], "nm", NESTED, "each named once"),
        (["lot", "nm"], "nm", NESTED, "must be a column that is not a level"),
        ([""], "nm", NESTED, "a list such as lot,wafer,site"),
        (["lot", "wafer"], "nm", NESTED.replace("1,2,1,7", "1,2,1,x"), "line 4, column 'nm'"),
        (["lot", "wafer"], "nm", NESTED.replace("1,2,1,7", ",2,1,7"), "must be filled in"),
        (["lot"], "nm", "lot,nm\n1,5\n1,6\n", "no spread of its own"),
    ],
)
def test_nested_studies_that_cannot_be_split(tmp_path, levels, value, text, wanted):
    file = tmp_path / "study.csv"
    file.write_text(text)
    with pytest.raises(DataError) as error:
        read_nested(file, levels, value)
    one_line(error, "study.csv", wanted)


TRACE = "time,wafer,stage,chamber,pressure_main,speed\n" + "".join(f"{t},a,1,1,{5 * t},9\n" for t in range(8))

TRACES: dict[str, tuple[str, str]] = {
    "empty": ("", "the file is empty"),
    "no column": (TRACE.replace("speed", "sped"), "no column speed"),
    "no samples": (TRACE.splitlines()[0] + "\n", "no samples"),
    "text": (TRACE.replace(",9\n", ",fast\n"), "holds text, not numbers"),
    "gap in a number": (TRACE.replace("3,a,1,1,15,9", "3,a,1,1,,9"), "sample 4, column 'pressure_main'"),
    "no wafer": (TRACE.replace("3,a,1", "3,,1"), "column 'wafer': 1 samples have none"),
    "negative pressure": (TRACE.replace("1,1,15,9", "1,1,-15,9"), "must be 0 or more"),
}


@pytest.mark.parametrize("name", TRACES)
def test_broken_trace(tmp_path, name):
    text, wanted = TRACES[name]
    file = tmp_path / "trace.csv"
    file.write_text(text)
    with pytest.raises(DataError) as error:
        read_traces(file)
    one_line(error, "trace.csv", wanted)


def test_trace_whose_clock_stands(tmp_path):
    rows = [f"7,a,1,1,{5 * t},9" for t in range(8)]
    file = tmp_path / "trace.csv"
    file.write_text("\n".join([TRACE.splitlines()[0], *rows]) + "\n")
    with pytest.raises(DataError) as error:
        read_traces(file)
    one_line(error, "trace.csv", "every sample has the same time")


def test_trace_without_any_pressure_and_rates_of_others(tmp_path):
    import polars as pl

    file = tmp_path / "trace.csv"
    file.write_text(TRACE)
    samples = read_traces(file)
    with pytest.raises(DataError) as error:
        cut_wafers(samples.with_columns(pressure_main=pl.lit(0.0)))
    one_line(error, "no zone pressure is ever above zero")
    rates = pl.DataFrame({"wafer": ["z"], "stage": ["1"], "rate": [80.0]})
    with pytest.raises(DataError) as error:
        cut_wafers(samples, rates)
    one_line(error, "none of the 1 rates belongs")


@pytest.mark.parametrize(
    "text, wanted",
    [
        ("wafer,stage\na,1\n", "no column rate"),
        ("wafer,stage,rate\na,1,fast\n", "holds text"),
        ("wafer,stage,rate\na,1,80\nb,1,\n", "empty or not finite"),
        ("wafer,stage,rate\na,1,80\na,1,81\n", "has two rates"),
        ("wafer,stage,rate\n", "no rates"),
    ],
)
def test_broken_rates(tmp_path, text, wanted):
    file = tmp_path / "rates.csv"
    file.write_text(text)
    with pytest.raises(DataError) as error:
        read_rates(file)
    one_line(error, "rates.csv", wanted)


def test_binary_and_missing_traces(tmp_path):
    file = tmp_path / "trace.parquet"
    file.write_bytes(bytes(range(256)))
    with pytest.raises(DataError) as error:
        read_traces(file)
    one_line(error, "not a readable Parquet file")
    with pytest.raises(DataError) as error:
        read_traces(tmp_path / "none.csv")
    one_line(error, "no such file")


@pytest.mark.parametrize("kind, radius, edge", [("25", 0.15, 0.003), ("9", 0.15, 0.2), ("49", 0.15, -0.001)])
def test_site_plans_that_cannot_be(kind, radius, edge):
    with pytest.raises(DataError) as error:
        site_plan(kind, radius, edge)
    one_line(error, "must be")


def test_random_bytes_never_escape_as_anything_else(tmp_path):
    rng = np.random.default_rng(0)
    file = tmp_path / "sites.csv"
    refused = 0
    for _ in range(200):
        broken = bytearray(GOOD.encode())
        for i in rng.integers(0, len(broken), 3):
            broken[i] = rng.integers(0, 256)
        file.write_bytes(bytes(broken))
        with contextlib.suppress(DataError):
            read_sites(file)
            continue
        refused += 1
    assert refused > 100
