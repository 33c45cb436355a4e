"""Layouts against two independent geometry libraries.

Written and flattened by gdstk (Boost Software License; its union is that of the
Clipper library), united and measured by GEOS through shapely (BSD; its overlay
rounds to a grid, set here to 1e-7 um).
"""

from __future__ import annotations

import gzip

import gdstk
import numpy as np
import pytest
import shapely

from planish.measure.layout.read import list_layers, read_layout_maps


def random_library(seed: int) -> tuple[gdstk.Library, gdstk.Cell]:
    """Three levels with rectangles, polygons with and without holes, circles, paths of every kind, arrays,
    mirrored, scaled and turned by right and odd angles."""
    rng = np.random.default_rng(seed)
    library = gdstk.Library("RANDOM", unit=1e-6, precision=1e-9)
    leaf, middle, top = (library.new_cell(name) for name in ("LEAF", "MIDDLE", "TOP"))

    def point(span: float) -> tuple[float, float]:
        x, y = np.round(rng.uniform(-span, span, 2), 3)
        return float(x), float(y)

    for _ in range(int(rng.integers(3, 9))):
        leaf.add(gdstk.rectangle(point(5), point(5), layer=4, datatype=2))
        angles = np.sort(rng.uniform(0, 2 * np.pi, int(rng.integers(3, 8))))
        around = np.stack([np.cos(angles), np.sin(angles)], axis=1) * rng.uniform(1, 3) + point(5)
        leaf.add(gdstk.Polygon(np.round(around, 3), layer=4, datatype=2))
    leaf.add(gdstk.ellipse(point(4), 1.5, inner_radius=0.8, tolerance=5e-3, layer=4, datatype=2))
    leaf.add(gdstk.text("planish", 2, point(4), layer=4, datatype=2)[0])
    for ends in ("flush", "extended", (0.25, 0.4)):
        bend = [point(6), point(6), point(6)]
        leaf.add(gdstk.FlexPath(bend, 0.3, ends=ends, simple_path=True, layer=4, datatype=2))
        x, y = bend[0]
        right = [(x, y), (x + 3, y), (x + 3, y - 2), (x + 1, y - 2)]
        leaf.add(gdstk.FlexPath(right, 0.301, ends=ends, simple_path=True, layer=4, datatype=2))
    leaf.add(gdstk.rectangle((50, 50), (60, 60), layer=9, datatype=0))
    for turn in (0.0, np.pi / 2, np.pi, float(rng.uniform(0, 6))):
        middle.add(
            gdstk.Reference(
                leaf, point(25), rotation=turn, magnification=float(rng.choice([1.0, 1.5])),
                x_reflection=bool(rng.integers(2)), columns=2, rows=3, spacing=(9.0, 11.5),
            )
        )  # fmt: skip
    middle.add(gdstk.Reference(leaf, point(25), rotation=-np.pi / 2, x_reflection=True))
    top.add(gdstk.Reference(middle, (3.0, 4.0)), gdstk.Reference(middle, point(40), rotation=np.pi / 2))
    return library, top


def compare(maps, polygons, cell_um: float) -> None:
    union = shapely.union_all([shapely.Polygon(p.points).buffer(0) for p in polygons], grid_size=1e-7)
    assert maps.polygons == len(polygons)
    assert maps.coverage_area_um2 == pytest.approx(union.area, rel=1e-6)
    assert maps.density.sum() * cell_um**2 == pytest.approx(maps.coverage_area_um2, rel=1e-12)
    assert maps.perimeter.sum() * cell_um**2 * 1e-6 == pytest.approx(union.length, rel=1e-5)
    assert maps.bounding_box_um == pytest.approx(union.bounds, abs=2e-6)
    x0, y0 = maps.origin[0] * 1e6, maps.origin[1] * 1e6
    shapely.prepare(union)
    for j, i in np.ndindex(maps.shape):
        x, y = x0 + i * cell_um, y0 + j * cell_um
        part = shapely.intersection(union, shapely.box(x, y, x + cell_um, y + cell_um)).area
        assert maps.density[j, i] * cell_um**2 == pytest.approx(part, abs=2e-5)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("kind", ["gds", "gds.gz", "oas"])
def test_random_hierarchies(tmp_path, seed, kind):
    library, top = random_library(seed)
    path = tmp_path / f"layout.{kind}"
    if kind == "oas":
        library.write_oas(path)
        back = gdstk.read_oas(path)
    else:
        library.write_gds(tmp_path / "plain.gds", max_points=199 if seed else 0)
        back = gdstk.read_gds(tmp_path / "plain.gds")
        data = (tmp_path / "plain.gds").read_bytes()
        path.write_bytes(gzip.compress(data) if kind == "gds.gz" else data)
    (top,) = back.top_level()
    polygons = top.get_polygons(layer=4, datatype=2)
    maps = read_layout_maps(path, 4, 2, 8e-6, cache=False)
    compare(maps, polygons, 8.0)
    assert set(list_layers(path)) == {(4, 2), (9, 0)}


def test_winding_decides_where_an_outline_crosses_itself(tmp_path):
    # A pentagram drawn in one stroke: its middle is wound about twice and is covered.
    turn = 2 * np.pi * np.array([0, 2, 4, 1, 3]) / 5
    star = np.round(np.stack([np.cos(turn), np.sin(turn)], axis=1) * 5, 3)
    library = gdstk.Library()
    library.new_cell("STAR").add(gdstk.Polygon(star))
    library.write_gds(tmp_path / "star.gds")
    maps = read_layout_maps(tmp_path / "star.gds", 0, 0, 2e-6, cache=False)
    lines = shapely.unary_union(shapely.LineString([*star, star[0]]))
    parts = shapely.get_parts(shapely.polygonize([lines]))
    assert len(parts) == 6
    assert maps.coverage_area_um2 == pytest.approx(shapely.union_all(parts).area, rel=1e-6)


def test_oasis_repetitions_are_not_written_out(tmp_path):
    library = gdstk.Library()
    cell = library.new_cell("A")
    cell.add(square := gdstk.rectangle((0, 0), (1, 0.5)))
    square.repetition = gdstk.Repetition(1000, 800, spacing=(1.5, 0.8))
    cell.add(strip := gdstk.rectangle((0, -5), (0.5, -4)))
    strip.repetition = gdstk.Repetition(x_offsets=[3.0, 4.5, 4.75])
    cell.add(skew := gdstk.rectangle((0, 700), (0.5, 701)))
    skew.repetition = gdstk.Repetition(3, 4, v1=(2.0, 0.25), v2=(0.125, 1.5))
    library.write_oas(tmp_path / "rep.oas")
    maps = read_layout_maps(tmp_path / "rep.oas", 0, 0, 10e-6, cache=False)
    assert maps.polygons == 800_000 + 4 + 12
    assert maps.coverage_area_um2 == pytest.approx(400_000 + 0.5 + 1.25 + 6.0, rel=1e-12)
