"""Which wafers of a history are meant: by tool, head, platen, recipe, name, lot and time, and no more than the last of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypedDict, Unpack

from sqlalchemy import ColumnElement

from planish.errors import DataError, refuse
from planish.hold.history.moments import end_of, moment, month_of
from planish.hold.history.tables import EVENTS, WAFERS

#: Wafers that one question may bring: their maps are not among them.
MOST = 500_000
NAMES = ("tool", "head", "platen", "recipe", "wafer", "lot")


class WhichWafers(TypedDict, total=False):
    """Which wafers are meant, as keywords: the attributes of :class:`Chosen`."""

    tool: str | None
    head: str | None
    platen: str | None
    recipe: str | None
    wafer: str | None
    lot: str | None
    since: str | None
    until: str | None
    month: str | None
    last: int | None


@dataclass(frozen=True, slots=True)
class Chosen:
    """Which wafers are meant; what is not said is not asked.

    Attributes
    ----------
    tool, head, platen, recipe, wafer, lot
        As written in the files.
    since, until
        Days or moments; a day that is named counts whole.
    month
        As ``2026-03``, in place of both.
    last
        The newest so many of them.
    """

    tool: str | None = None
    head: str | None = None
    platen: str | None = None
    recipe: str | None = None
    wafer: str | None = None
    lot: str | None = None
    since: str | None = None
    until: str | None = None
    month: str | None = None
    last: int | None = None

    def span(self) -> tuple[int | None, int | None]:
        """Return begin and end of the time asked for [µs since 1970], the end not in it.

        Raises
        ------
        DataError
            For what is no time, a month beside other ends, and an end before the begin.
        """
        if self.last is not None and (isinstance(self.last, bool) or not 1 <= self.last <= MOST):
            raise DataError(refuse("--last", self.last, f"a whole number from 1 to {MOST}"))
        if self.month is not None:
            if self.since is not None or self.until is not None:
                raise DataError(refuse("--month", self.month, "left out where --since or --until is given"))
            return month_of(self.month, "--month")
        begin = None if self.since is None else moment(self.since, "--since")
        end = None if self.until is None else end_of(self.until, "--until")
        if begin is not None and end is not None and end <= begin:
            raise DataError(refuse("--until", self.until, f"after --since {self.since}"))
        return begin, end

    def of_wafers(self) -> list[ColumnElement[bool]]:
        """Return what must hold of a row of the table of wafers."""
        begin, end = self.span()
        found = [WAFERS.c[name] == value for name in NAMES if (value := getattr(self, name)) is not None]
        found += [] if begin is None else [WAFERS.c.polished >= begin]
        return found + ([] if end is None else [WAFERS.c.polished < end])

    def of_events(self) -> list[ColumnElement[bool]]:
        """Return what must hold of an event: of a place that is not said it happened to all."""
        said = {
            name: value for name in ("tool", "head", "platen") if (value := getattr(self, name)) is not None
        }
        return [EVENTS.c[name].in_([value, ""]) for name, value in said.items()]

    def told(self) -> str:
        """Return it in words."""
        said = [
            f"{name} {value}"
            for name in (*NAMES, "month", "since", "until")
            if (value := getattr(self, name)) is not None
        ]
        said += [] if self.last is None else [f"the last {self.last}"]
        return ", ".join(said) or "all"


def chosen(**filters: Unpack[WhichWafers]) -> Chosen:
    """Return which wafers are meant, its words checked.

    Parameters
    ----------
    **filters
        As the attributes of :class:`Chosen`.

    Raises
    ------
    DataError
        For a filter that there is not, and one that is no text.
    """
    known = Chosen.__dataclass_fields__
    for name, value in filters.items():
        if name not in known:
            raise DataError(refuse("filter", name, f"one of {', '.join(known)}"))
        if value is not None and name != "last" and (not isinstance(value, str) or not value.strip()):
            raise DataError(refuse(f"--{name}", value, "text"))
    found = Chosen(**filters)
    found.span()
    return found
