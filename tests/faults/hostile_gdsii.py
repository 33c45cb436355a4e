"""Hostile GDSII layouts, plain and gzipped."""

from __future__ import annotations

import gzip
import struct
import zlib

import numpy as np
from hostile_list import MB, add, damaged


def rec(kind: int, data: bytes = b"") -> bytes:
    return struct.pack(">HH", len(data) + 4, kind) + data


def xy(*values: int) -> bytes:
    return rec(0x1003, struct.pack(f">{len(values)}i", *values))


def _real8(value: float) -> bytes:
    exponent = 64
    while value >= 1:
        value, exponent = value / 16, exponent + 1
    while value < 1 / 16:
        value, exponent = value * 16, exponent - 1
    return bytes([exponent]) + int(value * 2**56).to_bytes(7, "big")


START = (
    rec(0x0002, b"\x02\x58")
    + rec(0x0102, bytes(24))
    + rec(0x0206, b"LIBR")
    + rec(0x0305, _real8(1e-3) + _real8(1e-9))
)
LAYER = rec(0x0D02, b"\0\1") + rec(0x0E02, b"\0\0")


def cell(name: bytes, *elements: bytes) -> bytes:
    return rec(0x0502, bytes(24)) + rec(0x0606, name) + b"".join(elements) + rec(0x0700)


def lib(*cells: bytes) -> bytes:
    return START + b"".join(cells) + rec(0x0400)


def polygon(points: np.ndarray) -> bytes:
    closed = np.concatenate([points, points[:1]]).astype(">i4")
    return rec(0x0800) + LAYER + rec(0x1003, closed.tobytes()) + rec(0x1100)


def box(x0: int, y0: int, x1: int, y1: int) -> bytes:
    return polygon(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]))


def path(width: int, kind: int, *points: int) -> bytes:
    return (
        rec(0x0900)
        + LAYER
        + rec(0x2102, struct.pack(">h", kind))
        + rec(0x0F03, struct.pack(">i", width))
        + xy(*points)
        + rec(0x1100)
    )


def sref(name: bytes, x: int = 0, y: int = 0, *extra: bytes) -> bytes:
    return rec(0x0A00) + rec(0x1206, name) + b"".join(extra) + xy(x, y) + rec(0x1100)


def aref(name: bytes, columns: int, rows: int, dx: int, dy: int) -> bytes:
    counts = rec(0x1302, struct.pack(">HH", columns, rows))
    return rec(0x0B00) + rec(0x1206, name) + counts + xy(0, 0, columns * dx, 0, 0, rows * dy) + rec(0x1100)


def magnified(value: float) -> bytes:
    return rec(0x1A01, b"\0\0") + rec(0x1B05, _real8(value))


TRIANGLE = polygon(np.array([[0, 0], [9000, 100], [300, 8000]]))
CROSS = box(0, 0, 900, 300)


