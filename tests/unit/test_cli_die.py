"""The die from the command line: the words that scripts rely on, options, files, refusals in one line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from planish.cli.main import app
from planish.errors import PlanishError
from planish.measure.layout.make import make_layout
from planish.measure.layout.read import read_layout_maps
from planish.predict.die.polish import polish_die
from planish.setup.load import load

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "examples"
ROTARY = EXAMPLES / "rotary.toml"
BLOCKS = EXAMPLES / "data" / "test-blocks.gds"
DIE_WORDS = ("within_die_range_nm", "within_die_sigma_nm", "planarization_length_mm", "clear_time_s")


def run(*words: object) -> dict:
    """Run a verb with --json in this process; returns the document."""
    done = CliRunner().invoke(app, [*map(str, words), "--json"], catch_exceptions=False)
    assert done.exit_code == 0, done.stderr
    return json.loads(done.stdout)


def refused(*words: object) -> str:
    """Return the one line with which a verb refuses."""
    with pytest.raises(PlanishError) as caught:
        CliRunner().invoke(app, list(map(str, words)), catch_exceptions=False)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def die(*words: object, file: Path = ROTARY, layout: Path = BLOCKS) -> dict:
    return run("die", file, "--layout", layout, "--layer", "1/0", "--cell", "200um", *words)


@pytest.fixture(scope="module")
def lines(tmp_path_factory) -> Path:
    widths = (0.5e-6, 1e-6, 3e-6, 10e-6, 30e-6)
    path = tmp_path_factory.mktemp("lines") / "lines.gds"
    return make_layout("line-space", path, size=4e-3, widths=widths, spaces=(3e-6, 10e-6))


def test_measure_a_layout_says_what_scripts_rely_on(tmp_path):
    found = run("measure", BLOCKS, "--layer", "1/0", "--cell", "100um", "--out", tmp_path)
    assert found["polygons"] > 100
    x0, y0, x1, y1 = found["bounding_box_um"]
    assert 11900 < x1 - x0 <= 12000 < y1 - y0 + 1
    assert 0.3 < found["coverage_area_um2"] / 144e6 < 0.7
    assert (tmp_path / "maps.npz").exists()
    again = run("die", ROTARY, "--layout", tmp_path / "maps.npz")
    assert again["within_die_range_nm"] > 0


def test_die_says_what_scripts_rely_on():
    found = die("--place", "all")
    for key in DIE_WORDS:
        assert isinstance(found[key], float), key
        assert found[key] > 0
    assert found["within_die_sigma_nm"] < found["within_die_range_nm"]
    assert [place["place"] for place in found["places"]] == ["centre", "mid", "edge"]
    assert found["sources"]


def test_a_worn_pad_is_stated_and_changes_the_answer():
    new, worn = die(), die("--after", 40)
    assert any("40 wafers" in note for note in worn["notes"])
    assert worn["within_die_range_nm"] != new["within_die_range_nm"]
    assert abs(worn["planarization_length_mm"] / new["planarization_length_mm"] - 1) < 0.5


def test_fill_narrows_the_effective_density_and_is_written_down(tmp_path):
    layout = ("--layout", BLOCKS, "--layer", "1/0", "--cell", "600um")
    found = run("die", ROTARY, *layout, "--fill", "--fill-ceiling", "0.7", "--out", tmp_path)
    before, after = (found[f"effective_density_range_{when}_percent"] for when in ("before", "after"))
    assert after < 0.7 * before
    rows = [line for line in (tmp_path / "fill.csv").read_text().splitlines() if not line.startswith("#")]
    assert rows[0] == "x_mm,y_mm,side_mm,density_to_add_percent"
    table = [[float(cell) for cell in row.split(",")] for row in rows[1:]]
    assert len(table) == found["fill_tiles"]
    assert all(0 < x < 12 and 0 < y < 12 and 0 < add <= 70 for x, y, _, add in table)
    # What the tiles add up to is what the summary says.
    assert sum(side**2 * add for _, _, side, add in table) / 144 == pytest.approx(
        found["fill_added_percent"], rel=0.02
    )
    for name in ("die.png", "features.png", "layout.png", "fill.png", "die.nc"):
        assert (tmp_path / name).stat().st_size > 1000


def test_topography_goes_from_level_to_level(tmp_path):
    below = polish_die(load(ROTARY), read_layout_maps(BLOCKS, 1, 0, 200e-6))
    below.save(tmp_path / "die.nc")
    flat, above = die("--place", "mid"), die("--place", "mid", "--from-die", tmp_path / "die.nc")
    assert above["topography_nm"] != flat["topography_nm"]
    told = refused(
        "die", ROTARY, "--layout", BLOCKS, "--layer", "1/0", "--cell", "100um",
        "--from-die", tmp_path / "die.nc",
    )  # fmt: skip
    assert "same --cell" in told


def test_contact_route_from_the_command_line():
    by_density, by_contact = die(), die("--route", "contact")
    assert by_contact["route"] == "contact"
    assert 0.4 < by_contact["within_die_range_nm"] / by_density["within_die_range_nm"] < 1.5


@pytest.mark.parametrize("name, then", [("copper", "copper-barrier"), ("tungsten", None), ("sti", None)])
def test_examples_dish_by_tens_of_nanometres(name, then, lines):
    more = () if then is None else ("--then", EXAMPLES / f"{then}.toml")
    found = die(*more, "--place", "all", file=EXAMPLES / f"{name}.toml", layout=lines)
    for place in found["places"]:
        assert place["clear_time_s"] <= place["polish_time_s"]
    assert found["process"] == name
    # common practice, no source: some to a few hundred nm on lines of up to tens of micrometres, less on narrow ones
    assert 1 < found["dishing_mean_nm"] < 150
    assert found["dishing_max_nm"] < 250
    lost = "nitride_loss" if name == "sti" else "erosion"
    assert 0 < found[f"{lost}_max_nm"] < 80


def test_planarization_length_from_measured_steps(tmp_path):
    found = run(
        "fit", "--steps", EXAMPLES / "data" / "steps.csv", "--layout", BLOCKS, "--layer", "1/0",
        "--cell", "50um", "--out", tmp_path,
    )  # fmt: skip
    # the values behind the invented data, examples/make_data.py
    for stem, unit, true in (
        ("planarization_length", "mm", 4.2),
        ("blanket_rate", "nm_per_min", 232),
        ("contact_height", "nm", 180),
    ):
        low, value, high = (found[f"{stem}{part}_{unit}"] for part in ("_low", "", "_high"))
        assert low < value < high
        assert value == pytest.approx(true, rel=0.02)
    assert found["residual_sd_nm"] == pytest.approx(4, rel=0.3)
    assert (tmp_path / "planarization.png").stat().st_size > 1000


@pytest.mark.parametrize(
    "words, place",
    [
        (("--place", "rim"), "rim"),
        (("--route", "guess"), "route"),
        (("--process", "gold"), "process"),
        (("--process", "copper"), "removal"),
        (("--from-die", "missing.nc"), "missing.nc"),
        (("--fill", "--fill-ceiling", "1.5"), "ceiling"),
        (("--step-height", "0nm"), "--step-height"),
        (("--planarization-length", "4"), "unit"),
    ],
)
def test_bad_options_are_refused_in_one_line(words, place):
    layout = ("--layout", BLOCKS, "--layer", "1/0", "--cell", "400um")
    assert place in refused("die", ROTARY, *layout, *words)


@pytest.mark.parametrize(
    "rows, told",
    [
        ("x_mm,y_mm,time_s,up_loss_nm\n1,1,60,abc\n", "up_loss_nm"),
        ("x,y_mm,time_s,up_loss_nm\n1,1,60,100\n", "x_mm"),
        ("x_mm,y_mm,time_s\n1,1,60\n", "step_left_nm"),
        ("x_mm,y_mm,time_s,up_loss_nm\n1,1,60,100\n", "--step-height"),
        ("x_mm,y_mm,time_s,up_loss_nm,step_before_nm\n1,1,60,100,800\n", "measured points"),
        (
            "x_mm,y_mm,time_s,up_loss_nm,step_before_nm\n1,1,60,100,800\n1,1,60,100,700\n",
            "the same in every row",
        ),
    ],
)
def test_bad_step_tables_are_refused_in_one_line(rows, told, tmp_path):
    file = tmp_path / "steps.csv"
    file.write_text(rows)
    layout = ("--layout", BLOCKS, "--layer", "1/0", "--cell", "400um")
    assert told in refused("fit", "--steps", file, *layout)
