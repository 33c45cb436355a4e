"""The one way planish writes CSV: a spreadsheet that opens it shows text as text and runs none of it.

A spreadsheet takes a cell that begins with ``=``, ``+``, ``-``, ``@``, a tab or a line end for a formula.
Text of that kind gets an apostrophe before it; numbers stay as they are. :func:`plain` takes the
apostrophe away again where planish reads such a file back.

Source: OWASP, CSV Injection (owasp.org/www-community/attacks/CSV_Injection), its list of leading
characters and the advice to set a single quote before them; the line feed joined the list in 2025.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import polars as pl

_RUNS = "=+\\-@\\t\\r\\n"
# Apostrophes of the text's own are counted in, so that plain(safe(text)) is the text whatever it is.
FORMULA = f"^('*[{_RUNS}])"
SHIELDED = f"^'('*[{_RUNS}])"
_NUMBER = r"^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?$|^[+-]?(inf|nan|NaN)$"
_IS_FORMULA = re.compile(FORMULA)
_IS_SHIELDED = re.compile(SHIELDED)
_IS_NUMBER = re.compile(_NUMBER.replace("$", r"\Z"))
# In a note a spreadsheet still sees cells, at whatever it takes for the separator.
_CELL_IN_NOTE = re.compile(r"([,;\t]\s*)(?=[=+\-@])")


def safe(text: str) -> str:
    """Return a cell's text so that no spreadsheet runs it; numbers are left as they are.

    Parameters
    ----------
    text
        Of the cell.

    Returns
    -------
    str
        Undone by :func:`plain`.
    """
    return f"'{text}" if _IS_FORMULA.match(text) and not _IS_NUMBER.match(text) else text


def plain(text: str) -> str:
    """Return the text that :func:`safe` was given.

    Parameters
    ----------
    text
        Of the cell.

    Returns
    -------
    str
        As it was.
    """
    return text[1:] if _IS_SHIELDED.match(text) else text


def csv_text(head: Sequence[str], rows: Iterable[Sequence[str]], notes: Iterable[str] = ()) -> str:
    """Return a CSV file, separated by commas, quoted where needed.

    Parameters
    ----------
    head
        The column names.
    rows
        A line each; numbers as text, in the digits wanted.
    notes
        Lines behind ``#`` before the column names.

    Returns
    -------
    str
        The whole file.
    """
    out = io.StringIO()
    for note in notes:
        out.write(f"# {_note(note)}\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([safe(name) for name in head])
    for row in rows:
        writer.writerow([safe(cell) for cell in row])
    return out.getvalue()


def frame_csv(frame: pl.DataFrame, notes: Iterable[str] = ()) -> str:
    """Return a table of polars as CSV, its text made safe as :func:`csv_text` does.

    Parameters
    ----------
    frame
        The table.
    notes
        Lines behind ``#`` before the column names.

    Returns
    -------
    str
        The whole file.
    """
    import polars as pl

    text = pl.col(pl.String)
    runs = text.str.contains(FORMULA) & ~text.str.contains(_NUMBER)
    shown = frame.with_columns(pl.when(runs).then("'" + text).otherwise(text).name.keep())
    shown = shown.rename({name: safe(name) for name in frame.columns})
    return "".join(f"# {_note(note)}\n" for note in notes) + shown.write_csv()


def _note(text: str) -> str:
    return _CELL_IN_NOTE.sub(r"\1'", " ".join(text.split()))
