"""About 300 hostile files, as a stranger might send them: each must be refused or read within bounds.

``FILES`` maps a name to the ending of the file and a function that returns its bytes; nothing is made until
asked for. Run as a script it reads the files named on its command line's standard input, each in a process
of its own, and prints one JSON line a file: peak memory, seconds, and how it ended (see ``benchmarks/bench_hostile.py``).

The OASIS and Parquet pieces are built by hand (SEMI P39 and parquet.thrift, from memory), because no
honest writer makes them.
"""

from __future__ import annotations

import gzip
import io
import json
import os
import resource
import signal
import struct
import sys
import time
import traceback
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np

MB = 1 << 20
Make = Callable[[], bytes]
FILES: dict[str, tuple[str, Make]] = {}
#: A part that takes seconds, for every test run.
QUICK: set[str] = set()


def add(name: str, ending: str, make: Make, *, quick: bool = False) -> None:
    assert name not in FILES, name
    FILES[name] = (ending, make)
    if quick:
        QUICK.add(name)


# -- text tables ---------------------------------------------------------------------------------

HEAD = "site,x_mm,y_mm,thickness_nm\n"
ROWS = "".join(f"{i},{i % 100 - 50},{i // 100 - 50},{1000 + i % 7}\n" for i in range(2000))
GOOD = HEAD + ROWS
TRACE = (
    "MACHINE_ID,TIMESTAMP,WAFER_ID,STAGE,CHAMBER,CENTER_AIR_BAG_PRESSURE,STAGE_ROTATION\n"
    "1,0.0,1,A,4,50.0,100.0\n1,1.0,1,A,4,51.0,100.0\n"
)


