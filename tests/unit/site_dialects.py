"""One invented wafer in forty ways of writing it, as gauges and spreadsheets commonly do.

Each way is a function of the wafer that returns the file's name, its bytes, what the user says of it, and how
finely place and thickness are written. No product's format is meant; the ways are common practice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from workbooks import workbook

from planish.measure.sites.site_plan import site_plan

Array = NDArray[np.float64]
PITCH = (26.0, 33.0)  # mm


@dataclass(frozen=True)
class Wafer:
    """Places [mm] and thickness [nm] of the sites."""

    x: Array
    y: Array
    thickness: Array


@dataclass(frozen=True)
class Dialect:
    """A file and what is said of it; ``place`` [mm] and ``value`` [nm] are one digit of the last place written."""

    data: bytes
    place: float = 0.001
    value: float = 0.001
    said: dict[str, Any] = field(default_factory=dict)
    name: str = "sites.csv"
    wafer: str = "plan"  # which of WAFERS it holds
    without: tuple[int, ...] = ()  # sites that have no value


def film(x: Array, y: Array) -> Array:
    return 1012.104 - 35.0 * (np.hypot(x, y) / 147.0) ** 2 + 0.021 * x - 0.013 * y


def _plan() -> Wafer:
    x, y = (1e3 * v for v in site_plan("49", 0.15, 0.003))
    return Wafer(x, y, film(x, y))


def _dies() -> Wafer:
    i, j = np.meshgrid(np.arange(-4, 5), np.arange(-3, 4))
    x, y = PITCH[0] * i.ravel(), PITCH[1] * j.ravel()
    on = np.hypot(x, y) < 130
    return Wafer(x[on], y[on], film(x[on], y[on]))


WAFERS = {"plan": _plan(), "dies": _dies()}
W = WAFERS["plan"]
SITES = [str(i + 1) for i in range(len(W.x))]


def columns(*parts: Iterable[Any]) -> list[list[str]]:
    return [[str(cell) for cell in row] for row in zip(*parts, strict=True)]


def fixed(values: Array, digits: int, scale: float = 1.0) -> list[str]:
    return [f"{scale * v + 0.0:.{digits}f}" for v in values]


def text(rows: Sequence[Sequence[str]], sep: str = ",", end: str = "\n") -> str:
    return end.join(sep.join(row) for row in rows) + end


XYT = columns(SITES, fixed(W.x, 3), fixed(W.y, 3), fixed(W.thickness, 3))


def comma(rows: Sequence[Sequence[str]]) -> list[list[str]]:
    return [[cell.replace(".", ",") for cell in row] for row in rows]


WAYS: dict[str, Callable[[], Dialect]] = {}


def way(make: Callable[[], Dialect]) -> Callable[[], Dialect]:
    WAYS[make.__name__] = make
    return make


def said(**told: Any) -> dict[str, Any]:
    return {"columns": told}


@way
def plain() -> Dialect:
    return Dialect(text([["site", "x_mm", "y_mm", "thickness_nm"], *XYT]).encode())


@way
def semicolons_and_decimal_commas() -> Dialect:
    return Dialect(text([["Site", "X [mm]", "Y [mm]", "Thickness [nm]"], *comma(XYT)], ";").encode())


@way
def tabs_and_decimal_commas() -> Dialect:
    return Dialect(
        text([["Point", "X (mm)", "Y (mm)", "Thk (nm)"], *comma(XYT)], "\t").encode(), name="w.txt"
    )


@way
def bars() -> Dialect:
    return Dialect(
        text([["Site No", "X Pos [mm]", "Y Pos [mm]", "Film Thickness [nm]"], *XYT], " | ").encode()
    )


@way
def fixed_width() -> Dialect:
    head = f"{'Site':>6}  {'X Coord [mm]':>14}  {'Y Coord [mm]':>14}  {'Thickness [nm]':>16}\n"
    body = "".join(f"{s:>6}  {x:>14}  {y:>14}  {t:>16}\n" for s, x, y, t in XYT)
    return Dialect((head + body).encode(), name="w.txt")


@way
def single_blanks() -> Dialect:
    return Dialect(
        text([["#", "X", "[mm]", "Y", "[mm]", "T", "[nm]"], *XYT], " ").replace("# ", "No ").encode()
    )


@way
def quoted_decimal_commas() -> Dialect:
    quoted = [[f'"{cell}"' for cell in row] for row in comma(XYT)]
    return Dialect(text([['"Site"', '"X, mm"', '"Y, mm"', '"Thickness, nm"'], *quoted]).encode())


@way
def utf_8_with_mark() -> Dialect:
    rows = columns(SITES, fixed(W.x, 3), fixed(W.y, 3), fixed(W.thickness, 2, 10))
    return Dialect(text([["Site", "X_mm", "Y_mm", "Thickness (Å)"], *rows], ";").encode("utf-8-sig"))


@way
def utf_16() -> Dialect:
    rows = columns(SITES, fixed(W.x, 3), fixed(W.y, 3), fixed(W.thickness, 2, 10))
    return Dialect(
        text([["Site", "X [mm]", "Y [mm]", "Thickness [Å]"], *rows], "\t", "\r\n").encode("utf-16")
    )


@way
def latin_1_and_micrometres() -> Dialect:
    rows = columns(SITES, fixed(W.x, 0, 1e3), fixed(W.y, 0, 1e3), fixed(W.thickness, 1, 10))
    return Dialect(
        text([["Site", "X [µm]", "Y [µm]", "Thickness [Å]"], *rows], ";").encode("latin-1"), value=0.01
    )


@way
def carriage_returns() -> Dialect:
    return Dialect(text([["site", "x (mm)", "y (mm)", "thickness (nm)"], *XYT], ",", "\r").encode())


@way
def units_row_and_preamble() -> Dialect:
    above = "Recipe;film check\nOperator;7\nWafer ID;W07\nDate;2031-05-01 10:11\n\n"
    rows = [["Site", "X", "Y", "Thickness", "GOF"], ["", "mm", "mm", "Å", ""]]
    rows += [
        [*row, "0.998"] for row in columns(SITES, fixed(W.x, 3), fixed(W.y, 3), fixed(W.thickness, 2, 10))
    ]
    return Dialect((above + text(rows, ";")).encode(), said={"wafer": "W07"})


@way
def units_row_in_brackets() -> Dialect:
    rows = [["No.", "Pos. X", "Pos. Y", "Layer 1"], ["[#]", "[mm]", "[mm]", "[kÅ]"]]
    rows += columns(SITES, fixed(W.x, 3), fixed(W.y, 3), fixed(W.thickness, 4, 0.01))
    return Dialect(text(rows, "\t").encode(), value=0.01, said=said(thickness="Layer 1"))


@way
def units_above_the_table() -> Dialect:
    above = "Measured sites\nCoordinate units: mm\nThickness unit: Angstroms\nSites: 49\n"
    rows = columns(SITES, fixed(W.x, 3), fixed(W.y, 3), fixed(W.thickness, 2, 10))
    return Dialect((above + text([["Point", "X", "Y", "Thickness"], *rows])).encode())


@way
def units_note() -> Dialect:
    return Dialect(
        ("# units: x=mm, y=mm, thickness=nm\n" + text([["site", "x", "y", "thickness"], *XYT], "|")).encode()
    )


@way
def summary_below() -> Dialect:
    rows = [["Site", "X_Coord [mm]", "Y_Coord [mm]", "Thickness [nm]"], *XYT]
    below = "\nMean,,,1000.1\nStd Dev,,,9.99\nMin,,,970.2\nMax,,,1012.1\nRange,,,42\n% Uniformity,,,1.2\n\nEnd of data\n"
    return Dialect((text(rows) + below).encode())


@way
def summary_at_once() -> Dialect:
    rows = [["Wafer", "Site", "X [mm]", "Y [mm]", "T1 [nm]"], *[["W1", *row] for row in XYT]]
    rows += [["W1", "Average", "", "", "1000.1"], ["W1", "3 sigma", "", "", "9.9"]]
    return Dialect(text(rows, ";").encode())


@way
def missing_values() -> Dialect:
    rows = [list(row) for row in XYT]
    for site, sign in zip((3, 17, 30, 44), ("", "-", "NaN", "***"), strict=True):
        rows[site][3] = sign
    rows = [["Site", "X (mm)", "Y (mm)", "Thickness (nm)"], *rows]
    return Dialect(text(rows).encode(), without=(3, 17, 30, 44))


@way
def time_and_fit_columns() -> Dialect:
    head = [
        "Time",
        "Site #",
        "X Position (mm)",
        "Y Position (mm)",
        "Thickness (nm)",
        "Thickness Std (nm)",
        "GOF",
        "n@633",
    ]
    rows = [head, *[["10:11:12", *row, "0.2", "0.9981", "1.4571"] for row in XYT]]
    return Dialect(text(rows).encode())


@way
def polar_degrees() -> Dialect:
    r, a = np.hypot(W.x, W.y), np.degrees(np.arctan2(W.y, W.x))
    rows = columns(SITES, fixed(r, 4), fixed(a, 5), fixed(W.thickness, 3))
    return Dialect(text([["Site", "R (mm)", "Theta (deg)", "Thickness (nm)"], *rows], "\t").encode())


@way
def polar_radians() -> Dialect:
    r, a = np.hypot(W.x, W.y), np.arctan2(W.y, W.x)
    rows = comma(columns(SITES, fixed(r, 4), fixed(a, 7), fixed(W.thickness, 3)))
    return Dialect(text([["Site", "Radius [mm]", "Angle [rad]", "Thickness [nm]"], *rows], ";").encode())


@way
def inches() -> Dialect:
    rows = columns(SITES, fixed(W.x, 5, 1 / 25.4), fixed(W.y, 5, 1 / 25.4), fixed(W.thickness, 1, 10))
    return Dialect(text([["Site", "X [inch]", "Y [inch]", "Thickness [A]"], *rows], ";").encode(), value=0.01)


@way
def micrometres_of_film() -> Dialect:
    rows = columns(SITES, fixed(W.x, 3), fixed(W.y, 3), fixed(W.thickness, 6, 1e-3))
    return Dialect(text([["Site", "x [mm]", "y [mm]", "Thickness [microns]"], *rows], "\t").encode())


@way
def exponents() -> Dialect:
    rows = columns(SITES, *([f"{v:.8E}" for v in c] for c in (1e-3 * W.x, 1e-3 * W.y, 1e-9 * W.thickness)))
    return Dialect(text([["Point ID", "X [m]", "Y [m]", "Thickness [m]"], *rows], ";").encode())


@way
def groups_of_three() -> Dialect:
    t = [f"{10 * v:,.2f}" for v in W.thickness]
    rows = columns(SITES, fixed(W.x, 3), fixed(W.y, 3), t)
    return Dialect(text([["Site", "X [mm]", "Y [mm]", "Thickness [Å]"], *rows], ";").encode())


@way
def named_by_the_user() -> Dialect:
    rows = [["Nr", "Pos A", "Pos B", "Ergebnis", "Guete"], *[[*row, "1.0"] for row in XYT]]
    units = {"x": "mm", "y": "mm", "thickness": "nm"}
    return Dialect(
        text(rows, ";").encode(),
        said=said(columns={"x": "Pos A", "y": "Pos B", "thickness": "Ergebnis"}, units=units),
    )


@way
def two_films() -> Dialect:
    rows = [["Site", "X [mm]", "Y [mm]", "T1 [nm]", "T2 [nm]"], *[[*row, "55.5"] for row in XYT]]
    return Dialect(text(rows).encode(), said=said(thickness="T1 [nm]"))


@way
def units_by_the_user() -> Dialect:
    units = {"x": "mm", "y": "mm", "thickness": "nm"}
    return Dialect(text([["site", "x", "y", "thickness"], *XYT]).encode(), said=said(units=units))


@way
def stacked_wafers() -> Dialect:
    head = ["Lot", "Wafer ID", "Site", "X [mm]", "Y [mm]", "Thickness [nm]"]
    other = [["L1", "W02", *row[:3], "1.0"] for row in XYT]
    rows = [head, *[["L1", "W01", *row] for row in XYT], *other]
    return Dialect(text(rows, ";").encode(), said={"wafer": "W01"})


@way
def stacked_slots_with_summaries() -> Dialect:
    head = ["Slot", "Site", "X (mm)", "Y (mm)", "Thickness (nm)"]
    rows = [head, *[["4", *row] for row in XYT], ["4", "Mean", "", "", "1.0"]]
    rows += [["5", *row[:3], "1.0"] for row in XYT] + [["5", "Mean", "", "", "1.0"]]
    return Dialect(text(rows).encode(), said={"wafer": "4"})


@way
def wafer_in_the_file_name() -> Dialect:
    return Dialect(
        text([["Site", "X [mm]", "Y [mm]", "Thickness [nm]"], *XYT], "\t").encode(),
        name="lot-7_W12_post.txt",
        said={"wafer": "W12"},
    )


@way
def dies_about_the_centre() -> Dialect:
    d = WAFERS["dies"]
    rows = columns(fixed(d.x / PITCH[0], 0), fixed(d.y / PITCH[1], 0), fixed(d.thickness, 3))
    return Dialect(
        text([["Die X", "Die Y", "Thickness [nm]"], *rows], ";").encode(),
        said=said(pitch="26mm,33mm"),
        wafer="dies",
    )


@way
def dies_from_a_corner() -> Dialect:
    d = WAFERS["dies"]
    rows = columns(fixed(d.x / PITCH[0] + 6, 0), fixed(d.y / PITCH[1] + 5, 0), fixed(d.thickness, 3))
    return Dialect(
        text([["Die Col", "Die Row", "Thickness (nm)"], *rows], "\t").encode(),
        said=said(pitch="26 mm, 33 mm", centre_die="6,5"),
        wafer="dies",
    )


@way
def sites_of_a_plan() -> Dialect:
    rows = columns(SITES, fixed(W.thickness, 2, 10))
    return Dialect(text([["Site", "Thickness (A)"], *rows]).encode(), said=said(site_plan="49, 300 mm, 3 mm"))


@way
def a_wafer_in_a_row() -> Dialect:
    rows = [["Wafer", *SITES, "Mean"], ["W1", *fixed(W.thickness, 3), "1000"], ["W2", *["9.5"] * 49, "9.5"]]
    return Dialect(
        text(rows, ";").encode(),
        said={"wafer": "W1", **said(site_plan="49, 300 mm, 3 mm", units={"thickness": "nm"})},
    )


@way
def a_wafer_in_a_row_with_places() -> Dialect:
    names = [f"T{s}" for s in SITES]
    rows = [["Wafer ID", *names], ["X [mm]", *fixed(W.x, 3)], ["Y [mm]", *fixed(W.y, 3)]]
    rows += [["W1", *fixed(W.thickness, 3)], ["Mean", *["1000.1"] * 49]]
    return Dialect(text(rows).encode(), said={"wafer": "W1", **said(units={"thickness": "nm"})})


@way
def a_wafer_in_a_row_and_its_size_above() -> Dialect:
    above = "Wafer size: 300 mm\nThickness unit: Å\n"
    rows = [["Wafer", *[f"Site {s}" for s in SITES]], ["W1", *fixed(W.thickness, 2, 10)]]
    rows[1][9] = "***"
    return Dialect((above + text(rows, "\t")).encode(), said=said(site_plan="49, 3 mm"), without=(8,))


@way
def sheet() -> Dialect:
    rows: list[list[str | float | None]] = [["Site", "X [mm]", "Y [mm]", "Thickness [nm]"]]
    rows += [[i + 1, *(round(float(v[i]), 3) for v in (W.x, W.y, W.thickness))] for i in range(49)]
    return Dialect(workbook({"Sheet1": rows}), name="sites.xlsx")


@way
def sheet_with_preamble_units_and_summary() -> Dialect:
    rows: list[list[str | float | None]] = [["Wafer ID", "W07"], [], ["Site", "X", "Y", "Thickness", "GOF"]]
    rows += [["", "mm", "mm", "Å", ""]]
    rows += [[i + 1, float(W.x[i]), float(W.y[i]), 10 * float(W.thickness[i]), 0.99] for i in range(49)]
    rows += [[], ["Mean", None, None, 10000.5, 0.99], ["Std", None, None, 9.5, 0.0]]
    return Dialect(workbook({"Cover": [["A report"]], "Data": rows}), name="sites.xlsx")


@way
def sheet_chosen() -> Dialect:
    rows: list[list[str | float | None]] = [["Site", "X [mm]", "Y [mm]", "Thickness [nm]"]]
    rows += [[i + 1, *(round(float(v[i]), 3) for v in (W.x, W.y, W.thickness))] for i in range(49)]
    return Dialect(workbook({"W1": rows, "W2": rows[:20]}), name="sites.xlsx", said=said(sheet="W1"))


@way
def repeated_names_and_blank_lines() -> Dialect:
    head = ["Site", "X [mm]", "Y [mm]", "Thickness [nm]"]
    return Dialect((text([head, *XYT[:25]], ";") + "\n" + text([head, *XYT[25:]], ";")).encode())
