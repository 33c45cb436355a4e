"""Coverage and edges against counting pixels, on layouts small enough to draw pixel by pixel."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from planish.measure.coverage import union as coverage
from planish.measure.layout import mapping
from planish.measure.layout.gds_write import array_of, boundaries, structure, write_records, write_rects
from planish.measure.layout.maps import FIELDS
from planish.measure.layout.read import compile_kernels, maps_from_rects, read_layout_maps

UNIT = 1e-9


def by_pixels(rects: np.ndarray, cell: int) -> tuple[np.ndarray, np.ndarray]:
    """Area and edge length of each cell, from a picture of one pixel a unit."""
    i0, j0 = rects[:, :2].min(axis=0) // cell
    i1, j1 = -(-rects[:, 2:].max(axis=0) // cell)
    x0, y0 = i0 * cell, j0 * cell
    picture = np.zeros(((j1 - j0) * cell + 1, (i1 - i0) * cell + 1), int)
    for a, b, c, d in rects:
        picture[b - y0 : d - y0, a - x0 : c - x0] = 1
    edge = np.abs(np.diff(picture, axis=1, prepend=0)) + np.abs(np.diff(picture, axis=0, prepend=0))
    # Edges on the outer right and upper border stay with the last cells.
    edge[:, -2] += edge[:, -1]
    edge[-2, :] += edge[-1, :]

    def sums(v: np.ndarray) -> np.ndarray:
        return v[:-1, :-1].reshape(j1 - j0, cell, i1 - i0, cell).sum(axis=(1, 3))

    return sums(picture), sums(edge)


def check(rects: np.ndarray, cell: int) -> None:
    maps = maps_from_rects(rects, cell * UNIT, unit=UNIT)
    area, edge = by_pixels(rects, cell)
    assert_allclose(maps.density * cell**2, area, atol=1e-9)
    assert_allclose(maps.perimeter * maps.cell**2 / UNIT, edge, atol=1e-8)


boxes = st.tuples(st.integers(-30, 30), st.integers(-30, 30), st.integers(1, 40), st.integers(1, 40))


@given(st.lists(boxes, min_size=1, max_size=30), st.integers(3, 25))
@settings(max_examples=150)
def test_any_rectangles_on_any_cells(shapes, cell):
    check(np.array([(x, y, x + w, y + h) for x, y, w, h in shapes]), cell)


@pytest.mark.parametrize("most", [3, 12, 60])
def test_crowds_that_make_the_window_split(most):
    rng = np.random.default_rng(most)
    at = rng.integers(0, 120, (4000, 2))
    check(np.hstack([at, at + rng.integers(1, most, (4000, 2))]), 60)


def test_copies_on_one_spot_count_once():
    check(np.tile([[3, 4, 17, 9], [3, 4, 17, 9], [16, 1, 18, 30]], (20_000, 1)), 20)


def test_tiles_workers_and_splits_do_not_change_a_number(tmp_path, monkeypatch):
    rng = np.random.default_rng(5)
    at = rng.integers(0, 300_000, (20_000, 2))
    rects = np.hstack([at, at + rng.integers(100, 9000, at.shape)]).astype(np.int32)
    path = write_rects(tmp_path / "a.gds", rects)
    base = read_layout_maps(path, 1, 0, 10e-6, cache=False, workers=1)
    runs = [read_layout_maps(path, 1, 0, 10e-6, cache=False, workers=2, tile=t) for t in (1, 7)]
    monkeypatch.setattr(mapping, "_ENTRIES", 500)
    monkeypatch.setattr(mapping, "_RECTS", 300)
    runs.append(read_layout_maps(path, 1, 0, 10e-6, cache=False))
    for maps in runs:
        for field in FIELDS:
            assert_array_equal(getattr(maps, field), getattr(base, field))


def test_one_cell_with_more_shapes_than_are_held_at_once(tmp_path, monkeypatch):
    rng = np.random.default_rng(6)
    at = rng.integers(0, 9000, (5000, 2))
    rects = np.hstack([at, at + rng.integers(1, 60, at.shape)]).astype(np.int32)
    path = write_rects(tmp_path / "a.gds", rects)
    base = read_layout_maps(path, 1, 0, 10e-6, cache=False)
    monkeypatch.setattr(mapping, "_RECTS", 300)
    small = read_layout_maps(path, 1, 0, 10e-6, cache=False)
    assert small.coverage_area_um2 == base.coverage_area_um2
    assert_allclose(small.perimeter, base.perimeter, rtol=1e-13)


def test_window_is_the_same_map_cut_out(tmp_path):
    rng = np.random.default_rng(7)
    at = rng.integers(0, 100_000, (3000, 2))
    path = write_rects(tmp_path / "a.gds", np.hstack([at, at + 1500]).astype(np.int32))
    whole = read_layout_maps(path, 1, 0, 5e-6, cache=False)
    part = read_layout_maps(path, 1, 0, 5e-6, window=(20e-6, 30e-6, 60e-6, 80e-6), cache=False)
    assert part.shape == (10, 8)
    assert_array_equal(part.density, whole.density[6:16, 4:12])
    assert_array_equal(part.perimeter[:-1, :-1], whole.perimeter[6:15, 4:11])
    assert part.bounding_box_um == whole.bounding_box_um


def test_arrays_of_arrays_equal_their_flat_copy(tmp_path):
    cell = np.array([[0, 0, 400, 900], [300, 700, 1500, 1000]], dtype=np.int32)
    parts = [
        structure("LEAF", [boundaries(cell, (1, 0))]),
        structure("ROW", [array_of("LEAF", (50, -20), (7, 3), (1100, 950))]),
        structure("TOP", [array_of("ROW", (0, 0), (4, 6), (8000, 2900))]),
    ]
    deep = read_layout_maps(write_records(tmp_path / "deep.gds", parts), 1, 0, 2e-6, cache=False)
    flat = np.concatenate(
        [
            cell + np.array([50 + 1100 * i + 8000 * k, -20 + 950 * j + 2900 * m] * 2)
            for i in range(7)
            for j in range(3)
            for k in range(4)
            for m in range(6)
        ]
    ).astype(np.int32)
    same = maps_from_rects(flat, 2e-6)
    assert deep.polygons == len(flat) == same.polygons
    assert deep.bounding_box_um == pytest.approx(same.bounding_box_um)
    for field in FIELDS:
        assert_array_equal(getattr(deep, field), getattr(same, field))


def test_cells_lie_on_multiples_of_their_side():
    maps = maps_from_rects(np.array([[-2500, 13_000, 4000, 14_000]]), 5e-6)
    assert maps.origin == pytest.approx((-5e-6, 10e-6))
    assert maps.shape == (1, 2)


def test_cache_finds_by_content_and_survives_damage(tmp_path, monkeypatch):
    monkeypatch.setenv("PLANISH_CACHE", str(tmp_path / "cache"))
    rng = np.random.default_rng(8)
    at = rng.integers(0, 400_000, (20_000, 2))
    path = write_rects(tmp_path / "a.gds", np.hstack([at, at + 1500]).astype(np.int32))
    first = read_layout_maps(path, 1, 0, 10e-6)
    (entry,) = (tmp_path / "cache" / "layouts").iterdir()
    copy = tmp_path / "copy.gds"
    copy.write_bytes(path.read_bytes())
    shares: list[float] = []
    again = read_layout_maps(copy, 1, 0, 10e-6, progress=shares.append)
    assert shares == [1.0]
    assert_array_equal(again.density, first.density)
    assert again.source == str(copy)
    assert again.digest == first.digest
    changed = bytearray(path.read_bytes())
    changed[-100] ^= 1
    copy.write_bytes(changed)
    read_layout_maps(copy, 1, 0, 10e-6, progress=shares.append)
    assert len(shares) > 2
    for file in entry.rglob("*"):
        if file.is_file():
            file.write_bytes(b"?")
    assert_array_equal(read_layout_maps(path, 1, 0, 10e-6).density, first.density)


def test_progress_rises_to_one_and_may_stop_the_work(tmp_path):
    path = write_rects(tmp_path / "a.gds", np.array([[0, 0, 200_000, 200_000]], dtype=np.int32))
    shares: list[float] = []
    read_layout_maps(path, 1, 0, 1e-6, cache=False, tile=60, progress=shares.append)
    assert shares == sorted(shares)
    assert shares[-1] == 1.0

    class StopError(Exception):
        pass

    def stop(share: float) -> None:
        if share > 0.6:
            raise StopError

    with pytest.raises(StopError):
        read_layout_maps(path, 1, 0, 1e-6, cache=False, tile=50, progress=stop)


def test_kernels_compile_on_their_own():
    compile_kernels()
    assert all(k.signatures for k in (coverage._rect_cells, coverage._mixed_cells, coverage._quad_cells))
