"""The history of a step: every wafer's record, kept for good, to be charted and fitted to.

Wafers come from tables, with whatever is known of each: where and when it was polished, its settings, the age of pad, disk
and ring, its maps before and after. Events and decisions are noted beside. Rows are only ever added, and each addition says
who made it and why. The same file twice changes nothing.
"""

from __future__ import annotations

import getpass
import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Unpack

from sqlalchemy import insert, select

from planish.engine.record import Record
from planish.errors import DataError, refuse
from planish.hold.charts.chart import hold_chart
from planish.hold.history import ask
from planish.hold.history.chosen import WhichWafers, chosen
from planish.hold.history.figures import FIGURES, factor_of, figure_named
from planish.hold.history.files import Records, records_of
from planish.hold.history.for_charts import ChartOptions, columns_of
from planish.hold.history.for_fits import run_table
from planish.hold.history.moments import moment, now, of_datetime, told
from planish.hold.history.place import place_of
from planish.hold.history.records import check_words, event_row
from planish.hold.history.store import Store
from planish.hold.history.tables import DECISIONS, ENTRIES
from planish.hold.history.view import HistoryView
from planish.hold.history.write import make_months, next_entry, put_events, put_wafers
from planish.measure.runs.record import RunColumns, RunTable
from planish.measure.sites.column_map import ColumnMap, column_map
from planish.results.plain import Figure

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from planish.fit.calibrate.observed import Observed
    from planish.hold.charts.result import ControlChart
    from planish.setup.given import SetupLike

WORDS = ("wafer", "lot", "tool", "head", "platen", "recipe", "pad", "disk", "ring")
DECISIONS_THERE_ARE = ("proposed", "approved", "declined")
USUAL_VALUE = "rate_nm_per_min"


