"""Moments as people write them, and as a history keeps them: whole microseconds since 1970, UTC."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

from planish.errors import DataError, refuse

START = datetime(1970, 1, 1, tzinfo=UTC)
_STEP = timedelta(microseconds=1)
_MONTH = re.compile(r"(\d{4})-(\d{2})")
ALLOWED = "a day, or a day and a time"
EXAMPLE = "as 2026-03-07 or 2026-03-07 14:05 (UTC), or with its zone as 2026-03-07T14:05+09:00"


def moment(text: str, place: str) -> int:
    """Return a moment [µs since 1970].

    Parameters
    ----------
    text
        By ISO 8601; without a zone it is UTC.
    place
        For the refusal.

    Raises
    ------
    DataError
        For anything else, and for a year that no wafer was polished in.
    """
    try:
        found = datetime.fromisoformat(text.strip())
    except ValueError:
        raise DataError(refuse(place, text[:40], ALLOWED, EXAMPLE)) from None
    return of_datetime(found, place)


def of_datetime(found: datetime, place: str) -> int:
    """Return a moment [µs since 1970].

    Parameters
    ----------
    found
        Without a zone it is UTC.
    place
        For the refusal.

    Raises
    ------
    DataError
        For a year that no wafer was polished in.
    """
    if found.tzinfo is None:
        found = found.replace(tzinfo=UTC)
    if not 1980 <= found.year <= 2200:
        raise DataError(refuse(place, found.isoformat()[:40], "in a year from 1980 to 2200", EXAMPLE))
    return (found - START) // _STEP


def end_of(text: str, place: str) -> int:
    """Return the moment at which a stretch ends [µs since 1970]: a day that is named counts whole.

    Parameters
    ----------
    text, place
        As of :func:`moment`.
    """
    day = re.fullmatch(r"\d{4}-?\d{2}-?\d{2}", text.strip())
    return moment(text, place) + (86_400_000_000 if day else 0)


def month_of(text: str, place: str) -> tuple[int, int]:
    """Return begin and end of a month [µs since 1970], the end not in it.

    Parameters
    ----------
    text
        As ``2026-03``.
    place
        For the refusal.

    Raises
    ------
    DataError
        For anything else.
    """
    found = _MONTH.fullmatch(text.strip())
    if found is None or not 1 <= int(found[2]) <= 12:
        raise DataError(refuse(place, text[:40], "a month", "as 2026-03"))
    year, month = int(found[1]), int(found[2])
    begin = of_datetime(datetime(year, month, 1, tzinfo=UTC), place)
    return begin, _us(datetime(year + month // 12, month % 12 + 1, 1, tzinfo=UTC))


def months_over(moments: list[int]) -> list[tuple[str, int, int]]:
    """Return name, begin and end of each month in which there is a moment.

    Parameters
    ----------
    moments
        [µs since 1970].
    """
    names = sorted({(START + each * _STEP).strftime("%Y-%m") for each in moments})
    return [(name.replace("-", "_"), *month_of(name, "month")) for name in names]


def told(at: int) -> str:
    """Return a moment as text by ISO 8601 in UTC.

    Parameters
    ----------
    at
        [µs since 1970].
    """
    return (START + at * _STEP).isoformat().replace("+00:00", "Z")


def now() -> int:
    """Return this moment [µs since 1970]."""
    return _us(datetime.now(UTC))


def _us(found: datetime) -> int:
    return (found - START) // _STEP
