"""Hostile OASIS layouts, built by hand (SEMI P39, from memory), because no honest writer makes them."""

from __future__ import annotations

import struct
import zlib

from hostile_list import MB, add, damaged


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
            lambda s=seed, d=sound: damaged(d, s, len(OASIS_START), 256),
            quick=seed < 4,
        )


_oases()
