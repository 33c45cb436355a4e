"""Damaged and hostile layouts: a clear refusal or a sound result, never a crash or a flood of memory.

Over 200 files: each made from a sound one by a named fault, or by bytes changed at random.
"""

from __future__ import annotations

import gzip
import itertools
import resource
import struct
import zlib

import numpy as np
import pytest

from planish.errors import DataError
from planish.measure.layout.gds_write import boundaries, structure, write_records
from planish.measure.layout.maps import LayoutMaps
from planish.measure.layout.read import list_layers, parse_layer, read_layout_maps

RECTS = np.array([[0, 0, 2000, 3000], [1000, 1000, 5000, 2500], [7000, 100, 9000, 9000]], dtype=np.int32)
DRAW = boundaries(RECTS, (1, 0))


@pytest.fixture(scope="module", autouse=True)
def memory_stays_small(tmp_path_factory):
    """All of them together may not raise the peak by more than 700 MB, once the kernels are compiled."""
    path = tmp_path_factory.mktemp("sound") / "sound.gds"
    turned = cell(b"TURN", ref(b"LEAF", rec(0x1C05, real8(30.0))))
    path.write_bytes(SOUND[:-4] + turned + SOUND[-4:])
    read_layout_maps(path, 1, 0, 1e-6, cache=False)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    yield
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    assert (after - before) / 1024 < 700


def rec(kind: int, data: bytes = b"") -> bytes:
    return struct.pack(">HH", len(data) + 4, kind) + data


def xy(*values: int) -> bytes:
    return rec(0x1003, struct.pack(f">{len(values)}i", *values))


def ref(name: bytes, *extra: bytes, at: tuple[int, int] = (0, 0)) -> bytes:
    return rec(0x0A00) + rec(0x1206, name) + b"".join(extra) + xy(*at) + rec(0x1100)


def array(name: bytes, cols: int, rows: int, *points: int) -> bytes:
    counts = rec(0x1302, struct.pack(">HH", cols, rows))
    return rec(0x0B00) + rec(0x1206, name) + counts + xy(*points) + rec(0x1100)


def real8(value: float) -> bytes:
    """The format's base-16 real."""
    if value == 0:
        return bytes(8)
    sign, value, exponent = (128 if value < 0 else 0), abs(value), 64
    while value >= 1:
        value, exponent = value / 16, exponent + 1
    while value < 1 / 16:
        value, exponent = value * 16, exponent - 1
    return bytes([sign | exponent]) + int(value * 2**56).to_bytes(7, "big")


HEAD = rec(0x0002, b"\x02\x58") + rec(0x0102, bytes(24)) + rec(0x0206, b"LIBR")
UNITS = rec(0x0305, real8(1e-3) + real8(1e-9))
START = HEAD + UNITS


def lib(*cells: bytes, start: bytes = START, end: bytes = rec(0x0400)) -> bytes:
    return start + b"".join(cells) + end


def cell(name: bytes, *elements: bytes) -> bytes:
    return rec(0x0502, bytes(24)) + rec(0x0606, name) + b"".join(elements) + rec(0x0700)


SOUND = lib(
    cell(b"LEAF", DRAW, rec(0x0900) + rec(0x0D02, b"\0\1") + rec(0x0E02, b"\0\0") + rec(0x0F03, b"\0\0\1\0")
         + xy(0, 0, 4000, 0, 4000, 5000) + rec(0x1100)),
    cell(b"TOPP", array(b"LEAF", 3, 2, 0, 0, 30000, 0, 0, 24000), ref(b"LEAF", rec(0x1A01, b"\x80\0"), at=(5, -9))),
)  # fmt: skip


def boundary(*records: bytes) -> bytes:
    return rec(0x0800) + b"".join(records) + rec(0x1100)


