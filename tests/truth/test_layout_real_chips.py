"""Two real layouts of an open 130 nm chip (Apache-2.0), read beside the checkout.

Every layer is checked against gdstk (Boost Software License): its reading, its
flattening and the area of its union (Clipper), and the box of its polygons.
"""

from __future__ import annotations

import gzip

import gdstk
import pytest

from planish.measure.layout.read import list_layers, read_layout_maps


@pytest.mark.shared_data
@pytest.mark.parametrize("name", ["open-chip-macro.gds.gz", "open-chip-routing.gds.gz"])
def test_every_layer_as_gdstk_unites_it(shared_data, tmp_path, name):
    path = shared_data(f"layouts/{name}")
    plain = tmp_path / "plain.gds"
    plain.write_bytes(gzip.decompress(path.read_bytes()))
    (top,) = gdstk.read_gds(plain).top_level()
    layers = list_layers(path)
    assert len(layers) >= 6
    for layer, datatype in layers:
        polygons = top.get_polygons(layer=layer, datatype=datatype)
        union = gdstk.boolean(polygons, [], "or", precision=1e-6)
        corners = [p.bounding_box() for p in polygons]
        box = [f(c[k][axis] for c in corners) for k, f in ((0, min), (1, max)) for axis in (0, 1)]
        maps = read_layout_maps(path, layer, datatype, 10e-6, cache=False)
        assert maps.polygons == len(polygons)
        assert maps.coverage_area_um2 == pytest.approx(sum(p.area() for p in union), rel=1e-9)
        assert maps.bounding_box_um == pytest.approx(box, abs=1e-6)
        assert maps.density.max() <= 1.0
        assert maps.notes == ()
