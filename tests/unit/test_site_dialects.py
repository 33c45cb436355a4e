"""Forty ways of writing one wafer: each is read to the digits written, and says how it was understood."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parent))
import site_dialects as ways

import planish
from planish.cli.main import app
from planish.errors import DataError, PlanishError
from planish.measure.sites.column_map import ColumnMap, column_map, read_column_map

ROOT = Path(__file__).parents[2]

#: Ways that a plain table may be written in, about which there is nothing to tell.
PLAIN = (
    "plain",
    "utf_8_with_mark",
    "carriage_returns",
    "polar_degrees",
    "inches",
    "exponents",
    "stacked_wafers",
)


def written(tmp_path: Path, dialect: ways.Dialect) -> Path:
    path = tmp_path / dialect.name
    path.write_bytes(dialect.data)
    return path


def test_there_are_forty():
    assert len(ways.WAYS) >= 40


@pytest.mark.parametrize("name", ways.WAYS)
def test_a_way_of_writing_is_read_to_the_digits_written(tmp_path, name):
    dialect = ways.WAYS[name]()
    wafer = ways.WAFERS[dialect.wafer]
    keep = np.setdiff1d(np.arange(len(wafer.x)), dialect.without)
    sites = planish.read_sites(written(tmp_path, dialect), **dialect.said)
    assert sites.quantity == "thickness"
    assert len(sites) == len(keep)
    for read, true in ((sites.x, wafer.x), (sites.y, wafer.y)):
        assert np.max(np.abs(1e3 * read - true[keep])) <= 0.51 * dialect.place
    assert np.max(np.abs(1e9 * sites.value - wafer.thickness[keep])) <= 0.51 * dialect.value
    told = "".join(sites.understood)
    assert bool(told) == (name not in PLAIN)
    assert "\n" not in told
    assert len(told) < 700


HEAD = "Site;X [mm];Y [mm];Thickness [nm]\n"
ROWS = "1;0.5;0.5;1000.5\n2;50.5;0.5;1001.5\n3;0.5;60.5;1002.5\n"

#: What a gauge might write, what is said of it, and what must be answered.
REFUSED: dict[str, tuple[str, dict[str, object], str]] = {
    "two thicknesses": (
        "Site;X [mm];Y [mm];T1 [nm];T2 [nm]\n1;0.5;0.5;7.5;8.5\n", {},
        "columns 'T1 [nm]', 'T2 [nm]' could each be what was measured: must be one (say which: --column thickness='T1 [nm]')",
    ),
    "five films of dies": (
        "Die X;Die Y;" + ";".join(f"T{i} [nm]" for i in range(1, 6)) + "\n1;1;1.5;2.5;3.5;4.5;5.5\n",
        {"columns": {"pitch": "26mm,33mm"}}, "could each be what was measured",
    ),
    "two places": ("X [mm];X [um];Y [mm];Thk [nm]\n0.5;0.5;0.5;1.5\n", {}, "could each be x: must be one"),
    "no unit of place": (
        "Site;X;Y;Thk [nm]\n1;-147.0;0.5;1.5\n2;10.5;0.5;1.5\n", {},
        "column 'X' has no unit: must be told, in its name or --unit x=mm (in Python columns={'units': {'x': 'mm'}}); "
        "its largest is 147, which fits a wafer in mm",
    ),
    "mm or inches": ("Site;X;Y;Thk [nm]\n1;-0.5;0.5;1.5\n2;1.5;0.5;1.5\n", {}, "which fits a wafer in cm or in"),
    "no unit of thickness": (HEAD.replace(" [nm]", "") + ROWS, {}, "--unit thickness=nm"),
    "a name that ends in A": (
        "Nr;Pos A;Pos B;Wert\n1;0.5;0.5;1.5\n",
        {"columns": {"x": "Pos A", "y": "Pos B", "thickness": "Wert"}},
        "column 'Pos A' has no unit",
    ),
    "film A and film B": ("X [mm];Y [mm];Film A;Film B\n1.5;1.5;7.5;8.5\n", {}, "no column of thickness"),
    "thickness A": ("X [mm]|Y [mm]|Thickness A\n1.5|1.5|7.5\n", {}, "column 'Thickness A' has no unit"),
    "two units": (
        "Site;X;Y;Thk [nm]\n;mm;mm;Å\n1;0.5;0.5;1.5\n", {},
        "column 'Thk [nm]' is in nm in its name and in å under its name: must be one",
    ),
    "an angle in mm": ("R [mm];Theta [mm];Thk [nm]\n1,5;1,5;1,5\n", {}, "must be deg or rad"),
    "a unit of no length": ("X [mm];Y [mm];Thk [deg]\n1,5;1,5;1,5\n", {}, "must be a length unit"),
    "comma or group": (
        "X [mm]|Y [mm]|Thk [nm]\n1|1|1,012\n1|2|1,013\n", {},
        "'1,012' may be a decimal comma or a group of three digits: must be told (say --decimal comma or --decimal point)",
    ),
    "point and comma": (HEAD + ROWS.replace("1001.5", "1001,5"), {}, "must have one decimal sign"),
    "a point where commas are told": (
        HEAD + ROWS.replace("1001.5", "1001,5"), {"columns": {"decimal": "comma"}}, "must have a decimal comma",
    ),
    "several wafers": (
        "Slot;" + HEAD + "".join(f"{s};{row}\n" for s in "AB" for row in ROWS.split()), {},
        "holds 2 wafers: A, B (say which: --wafer A, in Python wafer='A')",
    ),
    "another wafer": ("Wafer ID;W7\n" + HEAD + ROWS, {"wafer": "W8"}, "wafer = 'W8': must be W7"),
    "a wafer nobody names": (HEAD + ROWS, {"wafer": "W8"}, "above the table or in the name of the file"),
    "a wafer not named on every row": (
        "Wafer;" + HEAD + "A;" + ROWS.replace("\n", "\n;", 2), {}, "column 'Wafer' is empty: must name the wafer",
    ),
    "two wafers above": ("Wafer ID;W7\nWafer;W8\n" + HEAD + ROWS, {}, "(state it once)"),
    "dies without a pitch": ("Die X;Die Y;Thk [nm]\n-1;1;9.5\n1;-1;9.5\n", {}, "(--pitch 26mm,33mm)"),
    "dies from a corner": (
        "Die X;Die Y;Thk [nm]\n0;1;9.5\n1;4;9.5\n", {"columns": {"pitch": "26mm,33mm"}}, "--centre-die 0,0",
    ),
    "a pitch that is not used": (HEAD + ROWS, {"columns": {"pitch": "26mm,33mm"}}, "must be left out"),
    "a plan that is not used": (HEAD + ROWS, {"columns": {"site_plan": "49, 300mm, 3mm"}}, "must be left out"),
    "no places": ("Site;Thk [nm]\n1;9.5\n2;9.5\n", {}, "no site positions among Site, Thk [nm]"),
    "another plan": (
        "Site;Thk [nm]\n1;9.5\n2;9.5\n", {"columns": {"site_plan": "9, 300mm, 3mm"}}, "2 sites and 0 without a value where the plan has 9",
    ),
    "a plan without the wafer": (
        "Site;Thk [nm]\n1;9.5\n2;9.5\n", {"columns": {"site_plan": "9"}}, "must say the wafer's diameter",
    ),
    "a row of sites without places": (
        "Wafer;1;2;3;4;5\nA;1.5;1.5;1.5;1.5;1.5\n", {"columns": {"units": {"thickness": "nm"}}}, "whose places are not known",
    ),
    "a row of nobody knows what": ("Wafer;1;2;3;4;5\nA;1.5;1.5;1.5;1.5;1.5\n", {}, "what was measured must be told"),
    "rows of several wafers": (
        "Wafer;1;2;3;4;5;6;7;8;9\nA" + ";1.5" * 9 + "\nB" + ";2.5" * 9 + "\n",
        {"columns": {"units": {"thickness": "nm"}, "site_plan": "9, 300 mm, 3 mm"}}, "holds 2 wafers: A, B",
    ),
    "a number cut short": (HEAD + ROWS + "4;0.5\n", {}, "line 5: 2 cells where 4 columns are named"),
    "text as thickness": (HEAD + ROWS + "4;0.5;9.5;high\n", {}, "column 'Thickness [nm]' = 'high': must be a number"),
    "sites after text": (HEAD + ROWS + "\nsecond pass\n4;0.5;9.5;9.5\n", {}, "a row of the table after text on line 6"),
    "another table below": (
        HEAD + ROWS + "\nNr;X [um];Y [um];Thk [A]\n", {}, "line 6 names columns again: must be one table",
    ),
    "a site twice": (HEAD + ROWS + "\n" + HEAD + ROWS, {}, "was given before"),
    "nothing known": ("a;b;c\n1;2;3\n", {}, "say the columns as the file names them"),
    "a column that is not there": (HEAD + ROWS, {"columns": {"x": "Foo"}}, "line 1 has Site, X [mm], Y [mm]"),
    "a sheet of no workbook": (HEAD + ROWS, {"columns": {"sheet": "A"}}, "the file is no workbook"),
    "a negative film": (HEAD + ROWS.replace("1001.5", "-3.5"), {}, "must be 0 or more"),
    "places off the wafer": (HEAD.replace("mm", "cm") + ROWS, {}, "must be on the wafer"),
    "an unknown role": (HEAD, {"columns": {"columns": {"z": "X"}}}, "role = 'z': must be one of x, y"),
    "an unknown unit": (HEAD, {"columns": {"units": {"x": "psi"}}}, "must be a unit"),
    "an unknown key": (HEAD, {"columns": {"colour": "X"}}, "key = 'colour': must be one of"),
    "a pitch of nothing": (HEAD, {"columns": {"pitch": "0mm,33mm"}}, "two lengths above zero"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_can_be_understood_in_two_ways_is_refused_with_what_to_say(tmp_path, name):
    content, said, wanted = REFUSED[name]
    path = tmp_path / "sites.csv"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(DataError) as caught:
        planish.read_sites(path, **said)
    assert wanted in str(caught.value), str(caught.value)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 500


FILM_UNITS = (
    *("[nm]", "(nm)", "_nm", "[Å]", "(Å)", "[kÅ]", "Å", "(A)", "[A]", "Angstroms", "[microns]", ", nm"),
    "thickness=nm",
)


@pytest.mark.parametrize("name", ways.WAYS)
def test_no_way_of_writing_is_read_without_its_units(tmp_path, name):
    dialect = ways.WAYS[name]()
    if dialect.name.endswith(".xlsx") or "units" in dialect.said.get("columns", {}):
        pytest.skip("its units are said by the user, or packed")
    code = "utf-16" if name == "utf_16" else "latin-1" if name.startswith("latin") else "utf-8-sig"
    text = dialect.data.decode(code).replace("Thickness [m]", "Thickness")
    for word in FILM_UNITS:
        text = text.replace(word, "")
    path = tmp_path / dialect.name
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DataError):
        planish.read_sites(path, **dialect.said)


@pytest.mark.parametrize("name", [name for name in ways.WAYS if "row" not in name or "units" in name])
def test_a_file_cut_at_a_line_gives_true_sites_or_none(tmp_path, name):
    dialect = ways.WAYS[name]()
    if dialect.name.endswith(".xlsx") or name in ("utf_16", "carriage_returns"):
        pytest.skip("is not cut at lines")
    wafer = ways.WAFERS[dialect.wafer]
    lines = dialect.data.splitlines(keepends=True)
    path = tmp_path / dialect.name
    for keep in (12, 20, 29, 46):
        path.write_bytes(b"".join(lines[:keep]))
        try:
            sites = planish.read_sites(path, **dialect.said)
        except DataError:
            continue
        for x, y, value in zip(1e3 * sites.x, 1e3 * sites.y, 1e9 * sites.value, strict=True):
            near = int(np.argmin(np.hypot(wafer.x - x, wafer.y - y)))
            assert abs(wafer.thickness[near] - value) <= 0.51 * dialect.value
            assert np.hypot(wafer.x[near] - x, wafer.y[near] - y) <= 2 * dialect.place


def test_a_column_map_is_remembered_and_read_back(tmp_path):
    dialect = ways.WAYS["named_by_the_user"]()
    path = written(tmp_path, dialect)
    told = column_map(dialect.said["columns"])
    told.save(tmp_path / "map.toml")
    assert read_column_map(tmp_path / "map.toml") == told
    direct = planish.read_sites(path, columns=told)
    for given in (tmp_path / "map.toml", str(tmp_path / "map.toml"), dialect.said["columns"]):
        again = planish.read_sites(path, columns=given)
        np.testing.assert_array_equal(again.value, direct.value)
        assert again.understood == direct.understood
    whole = ColumnMap({"x": "a"}, {"y": "mm"}, "26mm,33mm", "0,0", "49, 300mm, 3mm", "comma", "S")
    whole.save(tmp_path / "map.toml")
    assert read_column_map(tmp_path / "map.toml") == whole


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("columns = 3", "must be texts by role"),
        ("[columns]\nx = 3", "columns.x = 3"),
        ("decimal = 'dot'", "must be point or comma"),
        ("x = 'A'\ncolour = 'B'", "one of columns, units, pitch"),
        ("= 3", "is no TOML"),
        ("pitch = '26mm'", "two lengths above zero"),
        ("centre_die = 'a,b'", "two numbers"),
        ("sheet = 3", "text that is not empty"),
    ],
)
def test_a_column_map_that_cannot_be_is_refused(tmp_path, text, wanted):
    path = tmp_path / "map.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DataError, match=r"map\.toml") as caught:
        read_column_map(path)
    assert wanted in str(caught.value)


def test_two_sheets_are_refused_and_an_old_workbook_too(tmp_path):
    dialect = ways.WAYS["sheet_chosen"]()
    path = written(tmp_path, dialect)
    with pytest.raises(DataError, match=r"sheet 'W1'; sheet 'W2': must be one \(say which: --sheet NAME\)"):
        planish.read_sites(path)
    with pytest.raises(DataError, match="sheet = 'W9': must be one of 'W1', 'W2'"):
        planish.read_sites(path, columns={"sheet": "W9"})
    old = tmp_path / "old.xls"
    old.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600))
    with pytest.raises(DataError, match=r"old kind \(.xls\).*save it as .xlsx or CSV"):
        planish.read_sites(old)


def test_measured_pairs_say_how_their_files_were_understood(tmp_path):
    dialect = ways.WAYS["semicolons_and_decimal_commas"]()
    before = written(tmp_path, dialect)
    rows = [["Site", "X [mm]", "Y [mm]", "Thickness [nm]"]]
    rows += ways.comma(
        ways.columns(
            ways.SITES, ways.fixed(ways.W.x, 3), ways.fixed(ways.W.y, 3), ways.fixed(ways.W.thickness, 3, 0.5)
        )
    )
    after = tmp_path / "after.csv"
    after.write_text(ways.text(rows, ";"), encoding="utf-8")
    wafer = planish.measure_wafer(before, after, "60 s")
    assert wafer.notes[0].startswith("both files read as: thickness from 'Thickness [nm]' in nm")
    assert wafer["mean_removed_nm"] == pytest.approx(0.5 * np.mean(ways.W.thickness), abs=0.001)
    fit = planish.fit_wafer(ROOT / "examples" / "rotary.toml", wafer)
    assert any("both files read as" in line for line in fit.document()["findings"])


def test_the_command_takes_what_is_said_remembers_it_and_takes_it_again(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    data = ways.WAYS["named_by_the_user"]().data.decode()
    head, *rows = data.splitlines()
    (tmp_path / "pre.csv").write_text(data, encoding="utf-8")
    thinner = [
        ";".join([*row.split(";")[:3], f"{0.4 * float(row.split(';')[3]):.3f}", "1.0"]) for row in rows
    ]
    (tmp_path / "post.csv").write_text("\n".join([head, *thinner]), encoding="utf-8")
    files = ["pre.csv", "post.csv", "--time", "60s", "--json"]
    words = ["--column", "x=Pos A", "--column", "y=Pos B", "--column", "thickness=Ergebnis"]
    words += ["--unit", "x=mm", "--unit", "y=mm", "--unit", "thickness=nm", "--remember", "map.toml"]
    said = CliRunner().invoke(app, ["measure", *files, *words], catch_exceptions=False)
    again = CliRunner().invoke(app, ["measure", *files, "--columns", "map.toml"], catch_exceptions=False)
    assert json.loads(said.stdout) == json.loads(again.stdout)
    assert json.loads(said.stdout)["notes"][0].startswith(
        "both files read as: thickness from 'Ergebnis' in nm as told"
    )
    setup = str(ROOT / "examples" / "rotary.toml")
    fit = ["fit", setup, "pre.csv", "post.csv", "--columns", "map.toml", "--time", "99s", "--json"]
    found = CliRunner().invoke(app, fit, catch_exceptions=False)
    assert any("both files read as" in line for line in json.loads(found.stdout)["findings"])


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (["measure", "a.csv", "b.csv", "--column", "x"], "--column = 'x': must be of the form role=text"),
        (["measure", "a.csv", "b.csv", "--unit", "x=mm", "--unit", "x=um"], "said once for x"),
        (["measure", "a.csv", "b.csv", "--remember", "m.toml"], "nothing to remember"),
        (["measure", "a.csv", "b.csv", "--columns", "gone.toml"], "gone.toml: no such file"),
        (["measure", "a.csv", "--rows", "--wafer", "W1"], "measure --wafer: must stand with PRE and POST"),
        (["fit", "a.csv", "--rates", "b.csv", "--wafer", "W1"], "fit --wafer: must stand with SETUP PRE POST"),
        (["report", str(ROOT / "examples" / "rotary.toml"), "--wafer", "W1"], "must stand with --pre and --post"),
    ],
)  # fmt: skip
def test_what_is_said_in_vain_is_refused(tmp_path, monkeypatch, words, wanted):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(PlanishError) as caught:
        CliRunner().invoke(app, words, catch_exceptions=False)
    assert wanted in str(caught.value)