LAYER, TYPE = rec(0x0D02, b"\0\1"), rec(0x0E02, b"\0\0")
SQUARE = xy(0, 0, 9, 0, 9, 9, 0, 9, 0, 0)
CHAIN = b"".join(
    cell(b"C%05d" % i, *(ref(b"C%05d" % (i + 1)),) * 2) if i < 59 else cell(b"C%05d" % i, DRAW)
    for i in range(60)
)
FAULTS: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "empty"),
    "one byte": (b"\0", "no GDSII layout"),
    "text": (b"x,y\n1,2\n" * 50, "no GDSII layout"),
    "zeros": (bytes(4096), "no GDSII layout"),
    "header only": (HEAD[:6], "cut short"),
    "no end record": (lib(cell(b"AAAA", DRAW), end=b""), "end record is missing"),
    "structure not ended": (START + rec(0x0502, bytes(24)) + rec(0x0606, b"AAAA") + DRAW, "end record is missing"),
    "end inside a structure": (START + rec(0x0502, bytes(24)) + rec(0x0606, b"AAAA") + rec(0x0400), "structure"),
    "record of length 2": (lib(b"\0\2\5\2"), "impossible length"),
    "record of odd length": (lib(cell(b"AAAA", b"\0\7\x2b\2abc", DRAW)), "odd length"),
    "record of length 0 inside": (lib(cell(b"AAAA", DRAW, bytes(8))), "shorter than its own head"),
    "unknown record": (lib(cell(b"AAAA", rec(0x7F00), DRAW)), "unknown kind"),
    "unknown record in element": (lib(cell(b"AAAA", boundary(LAYER, TYPE, rec(0x4402), SQUARE))), "unknown kind"),
    "element outside": (lib(DRAW), "element before any structure"),
    "element after a structure": (lib(cell(b"AAAA", DRAW), DRAW), "outside a structure"),
    "element in element": (lib(cell(b"AAAA", rec(0x0800) + LAYER + DRAW)), "inside an element"),
    "end without element": (lib(cell(b"AAAA", rec(0x1100))), "end of an element"),
    "coordinates without element": (lib(cell(b"AAAA", SQUARE)), "outside a structure"),
    "element not ended": (lib(cell(b"AAAA", rec(0x0800) + LAYER + TYPE + SQUARE)), "without its end"),
    "structure in structure": (START + (rec(0x0502, bytes(24)) + rec(0x0606, b"AAAA")) * 2, "structure"),
    "structure without name": (START + rec(0x0502, bytes(24)) + DRAW, "without a name"),
    "structure twice": (lib(cell(b"AAAA", DRAW), cell(b"AAAA", DRAW)), "defined twice"),
    "no layer": (lib(cell(b"AAAA", boundary(TYPE, SQUARE))), "without layer"),
    "no coordinates": (lib(cell(b"AAAA", boundary(LAYER, TYPE))), "without layer or coordinates"),
    "layer of 4 bytes": (lib(cell(b"AAAA", boundary(rec(0x0D02, bytes(4)), TYPE, SQUARE))), "wrong length"),
    "coordinates of 6 bytes": (lib(cell(b"AAAA", boundary(LAYER, TYPE, rec(0x1003, bytes(6))))), "coordinates"),
    "coordinates as reals": (lib(cell(b"AAAA", boundary(LAYER, TYPE, rec(0x1005, bytes(40))))), "coordinates"),
    "two corners": (lib(cell(b"AAAA", boundary(LAYER, TYPE, xy(0, 0, 5, 5)))), "fewer than three"),
    "path of unknown type": (
        lib(cell(b"AAAA", rec(0x0900) + LAYER + TYPE + rec(0x2102, b"\0\7") + rec(0x0F03, b"\0\0\0\4")
            + xy(0, 0, 9, 0) + rec(0x1100))),
        "path of type 7",
    ),
    "places itself": (lib(cell(b"AAAA", DRAW, ref(b"AAAA"))), "circle .AAAA > AAAA"),
    "circle of three": (
        lib(cell(b"AAAA", DRAW, ref(b"BBBB")), cell(b"BBBB", ref(b"CCCC")), cell(b"CCCC", ref(b"AAAA"))),
        "circle",
    ),
    "missing cell": (lib(cell(b"AAAA", DRAW, ref(b"NONE"))), "does not hold: 'NONE'"),
    "reference without name": (lib(cell(b"AAAA", DRAW, rec(0x0A00) + xy(0, 0) + rec(0x1100))), "without name"),
    "reference without place": (
        lib(cell(b"AAAA", DRAW), cell(b"BBBB", rec(0x0A00) + rec(0x1206, b"AAAA") + rec(0x1100))),
        "without name or place",
    ),
    "array without counts": (
        lib(cell(b"AAAA", DRAW), cell(b"BBBB", rec(0x0B00) + rec(0x1206, b"AAAA") + xy(*[0] * 6) + rec(0x1100))),
        "counts",
    ),
    "array of two points": (lib(cell(b"AAAA", DRAW), cell(b"BBBB", array(b"AAAA", 2, 2, 0, 0, 9, 9))), "three points"),
    "array of no columns": (lib(cell(b"AAAA", DRAW), cell(b"BBBB", array(b"AAAA", 0, 2, *[0] * 6))), "count below 1"),
    "array of -1 rows": (lib(cell(b"AAAA", DRAW), cell(b"BBBB", array(b"AAAA", 2, 65535, *[0] * 6))), "count below 1"),
    "array of 32767 by 32767": (
        lib(cell(b"AAAA", DRAW), cell(b"BBBB", array(b"AAAA", 32767, 32767, 0, 0, 10**9, 0, 0, 10**9))),
        "expands to 3.22e\\+09 polygons",
    ),
    "arrays of arrays of arrays": (
        lib(cell(b"AAAA", DRAW), *(
            cell(a, array(b, 32767, 32767, 0, 0, 10**6, 0, 0, 10**6))
            for a, b in ((b"BBBB", b"AAAA"), (b"CCCC", b"BBBB"), (b"DDDD", b"CCCC"))
        )),
        "expands to",
    ),
    "sixty levels of two": (lib(CHAIN), "expands to 1.73e\\+18 polygons"),
    "no units": (lib(cell(b"AAAA", DRAW), start=HEAD), "no units"),
    "units of zero": (lib(start=HEAD + rec(0x0305, bytes(16))), "database unit"),
    "unit negative": (lib(start=HEAD + rec(0x0305, real8(1e-3) + real8(-1e-9))), "database unit"),
    "unit of a metre": (lib(start=HEAD + rec(0x0305, real8(1e-3) + real8(1.0))), "must be 1e-12 to 1e-5"),
    "units all bits": (lib(start=HEAD + rec(0x0305, b"\xff" * 16)), "database unit"),
    "user unit of zero": (lib(start=HEAD + rec(0x0305, bytes(8) + real8(1e-9))), "in user units"),
    "units of 8 bytes": (lib(start=HEAD + rec(0x0305, real8(1e-9))), "units record of wrong length"),
    "magnified by 0": (lib(cell(b"AAAA", DRAW), cell(b"BBBB", ref(b"AAAA", rec(0x1B05, bytes(8))))), "magnification"),
    "magnified by -2": (lib(cell(b"AAAA", DRAW), cell(b"BBBB", ref(b"AAAA", rec(0x1B05, real8(-2))))), "magnification"),
    "magnified without bound": (
        lib(cell(b"AAAA", DRAW), cell(b"BBBB", ref(b"AAAA", rec(0x1B05, b"\x7f" * 8)))), "magnification"
    ),
    "angle without bound": (lib(cell(b"AAAA", DRAW), cell(b"BBBB", ref(b"AAAA", rec(0x1C05, b"\x7f" * 8)))), "angle"),
    "angle of 2 bytes": (lib(cell(b"AAAA", DRAW), cell(b"BBBB", ref(b"AAAA", rec(0x1C05, bytes(2))))), "angle"),
    "corners a metre apart": (
        lib(cell(b"AAAA", DRAW, boundary(LAYER, TYPE, xy(0, 0, 2**31 - 1, -(2**31), 5, 5)))), "cells, more than"
    ),
    "nothing on the layer": (lib(cell(b"AAAA", boundary(rec(0x0D02, b"\0\7"), TYPE, SQUARE))), "layers that are: 7/0"),
    "nothing at all drawn": (lib(cell(b"AAAA")), "layers that are: none"),
    "no structures": (lib(), "holds no cells"),
    "gzip cut short": (gzip.compress(SOUND)[:-30], "gzip"),
    "gzip damaged": (gzip.compress(SOUND)[:40] + b"\xff" * 40 + gzip.compress(SOUND)[80:], "gzip|damaged|cut short"),
    "gzip of text": (gzip.compress(b"hello" * 500), "no GDSII layout"),
    "gzip of a flood of zeros": (gzip.compress(START + bytes(300_000_000), 1), "impossible length"),
    "oasis cut short": (b"%SEMI-OASIS\r\n" + bytes(500), "cut short"),
    "oasis of nothing": (b"%SEMI-OASIS\r\n" + b"\xff" * 300 + b"\2" + bytes(255), "not readable as OASIS"),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_named_fault(tmp_path, name):
    data, match = FAULTS[name]
    path = tmp_path / "layout.gds"
    path.write_bytes(data)
    with pytest.raises(DataError, match=match) as caught:
        read_layout_maps(path, 1, 0, 1e-6, cache=False)
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("share", np.linspace(0.02, 0.98, 25).round(2))
def test_cut_short_anywhere(tmp_path, share):
    path = tmp_path / "layout.gds"
    path.write_bytes(SOUND[: int(len(SOUND) * share)])
    with pytest.raises(DataError, match=r"cut short|no GDSII layout"):
        read_layout_maps(path, 1, 0, 1e-6, cache=False)


