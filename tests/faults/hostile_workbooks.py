"""Hostile workbooks (.xlsx): archives that unpack to more than they say, cells far apart, texts that grow."""

from __future__ import annotations

import io
import struct
import sys
import zipfile
from pathlib import Path

from hostile_list import MB, add, damaged

sys.path.insert(0, str(Path(__file__).parents[1] / "unit"))
from workbooks import MAIN, packed, sheet_xml, workbook

NAMES = ["Site", "X [mm]", "Y [mm]", "Thickness [nm]"]
GOOD = [NAMES, *[[i, float(i % 20), float(i // 20), 1000.0 + i] for i in range(1, 60)]]


def _sheet(inside: str) -> bytes:
    return packed({"D": _sheet_xml(inside)})


def _sheet_xml(inside: str) -> str:
    return f'<worksheet xmlns="{MAIN}"><sheetData>{inside}</sheetData></worksheet>'


def _relations(target: str) -> str:
    return (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="r1" '
        'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" '
        f'Target="{target}"/></Relationships>'
    )


def _cell(place: str, text: str = "1") -> str:
    row = place.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    return f'<row r="{row}"><c r="{place}"><v>{text}</v></c></row>'


def _archive(parts: dict[str, bytes], level: int = 9) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=level) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return out.getvalue()


def _lying(size: int) -> bytes:
    """A workbook whose list of parts says that each is of ``size`` bytes."""
    data = bytearray(workbook({"D": GOOD * 30}))
    at = data.find(b"PK\x01\x02")
    while at >= 0:
        data[at + 24 : at + 28] = struct.pack("<I", size)
        at = data.find(b"PK\x01\x02", at + 4)
    return bytes(data)


def _laughs() -> str:
    entities = "".join(f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 10))
    return f'<!DOCTYPE w [<!ENTITY a0 "ha">{entities}]><worksheet xmlns="{MAIN}"><sheetData>&a9;</sheetData></worksheet>'


def _long_texts(length: int, cells: int) -> bytes:
    pointed = "".join(f'<row r="{i}"><c r="A{i}" t="s"><v>0</v></c></row>' for i in range(1, cells + 1))
    shared = f'<sst xmlns="{MAIN}"><si><t>{"a" * length}</t></si></sst>'
    return packed(
        {"D": f'<worksheet xmlns="{MAIN}"><sheetData>{pointed}</sheetData></worksheet>'},
        {"xl/sharedStrings.xml": shared},
    )


def _workbooks() -> None:
    good = workbook({"D": GOOD})
    for what, make in {
        "as it should be": lambda: good,
        "a cell at the far corner": lambda: _sheet(_cell("A1") + _cell("XFD1048576")),
        "a cell beyond the far corner": lambda: _sheet(_cell("A1") + _cell("ZZZ9999999")),
        "cells of a wide and a tall corner": lambda: _sheet(_cell("XFD1") + _cell("A1048576")),
        "a place that is none": lambda: _sheet('<row r="1"><c r="1A"><v>1</v></c></row>'),
        "a place of many digits": lambda: _sheet(f'<row r="1"><c r="A{"9" * 5000}"><v>1</v></c></row>'),
        "a row of many digits": lambda: _sheet(f'<row r="{"9" * 5000}"><c><v>1</v></c></row>'),
        "a small place in capitals and not": lambda: _sheet('<row r="1"><c r="xfd1048576"><v>1</v></c></row>'),
        "a dimension that lies": lambda: packed(
            {"D": sheet_xml(GOOD).replace("<sheetData>", '<dimension ref="A1:XFD1048576"/><sheetData>')}
        ),
        "cells without places": lambda: _sheet("<row>" + "<c><v>1</v></c>" * 400 + "</row>"),
        "a number of 900 kB": lambda: _sheet(_cell("A1", "9" * 900_000)),
        "numbers that are none": lambda: _sheet(_cell("A1", "1e999") + _cell("A2", "nan") + _cell("A3", "x")),
        "a document type": lambda: packed({"D": _laughs()}),
        "a sheet under another name": lambda: packed(
            {"D": sheet_xml(GOOD)},
            {"xl/_rels/workbook.xml.rels": _relations("foo.xml"), "xl/foo.xml": _sheet_xml(_cell("XFD1048576"))},
        ),
        "texts that count themselves wrong": lambda: packed(
            {"D": sheet_xml(GOOD)}, {"xl/sharedStrings.xml": f'<sst xmlns="{MAIN}" count="4000000000" uniqueCount="18446744073709551615"/>'}
        ),
        "texts that count too many": lambda: packed(
            {"D": sheet_xml(GOOD)}, {"xl/sharedStrings.xml": f'<sst xmlns="{MAIN}" count="90000000" uniqueCount="90000000"/>'}
        ),
        "merged over everything": lambda: packed(
            {"D": sheet_xml(GOOD).replace("</sheetData>", '</sheetData><mergeCells><mergeCell ref="A1:XFD1048576"/></mergeCells>')}
        ),
        "a formula over everything": lambda: _sheet(
            '<row r="1"><c r="A1"><f t="shared" ref="A1:XFD1048576" si="0">B1+1</f><v>1</v></c></row>'
        ),
        "a text that is not there": lambda: _sheet('<row r="1"><c r="A1" t="s"><v>99999999999</v></c></row>'),
        "a style that is not there": lambda: _sheet('<row r="1"><c r="A1" s="99999999999"><v>1</v></c></row>'),
        "a name of 900 kB": lambda: packed({"D" * 900_000: sheet_xml(GOOD)}),
        "signs by number": lambda: _sheet('<row r="1"><c r="A1" t="str"><v>&#65;&#x10FFFF;</v></c></row>'),
        "dates beyond days": lambda: _sheet('<row r="1"><c r="A1" t="d"><v>99999-99-99</v></c></row>'),
        "no sheets": lambda: packed({}),
        "an empty sheet": lambda: packed({"D": sheet_xml([])}),
        "an archive of nothing": lambda: _archive({}),
        "an archive of something else": lambda: _archive({"a.xml": b"<a/>"}),
        "a sheet that is no XML": lambda: packed({"D": "\x00\x01"}),
        "a sheet nested deep": lambda: packed({"D": "<a>" * 200_000}),
        "a part that stands twice": lambda: good + good,
        "an old workbook": lambda: b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(5000),
        "text under the name of a workbook": lambda: b"x,y\n1,2\n",
        "nothing but the mark": lambda: b"PK\x03\x04",
        "a shared text in many cells": lambda: _long_texts(30_000, 20_000),
        "parts that say they are small": lambda: _lying(10),
        "parts that say they are huge": lambda: _lying(4_000_000_000),
        "2,000 parts": lambda: _archive({f"{i}.xml": b"<a/>" for i in range(2000)}),
        "200 MB of blanks in a sheet": lambda: _archive({"xl/workbook.xml": b"<a/>", "xl/worksheets/sheet1.xml": b" " * 200 * MB}),
        "60 MB of blanks in a sheet": lambda: _archive({"xl/workbook.xml": b"<a/>", "xl/worksheets/sheet1.xml": b"<a>" + b" " * 60 * MB}),
        "600 columns": lambda: workbook({"D": [[f"c{i}" for i in range(600)], [1.0] * 600]}),
        "a long name": lambda: workbook({"D": [["x" * 5000, "y"], [1.0, 2.0]]}),
        "600,000 cells": lambda: _sheet("".join(f'<row r="{i}">{"<c><v>1</v></c>" * 6}</row>' for i in range(1, 100_001))),
    }.items():  # fmt: skip
        add(f"workbook: {what}", ".xlsx", make, quick=True)
    for seed in range(40):
        add(f"workbook: damaged {seed}", ".xlsx", lambda s=seed: damaged(good, s, 4), quick=seed < 15)
    for seed in range(20):
        xml = sheet_xml(GOOD).encode()
        add(
            f"workbook: sheet damaged {seed}",
            ".xlsx",
            lambda s=seed, x=xml: packed({"D": damaged(x, s).decode("latin-1")}),
            quick=seed < 10,
        )


_workbooks()
