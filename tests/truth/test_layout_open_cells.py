"""The 58 real cells of an open 130 nm process that the package ihp-gdsfactory ships.

Package: ihp-gdsfactory 2.0.0, Apache License 2.0 (as its metadata and LICENSE
file state); installed without its own dependencies, never imported: only its
.gds files are read. Compared layer by layer with gdstk (Boost Software License),
and a part of them with GEOS through shapely (BSD) for the length of the outline.
"""

from __future__ import annotations

import importlib.metadata

import gdstk
import pytest
import shapely

from planish.measure.layout.read import list_layers, read_layout_maps

PACKAGE = importlib.metadata.distribution("ihp-gdsfactory")
CELLS = sorted(str(f) for f in PACKAGE.files or () if str(f).endswith(".gds"))


def test_the_package_is_the_open_one_and_whole():
    assert "Apache License" in (PACKAGE.metadata["License"] or "")
    assert len(CELLS) == 58


@pytest.mark.parametrize("name", CELLS)
def test_cell(name):
    path = PACKAGE.locate_file(name)
    tops = gdstk.read_gds(path).top_level()
    layers = list_layers(path)
    assert layers
    for layer, datatype in layers:
        polygons = [p for top in tops for p in top.get_polygons(layer=layer, datatype=datatype)]
        union = gdstk.boolean(polygons, [], "or", precision=1e-6)
        maps = read_layout_maps(path, layer, datatype, 5e-6, cache=False)
        assert maps.polygons == len(polygons)
        assert maps.coverage_area_um2 == pytest.approx(sum(p.area() for p in union), rel=1e-6)
        if len(polygons) < 200:
            outline = shapely.union_all(
                [shapely.Polygon(p.points).buffer(0) for p in polygons], grid_size=1e-7
            )
            assert maps.perimeter.sum() * maps.cell**2 * 1e6 == pytest.approx(outline.length, rel=1e-5)