@dataclass(frozen=True, slots=True, repr=False)
class Added(Record):
    """What one file brought.

    Attributes
    ----------
    source
        The file.
    what
        "wafers" or "events".
    added
        How many are new.
    present
        How many were there already, and are the same.
    understood
        What its columns were taken for.
    """

    source: str
    what: str
    added: int
    present: int
    understood: str

    def _told(self) -> str:
        return f"{self.source}: {self.added} {self.what} added, {self.present} there already"

    def document(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {
            "source": self.source,
            "what": self.what,
            "added": self.added,
            "present": self.present,
            "understood": self.understood,
        }


class History:
    """The history of a step; :func:`open_history` gives it.

    Nothing is opened until it is asked. It may be used as a context manager, which lets go of the database at the end.
    """

    def __init__(self, store: Store) -> None:
        self._store = store

    def __enter__(self) -> History:
        """Return itself."""
        return self

    def __exit__(self, *about: object) -> None:
        """Let go of the database."""
        self.close()

    def __repr__(self) -> str:
        return f"<History: {self.place}>"

    @property
    def place(self) -> str:
        """Where it is kept, without a password."""
        return self._store.name

    def close(self) -> None:
        """Let go of the database; asked again, it is opened again."""
        self._store.close()

    def add(
        self,
        *files: str | os.PathLike[str],
        columns: ColumnMap | Mapping[str, str | Mapping[str, str]] | str | os.PathLike[str] | None = None,
        told: RunColumns | None = None,
        who: str | None = None,
        why: str = "",
    ) -> list[Added]:
        """Add the wafers or events of files; each file is added whole, or nothing of it.

        Parameters
        ----------
        *files
            Tables of runs as :func:`planish.observe` takes them, each row with the name of a wafer and when it was polished;
            tables of events, with columns ``event`` and ``when``.
        columns
            What site files do not say of themselves.
        told
            What the tables do not say of themselves.
        who, why
            For the record: the user of this machine unless given; why may be left out.

        Returns
        -------
        list[Added]
            How many of each are new.

        Raises
        ------
        DataError
            Naming file, line and column of what cannot be used, and a wafer that is there with other figures.
        """
        if not files:
            raise DataError("history: no file given: must be one or more tables of runs or of events")
        who, why = _who(who), check_words(why, "why")
        map_of_sites = column_map(columns)
        return [self._add(records_of(file, map_of_sites, told), who, why) for file in files]

    def _add(self, found: Records, who: str, why: str) -> Added:
        what = "wafers" if found.wafers or not found.events else "events"
        rows = len(found.wafers) + len(found.events)
        with self._store.connected() as connection:
            make_months(connection, [one.row["polished"] for one in found.wafers])
            with connection.begin() as transaction:
                entry = next_entry(connection)
                new = (
                    put_wafers(connection, found.wafers, entry)
                    if what == "wafers"
                    else put_events(connection, found.events, entry, found.places)
                )
                if new:
                    _enter(connection, entry, f"add {what}", who, why, new, rows - new, found)
                else:
                    transaction.rollback()
        return Added(found.path, what, new, rows - new, found.understood)

    def note(
        self,
        event: str,
        at: str | datetime | None = None,
        *,
        tool: str = "",
        head: str = "",
        platen: str = "",
        part: str = "",
        note: str = "",
        who: str | None = None,
        why: str = "",
    ) -> bool:
        """Note what happened: a pad, disk or ring changed, a tool that stood still, and whatever else may show in a chart.

        Parameters
        ----------
        event
            What, as "pad change" or "idle".
        at
            When; now unless given. Text by ISO 8601, UTC without a zone.
        tool, head, platen
            Where; to all where it is not said.
        part
            That came in.
        note
            Whatever else.
        who, why
            As of :meth:`add`.

        Returns
        -------
        bool
            Whether it is new.

        Raises
        ------
        DataError
            For no event, no moment, and one that is there with other words.
        """
        words = {"tool": tool, "head": head, "platen": platen, "part": part, "note": note}
        row = event_row(event, _at(at), words, "note")
        who, why = _who(who), check_words(why, "why")
        with self._store.connected() as connection, connection.begin() as transaction:
            entry = next_entry(connection)
            new = bool(put_events(connection, [row], entry, ["note"]))
            if new:
                _enter(connection, entry, "note event", who, why, 1, 0)
            else:
                transaction.rollback()
        return new

    def decide(
        self,
        what: str,
        changes: Mapping[str, str] | None = None,
        *,
        why: str,
        who: str | None = None,
        answers: int | None = None,
        tool: str = "",
        recipe: str = "",
        at: str | datetime | None = None,
    ) -> int:
        """Record a decision about settings. It is a record only: nothing is sent to a machine.

        Parameters
        ----------
        what
            "proposed", or "approved" or "declined" of a proposal.
        changes
            What was proposed: paths of keys to text, as ``{"recipe.step.main.time": "62 s"}``; an answer has those of its
            proposal.
        why
            In words.
        who
            The user of this machine unless given.
        answers
            Number of the proposal that is approved or declined.
        tool, recipe
            That it is for.
        at
            When; now unless given.

        Returns
        -------
        int
            Number of the decision.

        Raises
        ------
        DataError
            For another word, no reason, no changes, an answer to nothing, and a proposal that is answered already.
        """
        if what not in DECISIONS_THERE_ARE:
            raise DataError(refuse("decision", what, f"one of {', '.join(DECISIONS_THERE_ARE)}"))
        if not check_words(why, "why"):
            raise DataError(refuse("why", why, "the reason, in words"))
        if (answers is None) != (what == "proposed"):
            allowed = (
                "left out of a proposal"
                if what == "proposed"
                else "the number of the proposal that is answered"
            )
            raise DataError(refuse("answers", answers, allowed))
        if (not changes) != (answers is not None):
            allowed = (
                "one path and its text, or more"
                if answers is None
                else "left out: they are those of the proposal"
            )
            raise DataError(refuse("changes", dict(changes or {}), allowed, "as recipe.step.main.time=62 s"))
        who = _who(who)
        with self._store.writing() as connection:
            row = {
                "at": _at(at),
                "what": what,
                "who": who,
                "why": why.strip(),
                "tool": tool,
                "recipe": recipe,
            }
            text = json.dumps({str(path): str(value) for path, value in (changes or {}).items()})
            if answers is not None:
                text, row["tool"], row["recipe"] = _proposal(connection, answers)
            entry = next_entry(connection)
            _enter(connection, entry, f"decision {what}", who, why, 1, 0)
            row |= {"entry": entry, "changes": text, "answers": answers}
            number = connection.execute(
                insert(DECISIONS).values(**row).returning(DECISIONS.c.id)
            ).scalar_one()
        return int(number)

    def wafers(self, value: str = USUAL_VALUE, **filters: Unpack[WhichWafers]) -> HistoryView:
        """Return wafers with their figures, and what happened meanwhile.

        Parameters
        ----------
        value
            The figure that its picture shows, as "rate_nm_per_min" or "wiwnu_sigma_percent".
        **filters
            tool, head, platen, recipe, wafer, lot, since, until, month, last: as of
            :class:`~planish.hold.history.chosen.Chosen`.

        Returns
        -------
        HistoryView
            A row a wafer, in the order of time.

        Raises
        ------
        DataError
            For filters that cannot be, more wafers than are brought at once, and where there is no history.
        """
        which = chosen(**filters)
        names = ["polished", *WORDS, *FIGURES.values(), "kept", "settings"]
        with self._store.reading() as connection:
            rows = ask.wafer_rows(connection, which, names)
            span = (rows[0].polished, rows[-1].polished) if rows else (0, 0)
            happened = ask.events(connection, which, *span) if rows else []
            settings = ask.settings(
                connection, {bytes(row.settings) for row in rows if row.settings is not None}
            )
        made = []
        for row in rows:
            found: dict[str, Any] = {
                "polished": told(row.polished),
                **{name: row._mapping[name] for name in WORDS},
            }
            for name, column in FIGURES.items():
                figure = row._mapping[column]
                found[name] = figure * factor_of(name) if isinstance(figure, float) else figure
            found |= json.loads(row.kept) if row.kept else {}
            found |= settings[bytes(row.settings)] if row.settings is not None else {}
            made.append(found)
        kept = {name for row in rows if row.kept for name in json.loads(row.kept)}
        events = tuple({**each, "at": told(each["at"])} for each in happened)
        notes = () if made else (f"no wafer is meant by: {which.told()}",)
        return HistoryView(
            self.place, which.told(), figure_named(value, kept, "value"), tuple(made), events, notes
        )

    def chart(
        self,
        value: str | Sequence[str],
        chart: str = "individuals",
        *,
        phase: str | None = None,
        filters: WhichWafers | None = None,
        **options: Unpack[ChartOptions],
    ) -> ControlChart:
        """Chart wafers in the order of time: the same chart as :func:`planish.hold_chart`, each alarm with its wafer.

        Parameters
        ----------
        value
            The figure, as "rate_nm_per_min"; several for "t2".
        chart
            As of :func:`planish.hold_chart`.
        phase
            Where limits are taken anew: at a change of "pad", "disk", "ring", "tool", "head", "platen" or "recipe", or at each
            event of a kind, as "pad change".
        filters
            As of :meth:`wafers`.
        **options
            As of :func:`planish.hold_chart`; ``age="pad_wafers"`` goes with ``model``.

        Returns
        -------
        ControlChart
            Its rows are the wafers that are meant, counted from 1.

        Raises
        ------
        DataError
            As :func:`planish.hold_chart` and :meth:`wafers`.
        """
        which = chosen(**(filters or WhichWafers()))
        wanted = [value] if isinstance(value, str) else list(value)
        with self._store.reading() as connection:
            data, names, called = columns_of(connection, which, wanted, phase)
        found = hold_chart(
            data,
            names[0] if isinstance(value, str) else names,
            chart,
            phase=None if phase is None else "phase",
            source=f"{self.place} ({which.told()})",
            **options,
        )
        return replace(found, alarms=tuple(replace(alarm, name=called(alarm.row)) for alarm in found.alarms))

    def runs(self, **filters: Unpack[WhichWafers]) -> RunTable:
        """Return wafers as a table of runs, with their maps: what fits are made from.

        Parameters
        ----------
        **filters
            As of :meth:`wafers`.

        Raises
        ------
        DataError
            As :meth:`wafers`; where no wafer is meant, or more than a fit takes.
        """
        which = chosen(**filters)
        with self._store.reading() as connection:
            return run_table(connection, which, self.place)

    def observed(self, setup: SetupLike, **filters: Unpack[WhichWafers]) -> list[Observed]:
        """Return wafers as sets of measured numbers, as :func:`planish.observe` does of files, for :func:`planish.calibrate`.

        Parameters
        ----------
        setup
            They were polished with, but for the settings of each.
        **filters
            As of :meth:`wafers`.

        Raises
        ------
        PlanishError
            As :meth:`runs` and :func:`planish.observe`.
        """
        from planish.fit.calibrate.runs import observed_table
        from planish.setup.given import as_setup

        return observed_table(as_setup(setup), self.runs(**filters))

    def decisions(self, last: int = 100) -> list[dict[str, object]]:
        """Return the newest decisions in the order of time: number, when, what, who, why, changes.

        Parameters
        ----------
        last
            How many.
        """
        with self._store.reading() as connection:
            found = ask.decisions(connection, last)
        return [{**row, "at": told(row["at"])} for row in found]

    def audit(self, last: int = 100) -> list[dict[str, Figure]]:
        """Return the newest additions in the order of time: when, what, who, why, from which file, how many rows.

        Parameters
        ----------
        last
            How many.
        """
        with self._store.reading() as connection:
            found = ask.entries(connection, last)
        return [
            {**row, "at": told(row["at"]), "source_digest": bytes(row["source_digest"] or b"").hex()}
            for row in found
        ]

    def __len__(self) -> int:
        """Wafers that it holds."""
        with self._store.reading() as connection:
            return ask.count_wafers(connection)

    def __bool__(self) -> bool:
        """Always true: an empty history is one too."""
        return True


def open_history(url: str | os.PathLike[str] | None = None) -> History:
    """Open the history of a step.

    Parameters
    ----------
    url
        A file, or ``postgresql+pg8000://USER@HOST/NAME``; unless given the user's own, in $PLANISH_HISTORY or the user's data
        folder. A file is made at the first addition, readable by this user alone.

    Returns
    -------
    History
        Not asked yet.

    Raises
    ------
    DataError
        For what names no place.

    Examples
    --------
    >>> import planish
    >>> history = planish.open_history("history.sqlite")    # doctest: +SKIP
    >>> history.add("runs.csv")                             # doctest: +SKIP
    >>> history.chart("rate_nm_per_min", filters={"tool": "A"}).plot()   # doctest: +SKIP
    """
    return History(Store(place_of(url if url is None or isinstance(url, str) else Path(url))))


def _enter(
    connection: Connection,
    entry: int,
    what: str,
    who: str,
    why: str,
    added: int,
    present: int,
    found: Records | None = None,
) -> None:
    row: dict[str, Any] = {"id": entry, "at": now(), "what": what, "who": who, "why": why}
    row |= {"source": found.path if found else "", "source_digest": found.digest if found else None}
    connection.execute(insert(ENTRIES).values(**row, added=added, present=present))


def _proposal(connection: Connection, number: int) -> tuple[str, str, str]:
    table = DECISIONS.c
    asked = select(table.what, table.changes, table.tool, table.recipe).where(table.id == number)
    found = connection.execute(asked).one_or_none()
    if found is None or found.what != "proposed":
        raise DataError(
            refuse("answers", number, "the number of a proposal", "planish log decisions lists them")
        )
    if connection.execute(select(table.what).where(table.answers == number)).one_or_none() is not None:
        raise DataError(
            f"answers = {number}: is answered already: must be a proposal that is open (make a new one)"
        )
    return found.changes, found.tool, found.recipe


def _at(at: str | datetime | None) -> int:
    if at is None:
        return now()
    return of_datetime(at, "at") if isinstance(at, datetime) else moment(str(at), "at")


def _who(who: str | None) -> str:
    if who is None:
        try:
            who = getpass.getuser()
        except (OSError, KeyError):
            who = ""
    if not check_words(who, "who"):
        raise DataError(refuse("who", who, "the name of who adds it"))
    return who.strip()
