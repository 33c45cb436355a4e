"""The smallest workbook (.xlsx) that a spreadsheet opens, written by hand."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from xml.sax.saxutils import escape, quoteattr

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"
KIND = "application/vnd.openxmlformats-officedocument.spreadsheetml"


def letters(column: int) -> str:
    return (letters(column // 26 - 1) if column >= 26 else "") + chr(65 + column % 26)


def sheet_xml(rows: Sequence[Sequence[str | float | None]], first_row: int = 1) -> str:
    out = [f'<worksheet xmlns="{MAIN}"><sheetData>']
    for number, row in enumerate(rows, start=first_row):
        out.append(f'<row r="{number}">')
        for column, cell in enumerate(row):
            place = f"{letters(column)}{number}"
            if isinstance(cell, int | float):
                out.append(f'<c r="{place}"><v>{cell!r}</v></c>')
            elif cell:
                out.append(f'<c r="{place}" t="inlineStr"><is><t>{escape(cell)}</t></is></c>')
        out.append("</row>")
    return "".join([*out, "</sheetData></worksheet>"])


def packed(sheets: Mapping[str, str], extra: Mapping[str, str] | None = None) -> bytes:
    """The bytes of a workbook from the XML of its sheets."""
    numbers = range(1, len(sheets) + 1)
    listed = "".join(
        f'<sheet name={quoteattr(n)} sheetId="{i}" r:id="r{i}"/>'
        for i, n in zip(numbers, sheets, strict=True)
    )
    links = "".join(
        f'<Relationship Id="r{i}" Type="{OFFICE}/worksheet" Target="worksheets/sheet{i}.xml"/>'
        for i in numbers
    )
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{PACKAGE}/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{KIND}.sheet.main+xml"/>'
        + "".join(f'<Override PartName="/xl/worksheets/sheet{i}.xml" ContentType="{KIND}.worksheet+xml"/>' for i in numbers)
        + "</Types>",
        "_rels/.rels": f'<Relationships xmlns="{PACKAGE}/relationships">'
        f'<Relationship Id="r1" Type="{OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{MAIN}" xmlns:r="{OFFICE}"><sheets>{listed}</sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{PACKAGE}/relationships">{links}</Relationships>',
        **{f"xl/worksheets/sheet{i}.xml": xml for i, xml in zip(numbers, sheets.values(), strict=True)},
        **(extra or {}),
    }  # fmt: skip
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    return out.getvalue()


def workbook(sheets: Mapping[str, Sequence[Sequence[str | float | None]]]) -> bytes:
    return packed({name: sheet_xml(rows) for name, rows in sheets.items()})