@pytest.mark.parametrize("seed", range(120))
def test_bytes_changed_at_random(tmp_path, seed):
    rng = np.random.default_rng(1000 + seed)
    data = bytearray(SOUND)
    for _ in range(int(rng.integers(1, 6))):
        at = int(rng.integers(0, len(data)))
        kind = rng.integers(0, 4)
        if kind == 0:
            data[at] ^= 1 << int(rng.integers(0, 8))
        elif kind == 1:
            data[at] = int(rng.choice([0, 1, 127, 128, 255]))
        elif kind == 2:
            del data[at : at + int(rng.integers(1, 60))]
        else:
            data[at:at] = data[at : at + int(rng.integers(1, 60))]
    path = tmp_path / "layout.gds"
    path.write_bytes(data)
    try:
        maps = read_layout_maps(path, 1, 0, 2e-6, cache=False)
    except DataError as exc:
        message = str(exc)
    else:
        message = str(path)
        assert isinstance(maps, LayoutMaps)
        assert 0.0 <= maps.density.min() <= maps.density.max() <= 1.0
        assert np.isfinite(maps.perimeter).all()
    assert str(path) in message


@pytest.fixture(scope="module")
def oasis(tmp_path_factory) -> bytes:
    import gdstk

    library = gdstk.Library()
    leaf = library.new_cell("LEAF")
    leaf.add(gdstk.rectangle((0, 0), (2, 3), layer=1), gdstk.ellipse((5, 5), 2, layer=1))
    library.new_cell("TOP").add(gdstk.Reference(leaf, (1, 2), columns=4, rows=3, spacing=(9, 9)))
    path = tmp_path_factory.mktemp("oasis") / "sound.oas"
    library.write_oas(path, validation="crc32")
    return path.read_bytes()


