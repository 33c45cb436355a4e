"""Is a step fit to run? Measured rows against a checklist, told as a record that can be signed."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish._version import __version__
from planish.engine.files import write_asked
from planish.errors import DataError, refuse
from planish.hold.charts.samples import Data, Table, table_of
from planish.hold.qualify.checklist import LOOKS, Check, Checklist, read_checklist
from planish.hold.qualify.record import FORMAT, read_record, sealed
from planish.results.plain import Figure
from planish.results.result import Result

Array = NDArray[np.float64]
LONGEST = 200  # characters of a name
SOURCES = (
    "Checklist and limits: as the user gives them",
    "Digest: SHA-256 over the record in one spelling; seal: HMAC, RFC 2104 (from the standard library of Python)",
)
CARE = (
    "limits that are met say that these wafers met them: whether a step is released is decided by qualified staff, by the "
    "tool maker's limits, safety data sheets and local rules"
)


@dataclass(frozen=True, slots=True)
class Judged:
    """One check as it came out: what was found, in how many rows, and whether it is within its limits."""

    check: Check
    found: float
    worst: float
    rows: int
    passed: bool


@dataclass(frozen=True, slots=True, repr=False)
class Qualification(Result):
    """A qualification.

    Attributes
    ----------
    title
        What was qualified.
    by, when
        Who signs, and at which time (ISO 8601, UTC).
    checks
        As they came out.
    table, checklist
        Name and SHA-256 of what was read.
    remark
        Of who signs.
    """

    kind: ClassVar[str] = "qualification"

    title: str
    by: str
    when: str
    checks: tuple[Judged, ...]
    table: tuple[str, str]
    checklist: tuple[str, str]
    remark: str = ""
    version: str = __version__

    @property
    def passed(self) -> bool:
        """Whether every check is within its limits."""
        return all(one.passed for one in self.checks)

    def _told(self) -> str:
        missed = sum(not one.passed for one in self.checks)
        word = "passed" if not missed else f"{missed} of {len(self.checks)} checks missed"
        return f"{self.title!r}, {word}, signed by {self.by}"

    @property
    def notes(self) -> tuple[str, ...]:
        """What it says, and what it does not."""
        return (CARE,)

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(SOURCES)

    def rows(self) -> list[dict[str, Figure]]:
        """Return a row a check."""
        return [
            {
                "check": one.check.name,
                "look": one.check.look,
                "column": one.check.column,
                "unit": one.check.unit,
                "low": one.check.low,
                "high": one.check.high,
                "last": one.check.last,
                "found": one.found,
                "worst": one.worst,
                "rows": one.rows,
                "passed": one.passed,
            }
            for one in self.checks
        ]

    def record(self) -> dict[str, object]:
        """Return the content of the record, to be signed."""
        return {
            "format": FORMAT,
            "planish": self.version,
            "title": self.title,
            "passed": self.passed,
            "by": self.by,
            "when": self.when,
            "remark": self.remark,
            "checks": self.rows(),
            "table": {"name": self.table[0], "sha256": self.table[1]},
            "checklist": {"name": self.checklist[0], "sha256": self.checklist[1]},
        }

    def sign(self, path: str | os.PathLike[str], key: bytes | None = None) -> Path:
        """Write the record with its digest and, with a key, its seal; return the path.

        Parameters
        ----------
        path
            Where to, as JSON.
        key
            For the seal.

        Raises
        ------
        DataError
            Where it cannot be written.
        """
        import json

        text = json.dumps(sealed(self.record(), key), indent=1, ensure_ascii=False, allow_nan=False)
        return write_asked(Path(path), text + "\n")

    def _content(self) -> dict[str, Any]:
        return {
            "title": self.title,
            "passed": self.passed,
            "by": self.by,
            "when": self.when,
            "remark": self.remark,
            "digest": sealed(self.record(), None)["digest"],
            "missed": sum(not one.passed for one in self.checks),
            "checks": self.rows(),
            "table": self.table[0],
            "checklist": self.checklist[0],
        }


def hold_qualify(
    data: Data,
    checklist: str | os.PathLike[str] | Checklist,
    by: str,
    *,
    when: str | None = None,
    remark: str = "",
    sheet: str | None = None,
    decimal: str | None = None,
) -> Qualification:
    """Judge measured rows by a checklist.

    Parameters
    ----------
    data
        The file, or columns by name; a row a wafer.
    checklist
        A checklist, or its file.
    by
        Who signs.
    when
        Time of signing as ISO 8601 with its zone; now unless given.
    remark
        Of who signs.
    sheet, decimal
        As for :func:`planish.hold_chart`.

    Returns
    -------
    Qualification
        ``passed`` where every check is within its limits; ``sign`` writes the record.

    Raises
    ------
    DataError
        Naming the place of what cannot be used.
    """
    if not isinstance(by, str) or not 1 <= len(by.strip()) <= LONGEST:
        raise DataError(refuse("by", by, f"the name of who signs, up to {LONGEST} characters"))
    if len(remark) > 10 * LONGEST:
        raise DataError(refuse("remark", f"{len(remark)} characters", f"at most {10 * LONGEST}"))
    asked = checklist if isinstance(checklist, Checklist) else read_checklist(checklist)
    table = table_of(data, list(dict.fromkeys(one.column for one in asked.checks)), sheet, decimal)
    return Qualification(
        title=asked.title,
        by=by.strip(),
        when=_time(when),
        checks=tuple(_judged(one, table) for one in asked.checks),
        table=_digest(data),
        checklist=(asked.name, hashlib.sha256(asked.text.encode()).hexdigest()),
        remark=remark,
    )


def read_qualification(path: str | os.PathLike[str], key: bytes | None = None) -> Qualification:
    """Return a signed qualification, refused where its record was changed.

    Parameters
    ----------
    path
        Of the record.
    key
        It was sealed with; None checks the digest alone.

    Raises
    ------
    DataError
        For a file that is no record or was changed.
    """
    content = read_record(path, key)
    try:
        checks = tuple(
            Judged(
                Check(
                    row["check"],
                    row["column"],
                    row["look"],
                    row["low"],
                    row["high"],
                    row["unit"],
                    row["last"],
                ),
                float(row["found"]),
                float(row["worst"]),
                int(row["rows"]),
                bool(row["passed"]),
            )
            for row in content["checks"]
        )
        return Qualification(
            content["title"],
            content["by"],
            content["when"],
            checks,
            (content["table"]["name"], content["table"]["sha256"]),
            (content["checklist"]["name"], content["checklist"]["sha256"]),
            content["remark"],
            content["planish"],
        )
    except (KeyError, TypeError, ValueError):
        raise DataError(
            f"{path}: lacks part of its content: must be a record that 'planish hold qualify' wrote"
        ) from None


def _time(when: str | None) -> str:
    if when is None:
        return datetime.now(UTC).isoformat(timespec="seconds")
    try:
        read = datetime.fromisoformat(when)
    except (TypeError, ValueError):
        read = None
    if read is None or read.tzinfo is None:
        raise DataError(
            refuse("when", when, "a time as ISO 8601 with its zone", "as 2026-03-01T14:30:00+01:00")
        )
    return read.astimezone(UTC).isoformat(timespec="seconds")


def _digest(data: Data) -> tuple[str, str]:
    """Return name and SHA-256 of a table: of the file, or of columns that were handed over."""
    if isinstance(data, Mapping):
        columns: Mapping[str, Sequence[object]] = data
        text = repr({name: [str(one) for one in column] for name, column in columns.items()})
        return "data", hashlib.sha256(text.encode()).hexdigest()
    return Path(data).name, hashlib.sha256(Path(data).read_bytes()).hexdigest()


def _judged(check: Check, table: Table) -> Judged:
    values = table.numbers(check.column, f"the column of check {check.name!r}")
    values = values[np.isfinite(values)]
    if check.last is not None:
        if check.look != "rows" and values.size < check.last:
            raise DataError(_few(check, table, values.size, check.last))
        values = values[-check.last :]
    least = {"spread": 2, "settled": 3, "rows": 0}.get(check.look, 1)
    if values.size < least:
        raise DataError(_few(check, table, values.size, least))
    found = _found(check, values)
    worst = found
    if check.look == "each":
        low = np.inf if check.low is None else values.min() - check.low
        high = np.inf if check.high is None else check.high - values.max()
        worst = float(values.min() if low < high else values.max())
    size = abs(worst) if check.look == "settled" else worst
    passed = (check.low is None or size >= check.low) and (check.high is None or size <= check.high)
    return Judged(check, found, worst, int(values.size), passed)


def _few(check: Check, table: Table, count: int, least: int) -> str:
    return refuse(
        f"{table.path}: rows with a value for check {check.name!r} (column {check.column!r})",
        count,
        f"{least} or more to tell the {LOOKS[check.look].split(' [')[0]}",
    )


def _found(check: Check, values: Array) -> float:
    if check.look == "rows":
        return float(values.size)
    if check.look == "sum":
        return float(values.sum())
    mean = float(values.mean())
    if check.look in ("mean", "each"):
        return mean
    if mean == 0.0:
        raise DataError(
            f"check {check.name!r}: the mean of its rows is 0: must be another look than {check.look}"
        )
    if check.look == "spread":
        return 100.0 * float(values.std(ddof=1)) / abs(mean)
    at = np.arange(values.size) - 0.5 * (values.size - 1)
    slope = float(at @ values) / float(at @ at)
    return 100.0 * slope * (values.size - 1) / abs(mean)
