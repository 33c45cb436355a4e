"""Hostile files under a memory limit: each is refused in one line or read, and none takes a gigabyte.

The part read here takes seconds; ``benchmarks/bench_gds.py`` reads all of them.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from planish.errors import DataError
from planish.measure.layout.limits import OWN, STRANGER
from planish.measure.layout.read import list_layers, read_layout_maps
from planish.measure.layout.sources import maps_from_csv, maps_from_image
from planish.measure.sites.read import read_sites, same_place
from planish.measure.tables import limits as table_limits
from planish.measure.tables.columns import split_name
from planish.measure.tables.parquet_limits import check_parquet
from planish.measure.tables.read import read_table
from planish.measure.traces.read import read_traces

FILE = Path(__file__).with_name("hostile_files.py")
sys.path.insert(0, str(FILE.parent))
import hostile_files  # noqa: E402
import hostile_gdsii as gds  # noqa: E402

LIMIT_MB = 1024  # peak of memory in use
SPACE_MB = 6144  # of addresses, for what a library maps and never uses


def test_no_hostile_file_fails_or_takes_a_gigabyte():
    names = [name for name in hostile_files.FILES if name in hostile_files.QUICK]
    assert len(hostile_files.FILES) >= 300
    assert len(names) >= 150
    done = subprocess.run(
        [sys.executable, str(FILE), str(SPACE_MB)],
        input="\n".join(names),
        capture_output=True,
        text=True,
        check=False,
    )
    told = [json.loads(line) for line in done.stdout.splitlines()]
    assert [one["name"] for one in told] == names, done.stderr[-2000:]
    assert [one for one in told if one["ended"].startswith("FAILED")] == []
    assert [one for one in told if one["peak_mb"] > LIMIT_MB] == []


def write(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("a" * 300_000, "line 1: longer than the 262144 bytes"),
        ("x,y\n" + "1" * 300_000 + "\n", "line 2: longer than the 262144 bytes"),
        (",".join(f"c{i}" for i in range(600)) + "\n", "600 columns are more than the 512"),
        ('x,y\n"' + "1,2\n" * 100_000, "check its quotation marks"),
        ("# k: v\n" * 2000 + "x,y\n1,2\n", "more than 1000 lines before the column names"),
        ("x,y\n1," + "2" * 1500 + "\n", "a cell of 1500 characters"),
        ("x,y\n1,\0\n", "is binary"),
    ],
)
def test_each_limit_of_a_text_table_says_what_it_is(tmp_path, text, wanted):
    path = write(tmp_path / "table.csv", text)
    with pytest.raises(DataError) as caught:
        read_table(path)
    assert wanted in str(caught.value)
    assert len(str(caught.value)) < 500


def test_the_number_of_cells_is_bounded_for_every_reader(tmp_path, monkeypatch):
    for name in ("MAX_CELLS", "MAX_TRACE_CELLS"):
        monkeypatch.setattr(table_limits, name, 50)
    monkeypatch.setattr(table_limits.check_text, "__defaults__", (50,))
    path = write(tmp_path / "table.csv", "site,x_mm,y_mm,thickness_nm\n" + "1,2,3,4\n" * 30)
    for reader in (read_table, read_sites, read_traces, maps_from_csv):
        with pytest.raises(DataError, match="cells are more than the 50 that are read at once"):
            reader(path)


def test_numbers_are_plain_digits(tmp_path):
    head = "site,x_mm,y_mm,thickness_nm\n"
    for cell in ("1_000", "１２", "٣", "1\u00a0000"):
        path = write(tmp_path / "sites.csv", f"{head}1,0,0,{cell}\n")
        with pytest.raises(DataError, match="must be a number"):
            read_sites(path)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("thickness [nm]", ("thickness", "nm")),
        ("Film Thickness ( nm )", ("film_thickness", "nm")),
        ("x (old) [mm]", ("x_(old)", "mm")),
        ("x ()", ("x_()", None)),
        ("x [a (b)", ("x", "a (b")),
        ("x]", ("x]", None)),
        ("(" * 100_000 + ")", ("", "(" * 99_999)),
        ("x [" + " " * 100_000 + ")", ("x_[" + "_" * 100_000 + ")", None)),
    ],
)
def test_names_are_taken_apart_in_one_pass(name, expected):
    assert split_name(name) == expected


def test_a_quarter_million_sites_on_one_place_are_found_at_once():
    x = np.full(250_000, 0.01)
    assert same_place(x, x) == (0, 1)
    x = np.linspace(0, 0.1, 1000)
    assert same_place(x, x) is None
    x[900] = x[17] + 4e-7
    y = np.zeros(1000)
    assert same_place(x, y) == (17, 900)


def test_parquet_limits_agree_with_what_another_writer_writes(tmp_path):
    import polars as pl

    path = tmp_path / "a.parquet"
    frame = pl.DataFrame({"a": np.arange(5000.0), "b": [str(i % 7) for i in range(5000)]})
    for compression in ("zstd", "snappy", "gzip", "uncompressed"):
        frame.write_parquet(path, compression=compression, row_group_size=700, statistics="full")
        check_parquet(path, 10_000)
        with pytest.raises(DataError, match="5000 rows of 2 columns are more than the 9999 cells"):
            check_parquet(path, 9_999)


def test_a_large_layout_of_ones_own_is_read_where_a_strangers_is_refused(tmp_path):
    shapes = gds.cell(b"LEAF", gds.CROSS)
    path = tmp_path / "wide.gds"
    path.write_bytes(gds.lib(shapes, gds.cell(b"TOPP", gds.sref(b"LEAF", 5, 5) * 30)))
    few = {name: getattr(STRANGER, name) for name in STRANGER.__slots__} | {"placements": 20}
    with pytest.raises(DataError, match="more than 20 placements"):
        list_layers(path, type(STRANGER)(**few))
    little = few | {"placements": 100, "work": 100}
    with pytest.raises(DataError, match=r"takes more than 1\.0e\+02 steps"):
        read_layout_maps(path, 1, 0, 1e-6, cache=False, limits=type(STRANGER)(**little))
    strict = read_layout_maps(path, 1, 0, 1e-6, cache=False)
    wide = read_layout_maps(path, 1, 0, 1e-6, cache=False, limits=OWN)
    np.testing.assert_array_equal(strict.density, wide.density)


def test_whether_a_layout_takes_too_much_does_not_depend_on_the_workers(tmp_path):
    path = tmp_path / "array.gds"
    path.write_bytes(
        gds.lib(
            gds.cell(b"LEAF", gds.TRIANGLE),
            gds.cell(b"TOPP", gds.aref(b"LEAF", 60, 60, 5000, 5000)),
        )
    )
    ends = set()
    for work in (1_000_000, 30_000_000):
        for workers in (1, 2, 3):
            limits = {name: getattr(STRANGER, name) for name in STRANGER.__slots__} | {"work": work}
            try:
                read_layout_maps(
                    path, 1, 0, 10e-6, cache=False, workers=workers, limits=type(STRANGER)(**limits)
                )
            except DataError:
                ends.add((work, "refused"))
            else:
                ends.add((work, "read"))
    assert ends == {(1_000_000, "refused"), (30_000_000, "read")}


def test_a_picture_of_too_many_pixels_is_refused_before_it_is_unpacked(tmp_path):
    from PIL import Image

    path = tmp_path / "bomb.png"
    Image.new("1", (9000, 9000)).save(path)
    with pytest.raises(DataError, match="9000 x 9000 pixels, more than"):
        maps_from_image(path, 1e-6)
