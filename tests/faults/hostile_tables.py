"""Hostile text and Parquet tables.

The Parquet pieces that no honest writer makes are built by hand (parquet.thrift, from memory).
"""

from __future__ import annotations

import io
import struct

import numpy as np
from hostile_list import MB, add, damaged

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
    add("trace: 2.9 million rows of texts", ".csv",
        lambda: TRACE.splitlines(keepends=True)[0].replace(",STAGE_ROTATION", "").replace("MACHINE_ID,", "").replace("CHAMBER,", "").encode() + b"ab1,c2,d3,e4\n" * 2_900_000)  # fmt: skip
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
    add("parquet: a text of 1 MB, 300 times", ".parquet",
        lambda: _parquet({"site": ["a" * MB] * 300, "x_mm": np.zeros(300)}, compression="zstd"))  # fmt: skip
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
            lambda s=seed: damaged(_small_parquet(), s),
            quick=seed < 8,
        )


def _varint(value: int) -> bytes:
    out = bytearray()
    while True:
        low, value = value & 127, value >> 7
        out.append(low | (128 if value else 0))
        if not value:
            return bytes(out)


_tables()
_parquets()
