"""One invented table of runs in many ways of writing it, as fabs and spreadsheets commonly do (common practice, no source)."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import polars as pl
from workbooks import workbook

#: wafer, lot, time [s], rate [nm/min], its error [nm/min], wafers before on the pad, use of the disk [h], ring [psi]
RUNS = (
    ("W01", "L7", 60.0, 251.4, 1.5, 0, 3.5, 4.25),
    ("W02", "L7", 60.0, 249.25, 1.5, 1, 3.75, 4.5),
    ("W03", "L8", 90.5, 1245.75, 2.25, 240, 17.5, 3.125),
)
RING = "recipe.step.main.ring_pressure"
HEAD = [
    "wafer",
    "lot",
    "time_s",
    "rate_nm_per_min",
    "rate_sd_nm_per_min",
    "pad_wafers",
    "disk_h",
    f"{RING}_psi",
]


@dataclass(frozen=True)
class Dialect:
    """A file, and what is said of it as ``RunColumns`` takes it."""

    data: bytes
    said: dict[str, Any] = field(default_factory=dict)
    name: str = "runs.csv"


WAYS: dict[str, Callable[[], Dialect]] = {}


def way(make: Callable[[], Dialect]) -> Callable[[], Dialect]:
    WAYS[make.__name__] = make
    return make


def rows(scale: Sequence[float] = (1, 1, 1, 1, 1)) -> list[list[str]]:
    """The rows as text; time, rate, error, disk and ring in units that are ``1 / scale`` of those above."""
    time, rate, sd, disk, ring = scale
    return [
        [w, lot, f"{t * time:.10g}", f"{r * rate:.10g}", f"{e * sd:.10g}", str(n), f"{h * disk:.10g}", f"{p * ring:.10g}"]
        for w, lot, t, r, e, n, h, p in RUNS
    ]  # fmt: skip


def comma(table: Sequence[Sequence[str]]) -> list[list[str]]:
    return [[*row[:2], *(cell.replace(".", ",") for cell in row[2:])] for row in table]


def text(table: Sequence[Sequence[str]], sep: str = ",", end: str = "\n") -> str:
    return end.join(sep.join(row) for row in table) + end


@way
def plain() -> Dialect:
    return Dialect(text([HEAD, *rows()]).encode())


@way
def semicolons_and_decimal_commas() -> Dialect:
    head = [
        "Wafer",
        "Lot",
        "Time [s]",
        "Rate [nm/min]",
        "Rate SD [nm/min]",
        "Pad wafers",
        "Disk hours",
        f"{RING} [psi]",
    ]
    return Dialect(text([head, *comma(rows())], ";").encode())


@way
def tabs_and_parentheses() -> Dialect:
    head = ["Wafer ID", "Lot ID", "Polish time (min)", "Removal rate (A/min)", "RR sigma (A/min)", "Wafers on pad",
            "Disk age (h)", f"{RING} (kPa)"]  # fmt: skip
    table = rows((1 / 60, 10, 10, 1, 6.894757293168361))
    return Dialect(text([head, *table], "\t").encode(), name="runs.txt")


@way
def bars() -> Dialect:
    return Dialect(text([HEAD, *rows()], " | ").encode())


@way
def blanks_in_columns() -> Dialect:
    table = [HEAD, *rows()]
    return Dialect(
        "".join("  ".join(f"{cell:>38}" for cell in row) + "\n" for row in table).encode(), name="runs.txt"
    )


@way
def utf_16() -> Dialect:
    return Dialect(text([HEAD, *rows()], "\t", "\r\n").encode("utf-16"), name="runs.txt")


@way
def latin_1_and_angstrom() -> Dialect:
    head = ["Wafer No.", "Lot No.", "Time, s", "MRR, Å/min", "MRR error, Å/min", "pad wafer count", "Conditioner time, h",
            f"{RING} [psi]"]  # fmt: skip
    return Dialect(text([head, *rows((1, 10, 10, 1, 1))], ";").encode("latin-1"))


@way
def units_in_the_cells() -> Dialect:
    units = ("", "", " s", " nm/min", " nm/min", "", " h", " psi")
    table = [[cell + unit for cell, unit in zip(row, units, strict=True)] for row in rows()]
    head = ["wafer", "lot", "time", "rate", "sd", "pad wafers", "disk use", RING]
    return Dialect(text([head, *table]).encode())


@way
def commas_and_units_in_the_cells() -> Dialect:
    units = ("", "", " s", " nm/min", " nm/min", "", " h", " psi")
    table = [[cell + unit for cell, unit in zip(row, units, strict=True)] for row in comma(rows())]
    head = ["wafer", "lot", "time", "rate", "sd", "pad wafers", "disk use", RING]
    return Dialect(text([head, *table], ";").encode())


@way
def a_row_of_units() -> Dialect:
    head = ["wafer", "lot", "time", "rate", "rate sd", "pad wafers", "disk", RING]
    units = ["", "", "[s]", "[nm/min]", "[nm/min]", "", "[h]", "[psi]"]
    return Dialect(text([head, units, *rows()]).encode())


@way
def notes_and_a_mark() -> Dialect:
    notes = "# invented runs\n# pad: third of its kind, after a change\n\n"
    return Dialect((notes + text([HEAD, *rows()])).encode("utf-8-sig"))


@way
def quoted_names() -> Dialect:
    head = ['"Wafer"', '"Lot"', '"Time, s"', '"Rate, nm/min"', '"Rate sd, nm/min"', '"Wafers on the pad"', '"Disk time, h"',
            f'"{RING} [psi]"']  # fmt: skip
    return Dialect(text([head, *[[f'"{cell}"' for cell in row] for row in comma(rows())]]).encode())


@way
def blank_ends() -> Dialect:
    table = [[*row, "", ""] for row in [HEAD, *rows()]]
    return Dialect(("\r\n" + text(table, ",", "\r\n") + ",,,,,,,,,\r\n\r\n").encode())


@way
def parquet() -> Dialect:
    out = io.BytesIO()
    columns = list(zip(*RUNS, strict=True))
    pl.DataFrame(dict(zip(HEAD, columns, strict=True))).write_parquet(out)
    return Dialect(out.getvalue(), name="runs.parquet")


@way
def workbook_with_a_cover() -> Dialect:
    table = [HEAD, *(list(row) for row in RUNS)]
    return Dialect(workbook({"Cover": [["A report"]], "Runs": table}), name="runs.xlsx")


@way
def one_of_two_sheets() -> Dialect:
    table = [HEAD, *(list(row) for row in RUNS)]
    return Dialect(workbook({"One": table, "Two": table[:2]}), {"sheet": "One"}, "runs.xlsx")


@way
def columns_that_mean_nothing_left_out() -> Dialect:
    table = [[*row[:3], "a remark", *row[3:], "07:15"] for row in rows()]
    head = [*HEAD[:3], "Operator", *HEAD[3:], "Shift start"]
    return Dialect(text([head, *table]).encode(), {"leave_out": ("operator", "Shift start")})


@way
def columns_told() -> Dialect:
    head = [
        "wafer",
        "lot",
        "Run length [s]",
        "Result [nm/min]",
        "Doubt [nm/min]",
        "n",
        "disk_h",
        f"{RING}_psi",
    ]
    said = {"time": "Run length [s]", "rate": "Result [nm/min]", "sd": "Doubt [nm/min]", "pad_wafers": "n"}
    return Dialect(text([head, *rows()]).encode(), {"columns": said})


@way
def grouped_digits() -> Dialect:
    table = [[cell.replace("1245.75", '"1,245.75"') for cell in row] for row in rows()]
    return Dialect(text([HEAD, *table]).encode())
