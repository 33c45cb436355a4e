"""Maps as records: what they say of known patterns, and that they survive being stored."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from planish.errors import DataError
from planish.measure.layout.make import make_layout, make_maps, make_rects
from planish.measure.layout.maps import FIELDS, LayoutMaps
from planish.measure.layout.read import maps_from_rects
from planish.measure.layout.sources import maps_from_array, maps_from_csv, maps_from_image


def lines(width: int, space: int, size: int = 400_000) -> np.ndarray:
    left = np.arange(0, size, width + space)
    return np.stack(
        [left, np.zeros_like(left), np.minimum(left + width, size), np.full_like(left, size)], axis=1
    )


@pytest.mark.parametrize(
    ("width", "space"),
    [(1000, 1000), (500, 2000), (3000, 1000), (5000, 5000), (20_000, 20_000), (40_000, 10_000)],
)
def test_widths_of_long_lines_are_found_from_far_below_to_far_above_the_cell(width, space):
    maps = maps_from_rects(lines(width, space), 10e-6)
    inner = (slice(10, -10), slice(10, -10))
    drawn = np.nanmedian(maps.line_width[inner]), np.nanmedian(maps.space[inner])
    assert_allclose(drawn, (width * 1e-9, space * 1e-9), rtol=0.12)
    if 10_000 % (width + space) == 0:  # a whole number of pitches in a cell: exact
        assert_allclose(maps.line_width[inner], width * 1e-9, rtol=1e-12)
        assert_allclose(maps.space[inner], space * 1e-9, rtol=1e-12)


def test_width_of_squares_is_their_side():
    at = np.stack(np.meshgrid(np.arange(0, 100_000, 5000), np.arange(0, 100_000, 5000)), -1).reshape(-1, 2)
    maps = maps_from_rects(np.hstack([at, at + 2000]), 10e-6)
    assert_allclose(maps.line_width, 2e-6, rtol=1e-12)


def test_isolated_line_keeps_its_width_and_empty_cells_have_none():
    maps = maps_from_rects(
        np.array([[200_000, 0, 201_500, 400_000], [0, 0, 1, 1], [399_999, 0, 400_000, 1]]), 10e-6
    )
    column = maps.line_width[5:-5, 20]
    assert_allclose(column, 1.5e-6, rtol=0.05)
    assert np.isnan(maps.line_width[20, 5])
    assert maps.density[20, 5] == 0.0


def test_block_much_wider_than_the_cell_is_not_taken_for_a_narrow_line():
    # The left border of the block, 101 um wide, leaves a sliver of 1 um in a cell.
    maps = maps_from_rects(
        np.array([[99_000, 0, 200_000, 400_000], [0, 0, 1, 1], [399_999, 0, 400_000, 1]]), 10e-6
    )
    assert maps.line_width[20, 9] > 30e-6
    assert_allclose(maps.line_width[20, 14], 101e-6, rtol=0.15)


def test_perimeter_counts_the_outline_of_the_union_only():
    two = maps_from_rects(np.array([[0, 0, 6000, 10_000], [6000, 0, 10_000, 10_000]]), 20e-6)
    one = maps_from_rects(np.array([[0, 0, 10_000, 10_000]]), 20e-6)
    assert_array_equal(two.perimeter, one.perimeter)
    assert_allclose(one.perimeter.sum() * one.cell**2, 40e-6, rtol=1e-14)


@pytest.mark.parametrize("name", ["maps.npz", "maps.zarr"])
def test_store_and_open(tmp_path, name):
    maps = make_maps("line-space", 20e-6, size=1e-3, widths=(1e-6, 5e-6))
    again = LayoutMaps.open(maps.save(tmp_path / "deep" / name))
    for field in FIELDS:
        assert_array_equal(getattr(again, field), getattr(maps, field))
    assert again.summary() == maps.summary()
    assert [p.name for p in (tmp_path / "deep").iterdir()] == [name]


def test_open_refuses_what_is_not_there_or_damaged(tmp_path):
    with pytest.raises(DataError, match="no such maps"):
        LayoutMaps.open(tmp_path / "none.npz")
    (tmp_path / "bad.npz").write_bytes(b"PK\x03\x04 nothing")
    with pytest.raises(DataError, match="damaged, or no layout maps"):
        LayoutMaps.open(tmp_path / "bad.npz")


def test_summary_has_the_words_scripts_rely_on():
    summary = maps_from_rects(np.array([[0, 0, 2000, 3000]]), 1e-6).document()
    assert summary["coverage_area_um2"] == pytest.approx(6.0)
    assert summary["bounding_box_um"] == pytest.approx([0, 0, 2, 3])
    assert (summary["polygons"], summary["cell_um"], summary["nx"], summary["ny"]) == (1, 1.0, 2, 3)
    assert summary["mean_density_percent"] == 100.0


def test_maps_from_array_fill_in_what_long_lines_imply():
    maps = maps_from_array([[0.5, 0.25], [1.0, 0.0]], 10e-6, line_width=2e-6)
    assert_allclose(maps.space[0], [2e-6, 6e-6])
    assert np.isnan(maps.space[1]).all()
    assert_allclose(maps.perimeter, [[0.5e6, 0.25e6], [0, 0]])
    assert maps.coverage_area_um2 == pytest.approx(175.0)


@pytest.mark.parametrize(
    ("values", "match"),
    [([[0.1, 1.2]], "0 to 1"), ([[np.nan]], "0 to 1"), ([0.1], "two-dimensional"), ([[]], "not empty")],
)
def test_maps_from_array_refuse(values, match):
    with pytest.raises(DataError, match=match):
        maps_from_array(values, 1e-6)


def test_maps_from_image_agree_with_the_same_rectangles(tmp_path):
    from PIL import Image

    rects = np.array([[2, 1, 9, 4], [5, 3, 12, 10], [0, 14, 16, 16]])
    pixels = np.full((16, 16), 255, np.uint8)
    for x0, y0, x1, y1 in rects:
        pixels[y0:y1, x0:x1] = 0
    Image.fromarray(pixels[::-1]).save(tmp_path / "layer.png")
    drawn = maps_from_image(tmp_path / "layer.png", 4e-9, pixels_per_cell=4)
    exact = maps_from_rects(rects, 4e-9)
    assert_allclose(drawn.density, exact.density, atol=1e-15)
    assert_allclose(drawn.perimeter, exact.perimeter, rtol=1e-12)
    assert_allclose(drawn.line_width, exact.line_width, rtol=1e-12)
    with pytest.raises(DataError, match="multiple of 3"):
        maps_from_image(tmp_path / "layer.png", 1e-6, pixels_per_cell=3)
    (tmp_path / "no.png").write_text("no picture")
    with pytest.raises(DataError, match="not readable as an image"):
        maps_from_image(tmp_path / "no.png", 1e-6)


def test_maps_from_csv(tmp_path):
    table = tmp_path / "map.csv"
    rows = ["x_um,y_um,density,line_width_um", "15,5,0.25,", "5,5,0.5,1.5", "5,15,0,", "15,15,1,3"]
    table.write_text("\n".join(rows))
    maps = maps_from_csv(table)
    assert maps.cell == pytest.approx(10e-6)
    assert maps.origin == pytest.approx((0, 0))
    assert_allclose(maps.density, [[0.5, 0.25], [0, 1]])
    assert maps.line_width[0, 0] == pytest.approx(1.5e-6)
    assert np.isnan(maps.line_width[0, 1])
    table.write_text("\n".join(rows[:-1]))
    with pytest.raises(DataError, match="regular square grid"):
        maps_from_csv(table)
    table.write_text("x_um,y_um,density\n1,1,many\n")
    with pytest.raises(DataError, match="line 2: density"):
        maps_from_csv(table)
    table.write_text("x,y\n1,1\n")
    with pytest.raises(DataError, match="no column 'x_um'"):
        maps_from_csv(table)


def test_step_density_layout_has_the_densities_asked_for():
    maps = make_maps("step-density", 50e-6, size=2e-3, densities=(0.2, 0.5, 0.8), pitch=10e-6)
    thirds = np.array([maps.density[:, a:b].mean() for a, b in ((1, 12), (15, 25), (28, 39))])
    assert_allclose(thirds, [0.2, 0.5, 0.8], atol=0.02)


def test_made_layouts_are_the_same_bytes_each_time_and_read_back_the_same(tmp_path):
    from planish.measure.layout.read import read_layout_maps

    for kind in ("density-blocks", "line-space", "step-density"):
        a = make_layout(kind, tmp_path / "a.gds", layer=(3, 7), size=1e-3)
        b = make_layout(kind, tmp_path / "b.gds", layer=(3, 7), size=1e-3)
        assert a.read_bytes() == b.read_bytes()
        assert_array_equal(
            read_layout_maps(a, 3, 7, 20e-6, cache=False).density, make_maps(kind, 20e-6, size=1e-3).density
        )


@pytest.mark.parametrize(
    "options", [{"densities": (0.0,)}, {"pitch": 1.0}, {"size": -1.0}, {"blocks": 0}, {"densities": ()}]
)
def test_make_refuses_what_cannot_be_drawn(options):
    with pytest.raises(DataError):
        make_rects("density-blocks", **options)
    with pytest.raises(DataError):
        make_rects("checkers")