@pytest.mark.parametrize("seed", range(8))
def test_oasis_changed_at_random_is_known_by_its_checksum(tmp_path, oasis, seed):
    rng = np.random.default_rng(seed)
    data = bytearray(oasis)
    data[int(rng.integers(20, len(data) - 300))] ^= 1 << int(rng.integers(0, 8))
    path = tmp_path / "layout.oas"
    path.write_bytes(data)
    with pytest.raises(DataError, match="not readable as OASIS"):
        read_layout_maps(path, 1, 0, 1e-6, cache=False)


@pytest.mark.parametrize("seed", range(8))
def test_oasis_changed_with_a_fitting_checksum_cannot_end_this_process(tmp_path, oasis, seed):
    rng = np.random.default_rng(100 + seed)
    body = bytearray(oasis[:-4])
    for _ in range(3):
        body[int(rng.integers(20, len(body) - 290))] = int(rng.integers(0, 256))
    path = tmp_path / "layout.oas"
    path.write_bytes(bytes(body) + struct.pack("<I", zlib.crc32(bytes(body))))
    try:
        maps = read_layout_maps(path, 1, 0, 1e-6, cache=False)
    except DataError as exc:
        message = str(exc)
    else:
        message = str(path)
        assert 0.0 <= maps.density.min() <= maps.density.max() <= 1.0
    assert str(path) in message