def _gds() -> None:
    for side in (10_000, 29_900, 31_000, 40_000, 100_000, 1_000_000, 2_147_000):  # cells of 10 um
        um = side * 500
        add(f"gds: two corners {side} half cells apart", ".gds",
            lambda u=um: lib(cell(b"TOPP", box(-u, -u, 9 - u, 9 - u), box(u - 9, u - 9, u, u))), quick=side == 10_000)  # fmt: skip
        add(
            f"gds: one square of {side} half cells",
            ".gds",
            lambda u=um: lib(cell(b"TOPP", box(-u, -u, u, u))),
            quick=side == 10_000,
        )
    for columns, rows, dx, dy in ((32767, 32767, 1000, 1000), (32767, 32767, 0, 0), (32767, 30000, 1, 1), (32767, 9000, 10, 10),
                                  (30000, 3000, 70, 700), (4000, 4000, 10_000, 10_000), (1, 32767, 0, 1), (32767, 1, 1, 0)):  # fmt: skip
        for what, shape in (("boxes", CROSS), ("triangles", TRIANGLE)):
            add(f"gds: array of {columns} x {rows} {what} by {dx}, {dy}", ".gds",
                lambda a=(columns, rows, dx, dy), s=shape: lib(cell(b"LEAF", s), cell(b"TOPP", aref(b"LEAF", *a))))  # fmt: skip
    add("gds: array of corners that miss the middle", ".gds",
        lambda: lib(cell(b"LEAF", box(0, 0, 9, 9), box(3_000_000, 3_000_000, 3_000_009, 3_000_009)),
                    cell(b"TOPP", aref(b"LEAF", 32767, 9000, 3, 3))))  # fmt: skip
    for depth in (10, 28, 40, 60):

        def doubled(d: int = depth, step: int = 0) -> bytes:
            cells = [
                cell(b"C%03d" % i, sref(b"C%03d" % (i + 1)), sref(b"C%03d" % (i + 1), step << i % 20, 7))
                for i in range(d)
            ]
            return lib(*cells, cell(b"C%03d" % d, TRIANGLE))

        add(f"gds: {depth} levels of two on one spot", ".gds", doubled, quick=depth in (10, 60))
        add(
            f"gds: {depth} levels of two apart",
            ".gds",
            lambda m=doubled: m(step=900),
            quick=depth in (10, 60),
        )
    add("gds: 30 levels of arrays", ".gds",
        lambda: lib(*[cell(b"C%03d" % i, aref(b"C%03d" % (i + 1), 2, 1, 100, 0)) for i in range(29)], cell(b"C029", CROSS)))  # fmt: skip
    add("gds: nested wide arrays of nothing", ".gds",
        lambda: lib(cell(b"LEAF", box(0, 0, 1, 1), box(10**9, 10**9, 10**9 + 1, 10**9 + 1)), cell(b"MIDD", aref(b"LEAF", 30000, 1, 1, 0)),
                    cell(b"TOPP", aref(b"MIDD", 30000, 1, 1, 0))))  # fmt: skip
    for count in (20_000, 600_000, 1_500_000):
        add(
            f"gds: {count} cells",
            ".gds",
            lambda n=count: lib(*[cell(b"%06d" % i, CROSS if i == 0 else b"") for i in range(n)]),
            quick=count < 10**5,
        )
        add(
            f"gds: {count} placements",
            ".gds",
            lambda n=count: lib(cell(b"LEAF", CROSS), cell(b"TOPP", sref(b"LEAF", 5, 9) * n)),
            quick=count < 10**5,
        )
    add("gds: 300,000 levels", ".gds",
        lambda: lib(*[cell(b"%06d" % i, sref(b"%06d" % (i + 1))) for i in range(300_000)], cell(b"%06d" % 300_000, CROSS)))  # fmt: skip
    add("gds: a million boxes on one spot", ".gds", lambda: lib(cell(b"TOPP", CROSS * 900_000)))
    add("gds: 400,000 triangles on one spot", ".gds", lambda: lib(cell(b"TOPP", TRIANGLE * 400_000)))
    add("gds: 900,000 boxes over everything", ".gds",
        lambda: lib(cell(b"TOPP", *[box(i, i, 5_000_000 + i, 5_000_000 + i) for i in range(0, 900_000)])))  # fmt: skip
    add("gds: 20,000 triangles over everything", ".gds",
        lambda: lib(cell(b"TOPP", *[polygon(np.array([[i, 0], [9_000_000, i], [0, 9_000_000 + i]])) for i in range(20_000)])))  # fmt: skip
    for count in (500, 3000, 8000):

        def star(n: int = count) -> np.ndarray:
            turn = np.arange(n) * (np.pi * (n - 1 - n % 2) / n)
            return np.rint(np.stack([np.cos(turn), np.sin(turn)], 1) * 1e6).astype(np.int64)

        def wild(n: int = count, seed: int = 1) -> np.ndarray:
            return np.random.default_rng(seed).integers(0, 1_000_000, (n, 2))

        def stairs(n: int = count, seed: int = 2) -> np.ndarray:
            at = np.random.default_rng(seed).integers(0, 1_000_000, (n // 2, 2))
            return np.stack([np.stack([at[:, 0], np.roll(at[:, 1], 1)], 1), at], 1).reshape(-1, 2)

        def comb(n: int = count) -> np.ndarray:
            x = np.arange(n // 2)
            return np.concatenate(
                [np.stack([x * 10, np.where(x % 2, 900_000 + x, 10)], 1), [[n * 5, 0], [0, 0]]]
            )

        for what, points in (
            ("star", star),
            ("scribble", wild),
            ("right-angled scribble", stairs),
            ("comb", comb),
        ):
            add(
                f"gds: {what} of {count} corners",
                ".gds",
                lambda p=points: lib(cell(b"TOPP", polygon(p()))),
                quick=count == 500,
            )
    add("gds: 900 stars", ".gds", lambda: lib(cell(b"TOPP", polygon(star(n=500)) * 900)))
    for what, width, kind in (
        ("round", 2_000_000_000, 1),
        ("flat", 2_000_000_000, 0),
        ("thin round", 9, 1),
        ("negative", -2_000_000_000, 1),
    ):
        add(
            f"gds: {what} path",
            ".gds",
            lambda w=width, k=kind: lib(cell(b"TOPP", path(w, k, 0, 0, 1000, 1000))),
            quick=True,
        )
        add(
            f"gds: 20,000 {what} paths",
            ".gds",
            lambda w=width, k=kind: lib(cell(b"TOPP", path(w, k, 0, 0, 1000, 1000) * 20_000)),
        )
    add("gds: a path of 8000 bends", ".gds",
        lambda: lib(cell(b"TOPP", path(1_000_000, 1, *np.random.default_rng(3).integers(0, 10**6, 16_000).tolist()))))  # fmt: skip
    add("gds: magnified without end", ".gds",
        lambda: lib(*[cell(b"C%03d" % i, sref(b"C%03d" % (i + 1), 1, 1, magnified(9e8))) for i in range(60)], cell(b"C060", CROSS)), quick=True)  # fmt: skip
    add("gds: shrunk without end", ".gds",
        lambda: lib(*[cell(b"C%03d" % i, sref(b"C%03d" % (i + 1), 1, 1, magnified(1e-9))) for i in range(60)], cell(b"C060", CROSS)), quick=True)  # fmt: skip
    add(
        "gds: an element of 60 MB",
        ".gds",
        lambda: (
            START
            + rec(0x0502, bytes(24))
            + rec(0x0606, b"TOPP")
            + rec(0x0800)
            + LAYER
            + xy(*[5] * 8000) * 1900
        ),
    )
    add(
        "gds: properties of 60 MB",
        ".gds",
        lambda: lib(
            cell(
                b"TOPP",
                rec(0x0800)
                + LAYER
                + xy(0, 0, 9, 0, 9, 9, 0, 0)
                + rec(0x2C06, b"a" * 60_000) * 1000
                + rec(0x1100),
            )
        ),
    )
    add(
        "gds: texts of 60 MB",
        ".gds",
        lambda: lib(
            cell(
                b"TOPP",
                CROSS,
                (rec(0x0C00) + LAYER + xy(0, 0) + rec(0x1906, b"a" * 30_000) + rec(0x1100)) * 2000,
            )
        ),
    )
    add(
        "gds: 60 MB without an end",
        ".gds",
        lambda: START + rec(0x0502, bytes(24)) + rec(0x0606, b"TOPP") + CROSS * 900_000,
    )
    add(
        "gds: long names",
        ".gds",
        lambda: lib(*[cell(b"%06d" % i + b"n" * 30_000) for i in range(1800)], cell(b"TOPP", CROSS)),
    )
    add(
        "gds: 60,000 layers",
        ".gds",
        lambda: lib(
            cell(
                b"TOPP",
                CROSS,
                *[CROSS.replace(b"\x0d\x02\0\1", b"\x0d\x02" + struct.pack(">H", i)) for i in range(60_000)],
            )
        ),
        quick=True,
    )
    add(
        "gz: 40 GB of zeros",
        ".gds.gz",
        lambda: gzip.compress(gzip.compress(bytes(40 * MB)) * 1)[:0] or _gz_of(bytes(MB), 4000, START),
    )
    add(
        "gz: 6 GB of boxes",
        ".gds.gz",
        lambda: _gz_of(CROSS * 16384, 6000, START + rec(0x0502, bytes(24)) + rec(0x0606, b"TOPP")),
    )
    add(
        "gz: 500 MB of placements",
        ".gds.gz",
        lambda: _gz_of(
            sref(b"LEAF", 1, 2) * 32768,
            400,
            START + cell(b"LEAF", CROSS) + rec(0x0502, bytes(24)) + rec(0x0606, b"TOPP"),
        ),
    )
    add(
        "gz: 300 MB of cells",
        ".gds.gz",
        lambda: gzip.compress(lib(*[cell(b"%08d" % i) for i in range(6_000_000)]), 1),
    )
    add(
        "gz: gzip in gzip",
        ".gds.gz",
        lambda: gzip.compress(gzip.compress(lib(cell(b"TOPP", CROSS)))),
        quick=True,
    )
    add(
        "gz: many members",
        ".gds.gz",
        lambda: gzip.compress(b"") * 500_000 + gzip.compress(lib(cell(b"TOPP", CROSS))),
    )
    add("gz: zeros behind the end", ".gds.gz", lambda: _gz_of(bytes(MB), 4000, lib(cell(b"TOPP", CROSS))))
    add("gz: cut short", ".gds.gz", lambda: gzip.compress(lib(cell(b"TOPP", CROSS * 999)))[:-9], quick=True)
    for seed in range(24):
        sound = lib(
            cell(b"LEAF", CROSS, TRIANGLE, path(90, 1, 0, 0, 500, 500)),
            cell(b"TOPP", aref(b"LEAF", 3, 2, 9000, 9000), sref(b"LEAF", 7, 7)),
        )
        add(f"gds: damaged {seed}", ".gds", lambda s=seed, d=sound: damaged(d, s), quick=seed < 8)
    for share in (0.1, 0.3, 0.5, 0.7, 0.9, 0.99):
        add(
            f"gds: cut at {share}",
            ".gds",
            lambda s=share: lib(cell(b"TOPP", CROSS * 50))[: int(s * 3500)],
            quick=True,
        )


def _gz_of(block: bytes, times: int, head: bytes) -> bytes:
    packer = zlib.compressobj(1, wbits=31)
    out = [packer.compress(head)]
    out += [packer.compress(block) for _ in range(times)]
    return b"".join([*out, packer.flush()])


_gds()