def _tables() -> None:
    for what, letter in {
        "commas": ",", "semicolons": ";", "tabs": "\t", "letters": "a", "digits": "9", "blanks": " ",
        "quotes": '"', "hashes": "#", "apostrophes": "'", "dots": ".", "points of code": "\U0001f600",
        "minus signs": "-", "equals signs": "=", "brackets": "(", "carriage returns": "\r",
        "line feeds": "\n", "vertical tabs": "\v", "line separators": "\u2028",
    }.items():  # fmt: skip
        count = 60 * MB // len(letter.encode())
        add(f"60 MB of {what}", ".csv", lambda c=letter, n=count: (c * n).encode())
        add(f"60 MB of {what} after a head", ".csv", lambda c=letter, n=count: (HEAD + c * n).encode())
        add(f"300 kB of {what}", ".csv", lambda c=letter: (GOOD + c * 300_000).encode(), quick=True)
    for columns in (600, 20_000, 1_000_000):
        names = ",".join(f"c{i}" for i in range(columns))
        values = ",".join("1" for _ in range(columns))
        add(
            f"{columns} columns",
            ".csv",
            lambda a=names, b=values: f"{a}\n{b}\n{b}\n".encode(),
            quick=columns < 10**5,
        )
    add("30 million rows of one column", ".csv", lambda: b"a\n" + b"1\n" * (30 * MB))
    add("15 million empty rows", ".csv", lambda: HEAD.encode() + b",,,\n" * (15 * MB))
    add("6 million rows of four", ".csv", lambda: HEAD.encode() + b"1,2,3,4\n" * 6_000_000)
    add("a million sites", ".csv", lambda: (HEAD + _sites(1_000_000)).encode())
    add("a million sites with signs beyond the first plane", ".csv",
        lambda: (HEAD + _sites(900_000, "\U0001f600")).encode())  # fmt: skip
    add("quote opened before 60 MB", ".csv", lambda: (HEAD + '"' + ROWS * (60 * MB // len(ROWS))).encode())
    add("quote opened before 2 MB", ".csv", lambda: (HEAD + '"' + ROWS * 60).encode(), quick=True)
    add("a record over a million lines", ".csv", lambda: (HEAD + '"a\n",' * 6_000_000).encode())
    add("a record over many lines", ".csv", lambda: (HEAD + '"a\n",' * 100_000).encode(), quick=True)
    add(
        "five million notes",
        ".csv",
        lambda: b"".join(b"# k%d: v\n" % i for i in range(5_000_000)) + GOOD.encode(),
    )
    add(
        "two thousand notes",
        ".csv",
        lambda: b"".join(b"# k%d: v\n" % i for i in range(2000)) + GOOD.encode(),
        quick=True,
    )
    add(
        "a units note of a million pieces",
        ".csv",
        lambda: b"# units: " + b"x=mm," * MB + b"\n" + GOOD.encode(),
    )
    for word in ("nan", "inf", "-inf", "1e400", "-1e400", "NaN", "infinity", "1e999999999", "0x1p3", "1_000",
                 "１２", "٣", "1,5", "--1", "1e", "", "None", "=1+1", "1\u00a0000", "9" * 900):  # fmt: skip
        row = f"1,0,0,{word}\n"
        add(f"thicknesses {word[:12]!r}", ".csv", lambda r=row: (HEAD + r * 20_000).encode(), quick=True)
    add(
        "a digit string of 900 kB",
        ".csv",
        lambda: (HEAD + "1,0,0," + "9" * 900_000 + "\n").encode(),
        quick=True,
    )
    for what, text in {
        "same sites": "{i},0,0,1\n", "same sites and names": "1,0,0,1\n", "sites in a micrometre": "{i},{i}e-10,0,1\n",
        "sites on a line": "{i},{i}e-4,0,1\n", "sites in pairs": "{i},{j}e-3,{k},1\n", "huge places": "{i},1e308,1e308,1\n",
    }.items():  # fmt: skip

        def make(t: str = text, n: int = 500_000) -> bytes:
            return (HEAD + "".join(t.format(i=i, j=i % 250_000, k=i % 2 * 1e-7) for i in range(n))).encode()

        add(f"half a million {what}", ".csv", make)
        add(f"20,000 {what}", ".csv", lambda m=make: m(n=20_000), quick=True)
    for what, raw in {
        "a mark of byte order alone": b"\xef\xbb\xbf", "ten marks of byte order": b"\xef\xbb\xbf" * 10 + GOOD.encode(),
        "utf-16": GOOD.encode("utf-16"), "utf-16 without a mark": GOOD.encode("utf-16-le"),
        "utf-32": GOOD.encode("utf-32"), "overlong slash": GOOD.encode() + b"\xc0\xaf,0,0,1\n",
        "half a pair": GOOD.encode() + b"\xed\xa0\x80,0,0,1\n", "beyond unicode": GOOD.encode() + b"\xf5\x80\x80\x80,1\n",
        "cut in a sign": GOOD.encode() + "é".encode()[:1], "nul first": b"\0" + GOOD.encode(),
        "nul at 70,000": (GOOD * 3).encode()[:70_000] + b"\0" + GOOD.encode(), "nul last": GOOD.encode() + b"\0",
        "nul in a name": HEAD.encode() + b"a\0b,0,0,1\n", "nothing but nul": bytes(MB),
        "right to left": (HEAD + "\u202e1,0,0,1\n").encode(), "no width": ("si\u200bte" + GOOD[4:]).encode(),
        "homoglyph column": GOOD.replace("x_mm", "х_mm").encode(), "combining flood": (HEAD + "a" + "\u0301" * 90_000 + ",0,0,1\n").encode(),
        "names equal when folded": ("ß_nm,ss_nm,x_mm,y_mm\n1,1,0,0\n").encode(), "private signs": (HEAD + "\ue000,0,0,1\n").encode(),
        "next line signs": GOOD.replace("\n", "\x85").encode(), "form feeds": GOOD.replace("\n", "\f").encode(),
        "lone carriage returns": GOOD.replace("\n", "\r").encode(), "mixed line ends": GOOD.replace("\n", "\r\n\r", 50).encode(),
        "formula cells": (HEAD + "=cmd|' /C calc'!A0,0,0,1\n").encode(), "cut in a row": GOOD.encode()[:-3],
        "cut in the head": HEAD[:9].encode(), "head of brackets": ("(" * 900 + " " * 90_000 + "x\n1\n").encode(),
        "head of blanks in brackets": ("x [" + " " * 900 + "mm\n1\n").encode(), "head of pers": ("_per_" * 190 + "\n1\n").encode(),
        "long names": (",".join("n" * 990 + str(i) for i in range(200)) + "\n" + ",".join("1" for _ in range(200)) + "\n").encode(),
        "html": b"<html>" + b"<a>" * 5000, "json": b"[" * 100_000, "a shell script": b"#!/bin/sh\nrm\n", "png": b"\x89PNG\r\n\x1a\n" + bytes(99),
        "zip": b"PK\x03\x04" + bytes(500), "elf": b"\x7fELF" + bytes(500), "one letter": b"a", "one comma": b",",
        "one quote": b'"', "one line end": b"\n",
    }.items():  # fmt: skip
        add(f"text: {what}", ".csv", lambda r=raw: r, quick=True)
    for what, old, new in (
        ("times of 1e308", "1.0,1,A", "1e308,1,A"), ("times of nan", "1.0,1,A", "nan,1,A"),
        ("pressure below zero", "51.0", "-1e300"), ("text as pressure", "51.0", "high"), ("empty stage", ",A,", ",,"),
        ("wafer of 1e308", ",1,A", ",1e308,A"), ("whole number too large", ",1,A", ",99999999999999999999999,A"),
    ):  # fmt: skip
        add(f"trace: {what}", ".csv", lambda a=old, b=new: TRACE.replace(a, b).encode(), quick=True)
    line = TRACE.splitlines(keepends=True)[1]
    add("trace: 1.5 million samples", ".csv", lambda: TRACE.encode() + line.encode() * 1_500_000)
    add("trace: 400,000 wafers", ".csv",
        lambda: (TRACE + "".join(f"1,{i}.0,{i},A,4,50.0,100.0\n" for i in range(400_000))).encode())  # fmt: skip
    add(
        "trace: long stages",
        ".csv",
        lambda: (TRACE + line.replace("A", "A" * 90_000) * 300).encode(),
        quick=True,
    )
    add(
        "trace: 600 columns",
        ".csv",
        lambda: ("".join(f"c{i}," for i in range(600)) + "z\n" + "1," * 600 + "1\n").encode(),
        quick=True,
    )


def _sites(count: int, sign: str = "") -> str:
    side = int(count**0.5) + 1
    return "".join(f"{i}{sign},{(i % side) * 0.1:.1f},{(i // side) * 0.1:.1f},1\n" for i in range(count))


# -- Parquet -------------------------------------------------------------------------------------


def _parquet(columns: dict[str, object], **options: object) -> bytes:
    import polars as pl

    out = io.BytesIO()
    pl.DataFrame(columns).write_parquet(out, **options)  # type: ignore[arg-type]
    return out.getvalue()


def _small_parquet() -> bytes:
    count = 300
    return _parquet({
        "site": [str(i) for i in range(count)], "x_mm": np.arange(count) * 0.1, "y_mm": np.zeros(count),
        "thickness_nm": np.full(count, 1000.0),
    }, compression="zstd")  # fmt: skip


def _lying_parquet() -> bytes:
    """A page that says it unpacks to two gigabytes, in a file whose footer is sound."""
    data = _small_parquet()
    at = 4  # the first page header begins behind the mark: type, unpacked size, packed size, ...
    assert data[at : at + 2] == b"\x15\x04" or data[at] == 0x15
    end = at + 3
    while data[end - 1] & 128:
        end += 1
    size = _varint(2 * (2**31 - 1))
    room = end - (at + 3) + 1
    # Written over what follows if it needs more room: damaged for sure, and hostile all the same.
    return data[: at + 3] + size + data[at + 3 + max(room, len(size)) :]


def _parquets() -> None:
    big = 200_000_000
    add("parquet: 200 million zeros", ".parquet", lambda: _parquet({"a": np.zeros(big)}, compression="zstd"))
    add("parquet: 30 million rows of sites", ".parquet",
        lambda: _parquet({n: np.zeros(30_000_000) for n in ("x_mm", "y_mm", "thickness_nm")}, compression="zstd"))  # fmt: skip
    add(
        "parquet: 3 million zeros",
        ".parquet",
        lambda: _parquet({"a": np.zeros(3_000_000)}, compression="zstd"),
        quick=True,
    )
    add("parquet: a text of 1 MB, a million times", ".parquet",
        lambda: _parquet({"site": ["a" * MB] * 100_000, "x_mm": np.zeros(100_000)}, compression="zstd"))  # fmt: skip
    add("parquet: a text of 2 kB, a hundred thousand times", ".parquet",
        lambda: _parquet({"site": ["a" * 2000] * 100_000, "x_mm": np.zeros(100_000)}, compression="zstd"), quick=True)  # fmt: skip
    add(
        "parquet: 2000 columns",
        ".parquet",
        lambda: _parquet({f"c{i}": [1.0] for i in range(2000)}),
        quick=True,
    )
    add("parquet: lists", ".parquet", lambda: _parquet({"a": [[1.0, 2.0]] * 1000}), quick=True)
    add("parquet: structures", ".parquet", lambda: _parquet({"a": [{"b": 1.0}] * 1000}), quick=True)
    add("parquet: raw bytes", ".parquet", lambda: _parquet({"a": [b"\xff"] * 1000}), quick=True)
    add(
        "parquet: nan flood",
        ".parquet",
        lambda: _parquet({"x_mm": np.full(9999, np.nan), "y_mm": np.zeros(9999)}),
        quick=True,
    )
    add("parquet: no rows", ".parquet", lambda: _parquet({"a": np.zeros(0)}), quick=True)
    add("parquet: a page that lies", ".parquet", _lying_parquet, quick=True)
    add(
        "parquet: footer of 2 GB",
        ".parquet",
        lambda: b"PAR1" + bytes(100) + b"\xff\xff\xff\x7fPAR1",
        quick=True,
    )
    add("parquet: footer of nothing", ".parquet", lambda: b"PAR1" + bytes(100) + b"\0\0\0\0PAR1", quick=True)
    add("parquet: lists in lists in the footer", ".parquet",
        lambda: b"PAR1" + b"\x19\xf9" * 5000 + struct.pack("<I", 10_000) + b"PAR1", quick=True)  # fmt: skip
    add("parquet: structures in the footer", ".parquet",
        lambda: b"PAR1" + b"\x1c" * 9000 + struct.pack("<I", 9000) + b"PAR1", quick=True)  # fmt: skip
    for seed in range(24):
        add(
            f"parquet: damaged {seed}",
            ".parquet",
            lambda s=seed: _damaged(_small_parquet(), s),
            quick=seed < 8,
        )


def _damaged(data: bytes, seed: int, first: int = 0, last: int = 0) -> bytes:
    rng = np.random.default_rng(seed)
    out = bytearray(data)
    for _ in range(int(rng.integers(1, 6))):
        at = int(rng.integers(first, len(out) - last))
        kind = int(rng.integers(0, 4))
        if kind == 0:
            out[at] ^= 1 << int(rng.integers(0, 8))
        elif kind == 1:
            out[at] = int(rng.choice([0, 1, 127, 128, 255]))
        elif kind == 2 and not last:
            del out[at : at + int(rng.integers(1, 40))]
        else:
            out[at] = int(rng.integers(0, 256))
    return bytes(out)


# -- GDSII ---------------------------------------------------------------------------------------


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
    for side in (10_000, 31_000, 40_000, 100_000, 1_000_000, 2_147_000):  # cells of 10 um
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
        add(f"gds: damaged {seed}", ".gds", lambda s=seed, d=sound: _damaged(d, s), quick=seed < 8)
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


# -- OASIS ---------------------------------------------------------------------------------------


def _varint(value: int) -> bytes:
    out = bytearray()
    while True:
        low, value = value & 127, value >> 7
        out.append(low | (128 if value else 0))
        if not value:
            return bytes(out)


def _signed(value: int) -> bytes:
    return _varint(abs(value) << 1 | (value < 0))


OASIS_START = b"%SEMI-OASIS\r\n" + b"\x01" + b"\x031.0" + b"\x00" + _varint(1000) + b"\x00" + bytes(12)
OASIS_END = b"\x02" + _varint(252) + bytes(252) + b"\x00"


def oasis(*records: bytes) -> bytes:
    return OASIS_START + b"".join(records) + OASIS_END


def o_cell(name: bytes) -> bytes:
    return b"\x0e" + _varint(len(name)) + name


def o_rect(repeat: bytes = b"", width: int = 500, height: int = 300) -> bytes:
    info = 0b01111011 | (0b100 if repeat else 0)
    return (
        bytes([20, info])
        + _varint(1)
        + _varint(0)
        + _varint(width)
        + _varint(height)
        + _signed(0)
        + _signed(0)
        + repeat
    )


def o_place(name: bytes, repeat: bytes = b"") -> bytes:
    info = 0b10110000 | (0b1000 if repeat else 0)
    return bytes([17, info]) + _varint(len(name)) + name + _signed(0) + _signed(0) + repeat


def o_block(content: bytes, said: int | None = None) -> bytes:
    packer = zlib.compressobj(9, wbits=-15)
    packed = packer.compress(content) + packer.flush()
    return b"\x22\x00" + _varint(len(content) if said is None else said) + _varint(len(packed)) + packed


def _oases() -> None:
    grid = lambda n, m, dx, dy: b"\x01" + _varint(n - 2) + _varint(m - 2) + _varint(dx) + _varint(dy)  # noqa: E731
    add("oasis: sound", ".oas", lambda: oasis(o_cell(b"TOP"), o_rect()), quick=True)
    for n, dx in (
        (1000, 1000),
        (30_000, 1000),
        (2**31, 1),
        (2**40, 1),
        (2**62, 1),
        (2**64 - 1, 1),
        (30_000, 0),
    ):
        add(
            f"oasis: {n} x {n} rectangles by {dx}",
            ".oas",
            lambda n=n, d=dx: oasis(o_cell(b"TOP"), o_rect(grid(n, n, d, d))),
            quick=n in (1000, 2**62),
        )
        add(f"oasis: {n} x {n} cells by {dx}", ".oas",
            lambda n=n, d=dx: oasis(o_cell(b"LEAF"), o_rect(), o_cell(b"TOP"), o_place(b"LEAF", grid(n, n, d, d))), quick=n == 2**31)  # fmt: skip
    for count in (100_000, 10_000_000):
        add(f"oasis: {count} odd places", ".oas",
            lambda n=count: oasis(o_cell(b"TOP"), o_rect(b"\x04" + _varint(n - 2) + b"\x01" * (n - 1))), quick=count == 100_000)  # fmt: skip
        add(f"oasis: {count} odd places, packed", ".oas",
            lambda n=count: oasis(o_cell(b"TOP"), o_block(o_rect(b"\x0a" + _varint(n - 2) + b"\x10\x10" * (n - 1)))))  # fmt: skip
    add(
        "oasis: 2^60 odd places that are not there",
        ".oas",
        lambda: oasis(o_cell(b"TOP"), o_rect(b"\x04" + _varint(2**60))),
        quick=True,
    )
    add("oasis: 500 MB in one block", ".oas", lambda: oasis(o_cell(b"TOP"), o_block(o_rect() * 40_000_000)))
    add(
        "oasis: a million rectangles in a block",
        ".oas",
        lambda: oasis(o_cell(b"TOP"), o_block(o_rect() * 1_000_000)),
    )
    add(
        "oasis: a block that says 2^62 bytes",
        ".oas",
        lambda: oasis(o_cell(b"TOP"), o_block(o_rect(), 2**62)),
        quick=True,
    )
    add(
        "oasis: blocks in blocks",
        ".oas",
        lambda: oasis(o_cell(b"TOP"), o_block(o_block(o_block(o_rect() * 9)))),
        quick=True,
    )
    add("oasis: a name of 2^60 bytes", ".oas", lambda: oasis(b"\x0e" + _varint(2**60)), quick=True)
    add(
        "oasis: a polygon of 2^60 corners",
        ".oas",
        lambda: oasis(
            o_cell(b"TOP"), bytes([21, 0b00111011]) + _varint(1) + _varint(0) + b"\x04" + _varint(2**60)
        ),
        quick=True,
    )
    add(
        "oasis: a circle of a metre",
        ".oas",
        lambda: oasis(
            o_cell(b"TOP"), bytes([27, 0b00111011]) + _varint(1) + _varint(0) + _varint(10**9) + b"\0\0"
        ),
        quick=True,
    )
    add(
        "oasis: 100,000 circles of a metre",
        ".oas",
        lambda: oasis(
            o_cell(b"TOP"),
            (bytes([27, 0b00111011]) + _varint(1) + _varint(0) + _varint(10**9) + b"\0\0") * 100_000,
        ),
    )
    add("oasis: places itself", ".oas", lambda: oasis(o_cell(b"TOP"), o_rect(), o_place(b"TOP")), quick=True)
    add(
        "oasis: places nothing", ".oas", lambda: oasis(o_cell(b"TOP"), o_rect(), o_place(b"NONE")), quick=True
    )
    add("oasis: 50 levels of arrays", ".oas",
        lambda: oasis(*[o_cell(b"C%02d" % i) + o_place(b"C%02d" % (i + 1), grid(1000, 1000, 1, 1)) for i in range(50)], o_cell(b"C50"), o_rect()), quick=True)  # fmt: skip
    add(
        "oasis: 300,000 cells",
        ".oas",
        lambda: oasis(*[o_cell(b"%06d" % i) + o_rect() for i in range(300_000)]),
    )
    add(
        "oasis: 64-bit corners",
        ".oas",
        lambda: oasis(o_cell(b"TOP"), o_rect(width=2**63, height=2**63), o_rect()),
        quick=True,
    )
    add(
        "oasis: grid of zero",
        ".oas",
        lambda: oasis(o_cell(b"TOP"), o_rect()).replace(b"\x00" + _varint(1000), b"\x00\x00", 1),
        quick=True,
    )
    add(
        "oasis: grid of nan",
        ".oas",
        lambda: (
            b"%SEMI-OASIS\r\n\x01\x031.0\x07"
            + struct.pack("<d", float("nan"))
            + b"\0"
            + bytes(12)
            + o_cell(b"TOP")
            + o_rect()
            + OASIS_END
        ),
        quick=True,
    )
    add("oasis: nothing but 0xff", ".oas", lambda: b"%SEMI-OASIS\r\n" + b"\xff" * MB + OASIS_END, quick=True)
    for seed in range(16):
        sound = oasis(
            o_cell(b"LEAF"),
            o_rect(),
            o_block(o_rect(grid(9, 9, 900, 900))),
            o_cell(b"TOP"),
            o_place(b"LEAF", grid(5, 5, 9000, 9000)),
        )
        add(
            f"oasis: damaged {seed}",
            ".oas",
            lambda s=seed, d=sound: _damaged(d, s, len(OASIS_START), 256),
            quick=seed < 4,
        )


_tables()
_parquets()
_gds()
_oases()


# -- reading -------------------------------------------------------------------------------------

CELL = 10e-6  # what the command takes where nothing is said


def read(file: Path, ending: str) -> str:
    """Read a file in every way that a person may ask for; returns how it ended."""
    from planish.errors import PlanishError

    told = []
    for reader in _readers(ending):
        try:
            reader(file)
            told.append("read")
        except PlanishError as error:
            said = str(error)
            if "\n" in said or len(said) > 2100:
                raise AssertionError(f"a refusal that is no line: {said[:200]}") from error
            told.append(f"refused: {said.replace(str(file), 'FILE')[:160]}")
    return next((word for word in told if word == "read"), told[-1])


def _readers(ending: str) -> list[Callable[[Path], object]]:
    if ending in (".csv", ".parquet"):
        from planish.measure.layout_sources import maps_from_csv
        from planish.measure.nested import read_nested
        from planish.measure.sites import read_sites
        from planish.measure.steps import read_steps
        from planish.measure.traces import cut_wafers, read_rates, read_traces

        return [
            read_sites, lambda f: cut_wafers(read_traces(f)), read_rates, read_steps, maps_from_csv,
            lambda f: read_nested(f, ["site"], "thickness_nm"),
        ]  # fmt: skip
    from planish.measure.layout import list_layers, read_layout_maps

    def drawn(file: Path) -> None:
        layers = list_layers(file)
        layer = max(layers, key=lambda key: layers[key], default=(1, 0))
        read_layout_maps(file, *layer, CELL, cache=False)

    return [drawn]


def _one(name: str, folder: Path) -> dict[str, object]:
    """Make and read one file in a child of this process; its peak memory counts what it and its children took."""
    ending, make = FILES[name]
    file = folder / f"file{ending}"
    maker = os.fork()
    if maker == 0:  # so that what making it takes is not counted
        file.write_bytes(make())
        os._exit(0)
    os.waitpid(maker, 0)
    size = file.stat().st_size
    out, into = os.pipe()
    start = time.perf_counter()
    child = os.fork()
    if child == 0:
        told: dict[str, object] = {}
        try:
            signal.alarm(int(os.environ.get("HOSTILE_SECONDS", "600")))
            told["ended"] = read(file, ending)
        except BaseException as error:  # noqa: BLE001  what escapes is what this is for
            told["ended"] = f"FAILED {type(error).__name__}: {str(error)[:200]}"
            told["where"] = traceback.format_exc(limit=-4)
        used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
        told["cpu_s"] = round(sum(each.ru_utime + each.ru_stime for each in used), 2)
        told["peak_mb"] = max(each.ru_maxrss for each in used) / 1024
        os.write(into, json.dumps(told).encode())
        os._exit(0)
    os.close(into)
    with os.fdopen(out, "rb") as pipe:
        answer = pipe.read()
    _, status, usage = os.wait4(child, 0)
    told = json.loads(answer) if answer else {
        "ended": f"FAILED with status {status}", "peak_mb": usage.ru_maxrss / 1024,
        "cpu_s": round(usage.ru_utime + usage.ru_stime, 2),
    }  # fmt: skip
    file.unlink()
    return {"name": name, "bytes": size, "seconds": round(time.perf_counter() - start, 2), **told}


def main() -> None:
    import tempfile

    from planish.measure.layout import compile_kernels

    limit = int(sys.argv[1]) * MB if len(sys.argv) > 1 else 0
    compile_kernels()
    if limit:
        resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
    with tempfile.TemporaryDirectory(prefix="planish-hostile-") as folder:
        for name in sys.stdin.read().splitlines():
            sys.stdout.write(json.dumps(_one(name, Path(folder))) + "\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