def test_five_thousand_levels_are_no_trouble(tmp_path):
    names = [f"C{i:05d}" for i in range(5_000)]
    cells = [structure(names[0], [DRAW])]
    cells += [structure(b, [ref(a.encode())]) for a, b in itertools.pairwise(names)]
    maps = read_layout_maps(write_records(tmp_path / "deep.gds", cells), 1, 0, 1e-6, cache=False)
    assert maps.polygons == 3


def test_absurd_count_is_fine_in_a_window_and_where_copies_lie_on_each_other(tmp_path):
    path = tmp_path / "wide.gds"
    path.write_bytes(FAULTS["array of 32767 by 32767"][0])
    maps = read_layout_maps(path, 1, 0, 1e-6, window=(10e-6, 10e-6, 60e-6, 60e-6), cache=False)
    assert maps.coverage_area_um2 > 0
    heap = lib(cell(b"AAAA", DRAW), cell(b"BBBB", array(b"AAAA", 32767, 9000, *[0] * 6)))
    path.write_bytes(heap)
    one = tmp_path / "one.gds"
    one.write_bytes(lib(cell(b"AAAA", DRAW)))
    copies = read_layout_maps(path, 1, 0, 1e-6, cache=False)
    assert copies.coverage_area_um2 == read_layout_maps(one, 1, 0, 1e-6, cache=False).coverage_area_um2
    assert copies.polygons == 3 * 32767 * 9000


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"cell": 0.0}, "cell"),
        ({"cell": float("nan")}, "cell"),
        ({"cell": 1e-10}, "database unit"),
        ({"layer": -1}, "layer"),
        ({"datatype": 70_000}, "datatype"),
        ({"window": (0, 0, 0, 1)}, "window"),
        ({"window": (0, 0, float("inf"), 1)}, "window"),
        ({"workers": 0}, "workers"),
        ({"top": "NOPE"}, "its top cells: TOPP"),
    ],
)
def test_requests_that_make_no_sense(tmp_path, change, match):
    path = tmp_path / "sound.gds"
    path.write_bytes(SOUND)
    request = {"layer": 1, "datatype": 0, "cell": 1e-6, "cache": False, **change}
    with pytest.raises(DataError, match=match):
        read_layout_maps(path, **request)


def test_no_file_and_a_folder(tmp_path):
    for path in (tmp_path / "none.gds", tmp_path):
        with pytest.raises(DataError, match="cannot be read"):
            list_layers(path)


@pytest.mark.parametrize("text", ["", "a/b", "1/2/3", "-1/0", "70000/0", "1.5"])
def test_layer_text(text):
    with pytest.raises(DataError, match="LAYER/DATATYPE"):
        parse_layer(text)


def test_layer_text_that_is_fine():
    assert parse_layer("68/20") == (68, 20)
    assert parse_layer(" 7 ") == (7, 0)
