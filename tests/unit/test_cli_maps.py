"""Cell maps from pictures and tables, wherever a verb takes a layout: same answers, bounds, refusals in one line."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from planish.cli.main import app
from planish.errors import PlanishError, SetupError
from planish.measure.layout import sources as layout_sources
from planish.measure.layout.limits import OWN
from planish.measure.layout.make import make_maps
from planish.measure.layout.maps import LayoutMaps
from planish.measure.layout.sources import maps_from_array, maps_from_csv, maps_from_image
from planish.predict.die.polish import polish_die
from planish.setup.load import load

EXAMPLES = Path(__file__).parents[2] / "examples"
ROTARY, COPPER = EXAMPLES / "rotary.toml", EXAMPLES / "copper.toml"


def run(*words):
    done = CliRunner().invoke(app, [*map(str, words), "--json"], catch_exceptions=False)
    assert done.exit_code == 0, done.stderr
    return json.loads(done.stdout)


def refused(*words) -> str:
    with pytest.raises(PlanishError) as caught:
        CliRunner().invoke(app, list(map(str, words)), catch_exceptions=False)
    assert "\n" not in str(caught.value)
    return str(caught.value)


@pytest.fixture(scope="module")
def maps():
    return make_maps("density-blocks", 5e-4, size=6e-3, pitch=4e-6)


@pytest.fixture(scope="module")
def table(maps, tmp_path_factory):
    return written_by_hand(maps, tmp_path_factory.mktemp("table"))


def written_by_hand(maps, folder):
    path = folder / "map.csv"
    rows = ["x_um,y_um,density,line_width_um,space_um,perimeter_per_um"]
    for j, i in np.ndindex(maps.density.shape):
        x, y = (maps.origin[0] + (i + 0.5) * maps.cell) * 1e6, (maps.origin[1] + (j + 0.5) * maps.cell) * 1e6
        values = (x, y, maps.density[j, i], maps.line_width[j, i] * 1e6, maps.space[j, i] * 1e6)
        rows.append(",".join(repr(float(v)) for v in (*values, maps.perimeter[j, i] * 1e-6)))
    path.write_text("\n".join(rows) + "\n")
    return path


def test_a_table_gives_the_same_die_as_the_maps_it_was_written_from(maps, table, tmp_path):
    maps.save(tmp_path / "maps.npz")
    mine = run("die", ROTARY, "--layout", table)
    theirs = run("die", ROTARY, "--layout", tmp_path / "maps.npz")
    for key in ("within_die_range_nm", "topography_nm", "planarization_length_mm", "clear_time_s"):
        assert mine[key] == pytest.approx(theirs[key], rel=1e-9)


def test_a_table_is_polished_at_every_place_of_its_die(tmp_path):
    large = written_by_hand(make_maps("density-blocks", 2e-3, size=20e-3, pitch=4e-6), tmp_path)
    assert run("die", ROTARY, "--layout", large, "--fields")["fields_polished"] > 100


def test_measure_reads_a_table_and_keeps_its_maps(maps, table, tmp_path):
    found = run("measure", table, "--out", tmp_path)
    assert found["mean_density_percent"] == pytest.approx(100 * float(maps.density.mean()))
    assert found["cell_um"] == pytest.approx(500)
    again = LayoutMaps.open(tmp_path / "maps.npz")
    np.testing.assert_allclose(again.density, maps.density)
    assert run("measure", tmp_path / "maps.npz")["mean_density_percent"] == pytest.approx(
        found["mean_density_percent"]
    )


def test_measure_reads_a_picture_by_its_pixels(tmp_path):
    pixels = np.full((40, 60), 255, np.uint8)
    pixels[20:, :30] = 0  # the lower left quarter is covered
    Image.fromarray(pixels).save(tmp_path / "layer.png")
    found = run("measure", tmp_path / "layer.png", "--cell", "10um", "--pixels", 10, "--out", tmp_path)
    assert (found["nx"], found["ny"]) == (6, 4)
    assert found["coverage_area_um2"] == pytest.approx(30 * 20)
    maps = LayoutMaps.open(tmp_path / "maps.npz")
    np.testing.assert_array_equal(maps.density, [[1, 1, 1, 0, 0, 0]] * 2 + [[0] * 6] * 2)
    other = run("measure", tmp_path / "layer.png", "--cell", "10um", "--pixels", 10, "--covered", "bright")
    assert other["mean_density_percent"] == pytest.approx(100 - found["mean_density_percent"])


@pytest.mark.parametrize("dtype, full", [(np.uint8, 255), (np.uint16, 65535)])
def test_grey_is_partly_covered_at_any_depth(dtype, full, tmp_path):
    grey = np.array([[0, full], [full // 2, full // 4]], dtype)
    Image.fromarray(grey).save(tmp_path / "grey.png")
    maps = maps_from_image(tmp_path / "grey.png", 1e-4)
    np.testing.assert_allclose(maps.density, [[0.5, 0.75], [1, 0]], atol=0.51 * 256 / full)
    assert np.isnan(maps.line_width).all()
    assert any("grey" in note for note in maps.notes)


@pytest.mark.parametrize("name, kind", [("one.bmp", "1"), ("colour.tif", "RGB"), ("palette.png", "P")])
def test_other_kinds_of_pictures(name, kind, tmp_path):
    image = Image.fromarray(np.array([[0, 255], [255, 255]], np.uint8)).convert(kind)
    image.save(tmp_path / name)
    np.testing.assert_allclose(maps_from_image(tmp_path / name, 1e-4).density, [[0, 0], [1, 0]])


def test_pictures_that_do_not_say_what_is_covered_are_refused(tmp_path):
    Image.new("RGBA", (4, 4), (0, 0, 0, 0)).save(tmp_path / "clear.png")
    assert "opaque" in refused("measure", tmp_path / "clear.png")
    two = Image.new("L", (4, 4))
    two.save(tmp_path / "two.tif", save_all=True, append_images=[two])
    assert "2 pictures" in refused("measure", tmp_path / "two.tif")


def test_a_picture_too_large_is_refused_before_it_is_unpacked(tmp_path, monkeypatch):
    Image.new("1", (300, 200)).save(tmp_path / "large.png")
    monkeypatch.setattr(layout_sources, "OWN", replace(OWN, cells=50_000))
    monkeypatch.setattr(Image.Image, "load", lambda self: pytest.fail("unpacked"))
    assert "300 x 200 pixels, more than 50000" in refused("measure", tmp_path / "large.png")


def test_too_many_cells_are_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(layout_sources, "OWN", replace(OWN, cells=10))
    with pytest.raises(PlanishError, match="larger cells"):
        maps_from_array(np.zeros((4, 4)), 1e-6)


@pytest.mark.parametrize(
    "text, told",
    [
        ("x_um,y_um,density,density\n1,1,0,0\n2,1,0,0\n", "stands twice"),
        ("x_um,y_um,density\n1,1,0,7\n2,1,0\n", "line 2"),
        ("x_um,y_um,density\n1,1,\n2,1,0\n", "line 2: density is empty"),
        ("x_um,y_um,density\n1,1,0\n", "two cells"),
        ("site,x_mm,y_mm,thickness_nm\n1,0,0,1000\n", "before and after"),
        ("x_um,y_um,density\n1,1,nan\n2,1,0\n", "line 2: density"),
        ("x_um,y_um,density\n1,1,1.5\n2,1,0\n", "0 to 1"),
        ("", "empty"),
        ("\0\0\0", "binary"),
        ("x_um,y_um,density\n" + "1" * 300_000, "longer than"),
    ],
)
def test_tables_that_are_none_are_refused_in_one_line(text, told, tmp_path):
    (tmp_path / "map.csv").write_text(text)
    assert told in refused("measure", tmp_path / "map.csv")
    assert told in refused("die", ROTARY, "--layout", tmp_path / "map.csv")


@pytest.mark.parametrize(
    "words, told",
    [
        (("measure", "gone.csv"), "no such file"),
        (("measure", "gone.png"), "no such file"),
        (("measure", "gone.npz"), "gone.npz"),
        (("die", ROTARY, "--layout", "gone.png"), "no such file"),
        (("measure", "map.png", "--covered", "green"), "dark"),
        (("measure", "map.png", "--layer", "1/0"), "--layer"),
        (("measure", "map.png", "--pixels", "7"), "multiple of 7"),
        (("measure", "map.png", "--cell", "10"), "--cell"),
    ],
)
def test_bad_words_about_maps_are_refused_in_one_line(words, told, tmp_path, monkeypatch):
    Image.new("L", (4, 4)).save(tmp_path / "map.png")
    monkeypatch.chdir(tmp_path)
    assert told in refused(*words)


def test_metal_needs_widths_and_oxide_says_what_it_took():
    density = np.full((8, 8), 0.5)
    blind = maps_from_array(density, 5e-4)
    with pytest.raises(SetupError, match="line width is unknown in every cell"):
        polish_die(load(COPPER), blind, place="centre")
    oxide = polish_die(load(ROTARY), blind, place="centre")
    assert any("the space is unknown in 100 %" in note for note in oxide.notes)
    width = np.where(np.arange(8) < 2, np.nan, 1e-6) * np.ones((8, 1))
    some = polish_die(load(COPPER), maps_from_array(density, 5e-4, line_width=width), place="centre")
    assert any("line width is unknown in 25 %" in note for note in some.notes)
    known = polish_die(load(COPPER), maps_from_array(density, 5e-4, line_width=1e-6), place="centre")
    assert not any("unknown" in note for note in known.notes)


def test_a_table_read_in_python_is_what_the_command_reads(table, maps):
    found = maps_from_csv(table)
    np.testing.assert_allclose(found.line_width, maps.line_width)
    np.testing.assert_allclose(found.perimeter, maps.perimeter)
    assert found.origin == pytest.approx(maps.origin, abs=1e-12)
