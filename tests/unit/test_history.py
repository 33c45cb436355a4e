"""The history of a step, on SQLite and on a real PostgreSQL server alike: nothing lost, nothing doubled, nothing changed."""

from __future__ import annotations

import csv
import json
import os
import shutil
import stat
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from history_data import TOOLS, write_table
from history_kills import killed_again_and_again
from sqlalchemy import text
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import DataError
from planish.hold.history.form import bring_up, newest
from planish.hold.history.history import USUAL_VALUE
from planish.hold.history.place import connect, place_of
from planish.hold.history.tables import METADATA
from planish.jobs.calibrating import told_runs
from planish.measure.sites.by_wafer import sites_by_wafer
from planish.measure.sites.read import read_sites

EXAMPLES = Path(__file__).parents[2] / "examples"
SITES = 9


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request, tmp_path):
    """Where a history may be: a file, and a database of a server."""
    if request.param == "sqlite":
        return str(tmp_path / "history.sqlite")
    return request.getfixturevalue("postgres").new_database()


@pytest.fixture
def history(place):
    with planish.open_history(place) as opened:
        yield opened


@pytest.fixture(scope="module")
def tables(tmp_path_factory):
    """Three tables of 40 wafers each, over three months, as text."""
    folder = tmp_path_factory.mktemp("tables")
    every = timedelta(hours=18)
    return [write_table(folder, at, 40, every=every, sites=SITES, ending="csv") for at in (0, 40, 80)]


def runs_with_moments(folder: Path) -> Path:
    """Write the runs of the examples with the moment of each."""
    for file in (EXAMPLES / "data" / "runs").glob("W*.csv"):
        shutil.copy(file, folder)
    rows = list(csv.reader((EXAMPLES / "data" / "runs" / "runs.csv").open()))
    names = next(at for at, row in enumerate(rows) if row[0] == "wafer")
    rows[names].append("polished at")
    for at, row in enumerate(rows[names + 1 :]):
        row.append(f"2026-03-{at + 1:02d} 08:00")
    with (folder / "runs.csv").open("w", newline="") as out:
        csv.writer(out).writerows(rows)
    return folder / "runs.csv"


def test_the_same_file_twice_changes_nothing(history, tables):
    (first,) = history.add(tables[0], who="ann", why="first look")
    (again,) = history.add(tables[0], who="bob")
    assert (first.added, first.present) == (40, 0)
    assert (again.added, again.present) == (0, 40)
    assert len(history) == 40
    (entry,) = history.audit()
    assert (entry["who"], entry["why"], entry["added"], entry["source"]) == (
        "ann",
        "first look",
        40,
        str(tables[0]),
    )
    assert len(entry["source_digest"]) == 64


def test_a_part_that_is_there_is_left_and_the_rest_is_added(history, tables, tmp_path):
    lines = tables[0].read_text().splitlines()
    for file in tables[0].parent.glob("00000000-p*"):
        shutil.copy(file, tmp_path)
    (tmp_path / "half.csv").write_text("\n".join(lines[:21]) + "\n")
    history.add(tmp_path / "half.csv")
    (rest,) = history.add(tables[0])
    assert (rest.added, rest.present) == (20, 20)
    assert len({row["wafer"] for row in history.wafers().rows}) == len(history) == 40


def test_maps_come_back_to_the_last_bit_and_fits_are_those_of_the_files(history, tmp_path):
    table = runs_with_moments(tmp_path)
    setup = planish.load(EXAMPLES / "rotary.toml")
    history.add(table)
    files, kept = planish.observe(setup, table), history.observed(setup)
    assert [one.kind for one in kept] == [one.kind for one in files]
    assert {one.kind for one in kept} == {"sites", "lot", "cut"}
    for one, other in zip(files, kept, strict=True):
        np.testing.assert_array_equal(one.values, other.values)
        np.testing.assert_array_equal(one.sd, other.sd)
        assert one.changes == other.changes
    run = history.runs(wafer="W02").runs[0]
    there = planish.read_sites(tmp_path / "W02-pre.csv")
    np.testing.assert_array_equal(run.measured.removal.x, there.x)
    assert run.measured.removal.site == there.site
    assert run.measured.removal.wafer_radius == there.wafer_radius


def test_figures_are_those_of_measure(history, tmp_path):
    history.add(runs_with_moments(tmp_path))
    row = history.wafers(wafer="W01").rows[0]
    measured = planish.measure_wafer(tmp_path / "W01-pre.csv", tmp_path / "W01-post.csv", "95 s").summary()
    assert row["rate_nm_per_min"] == pytest.approx(measured["mean_removal_rate_nm_per_min"], rel=1e-12)
    assert row["mean_removed_nm"] == pytest.approx(measured["mean_removed_nm"], rel=1e-12)
    assert row["wiwnu_sigma_percent"] == pytest.approx(measured["wiwnu_sigma_percent"], rel=1e-12)
    assert row["maximum_nm"] == pytest.approx(measured["maximum_nm"], rel=1e-12)
    assert row["recipe.step.main.platen_speed"] == "60 rpm"


def test_filters(history, tables):
    history.add(*tables)
    rows = history.wafers().rows
    assert [row["polished"] for row in rows] == sorted(row["polished"] for row in rows)
    assert len(rows) == 120
    assert len(history.wafers(tool="B")) == 30
    assert len(history.wafers(tool="B", head="2")) == 10
    assert {row["tool"] for row in history.wafers(tool="B").rows} == {"B"}
    february = history.wafers(month="2026-02").rows
    assert {row["polished"][:7] for row in february} == {"2026-02"}
    assert february == history.wafers(since="2026-02-01", until="2026-02-28").rows
    assert history.wafers(since="2026-02-01T09:00+09:00", until="2026-02-28").rows == february
    assert history.wafers(last=7).rows == rows[-7:]
    assert history.wafers(tool="A", last=2).rows == tuple(row for row in rows if row["tool"] == "A")[-2:]
    assert history.wafers(lot="L000001").column("wafer") == [f"W{each:07d}" for each in range(25, 50)]
    nothing = history.wafers(tool="Z")
    assert len(nothing) == 0
    assert nothing.notes == ("no wafer is meant by: tool Z",)


def test_a_chart_is_that_of_hold(history, tables):
    history.add(*tables)
    view = history.wafers(tool="A")
    for chart in ("individuals", "ewma", "cusum"):
        kept = history.chart("rate", chart, filters={"tool": "A"})
        given = planish.hold_chart({"r": view.column("rate_nm_per_min")}, "r", chart)
        assert (kept.centre, kept.lower, kept.upper) == (given.centre, given.lower, given.upper)
        assert [alarm.row for alarm in kept.alarms] == [alarm.row for alarm in given.alarms]
        for alarm in kept.alarms:
            row = view.rows[alarm.row - 1]
            assert alarm.name == f"{row['wafer']}, {row['polished']}"
    both = ["rate_nm_per_min", "wiwnu_sigma_percent"]
    kept = history.chart(both, "t2", filters={"tool": "A"})
    assert kept.upper == planish.hold_chart({name: view.column(name) for name in both}, both, "t2").upper


def test_limits_begin_anew_at_events_of_the_tools_own(history, tables):
    history.add(*tables)
    assert history.note("Pad  change", "2026-02-01", tool="A", part="P7", why="worn")
    assert not history.note("pad change", "2026-02-01", tool="A", part="P7")
    history.note("pad change", "2026-03-01", tool="B")
    history.note("idle", "2026-02-14")
    chart = history.chart("rate", phase="pad change", filters={"tool": "A"})
    assert [phase.name for phase in chart.phases] == [
        "phase before the first",
        "phase pad change of 2026-02-01T00:00:00Z (P7)",
    ]
    before = [row for row in history.wafers(tool="A").rows if row["polished"] < "2026-02-01"]
    assert chart.phases[0].points == len(before)
    assert len(history.chart("rate", phase="idle", filters={"tool": "A"}).phases) == 2
    assert [event["kind"] for event in history.wafers(tool="A").events] == ["pad change", "idle"]


def test_a_table_of_events(history, tmp_path):
    file = tmp_path / "events.csv"
    file.write_text(
        "event,when,tool,pad id,note\npad change,2026-03-01 08:00,A,P2,\nidle,2026-03-02,A,,long weekend\n"
    )
    assert history.add(file)[0].added == 2
    assert history.add(file)[0].present == 2
    assert history.audit()[0]["what"] == "add events"
    file.write_text("event,when,tool,pad id\npad change,2026-03-01 08:00,A,P3\n")
    with pytest.raises(DataError, match="is there with other words"):
        history.add(file)


def test_a_wafer_with_other_figures_is_refused_and_nothing_of_its_file_stays(history, tables, tmp_path):
    history.add(tables[0])
    write_table(tmp_path, 0, 60, every=timedelta(hours=18), sites=SITES, ending="csv", shift=1.0)
    with pytest.raises(
        DataError, match=r"has other figures than those added on .* must be the same"
    ) as refused:
        history.add(tmp_path / "00000000-runs.csv")
    assert "wafer 'W0000000'" in str(refused.value)
    assert len(history) == 40
    assert len(history.audit()) == 1


def test_figures_that_are_kept_beside(history, tables, tmp_path):
    for file in tables[0].parent.glob("00000000-p*"):
        shutil.copy(file, tmp_path)
    names, *lines = tables[0].read_text().splitlines()
    more = [f"{line},{at % 7}" for at, line in enumerate(lines)]
    (tmp_path / "t.csv").write_text("\n".join([names + ",defects", *more]) + "\n")
    history.add(tmp_path / "t.csv", told=told_runs(keep=["defects"]))
    assert history.wafers("defects").column("defects")[:3] == [0.0, 1.0, 2.0]
    assert history.chart("defects").centre == pytest.approx(np.mean([at % 7 for at in range(40)]))


def test_decisions(history):
    number = history.decide(
        "proposed", {"recipe.step.main.time": "62 s"}, why="the rate sank", who="ann", tool="A"
    )
    other = history.decide("proposed", {"recipe.step.main.time": "70 s"}, why="in a hurry", who="ann")
    history.decide("approved", answers=number, why="within limits", who="bob")
    history.decide("declined", answers=other, why="too long", who="bob")
    with pytest.raises(DataError, match="is answered already"):
        history.decide("declined", answers=number, why="again", who="bob")
    rows = history.decisions()
    assert [(row["what"], row["who"], row["answers"]) for row in rows] == [
        ("proposed", "ann", None),
        ("proposed", "ann", None),
        ("approved", "bob", number),
        ("declined", "bob", other),
    ]
    assert rows[2]["changes"] == {"recipe.step.main.time": "62 s"}
    assert rows[2]["tool"] == "A"
    assert [row["what"] for row in history.audit()] == [f"decision {row['what']}" for row in rows]


@pytest.mark.parametrize("table", ["entries", "wafers", "maps", "plans", "events", "decisions"])
def test_no_row_is_changed_or_taken_out(place, history, tables, table):
    history.add(tables[0])
    history.note("idle", "2026-02-14")
    history.decide("proposed", {"recipe.step.main.time": "62 s"}, why="a trial")
    engine = connect(place_of(place))
    column = next(iter(METADATA.tables[table].c)).name
    for line in (f"DELETE FROM {table}", f"UPDATE {table} SET {column} = {column}"):
        with engine.connect() as connection, pytest.raises(Exception, match="a history only grows"):
            connection.execute(text(line))
    engine.dispose()


def test_the_forms_end_in_the_tables_that_are_used(place):
    engine = connect(place_of(place))
    with engine.connect() as connection:
        bring_up(connection)
        changes = compare_metadata(MigrationContext.configure(connection), METADATA)
    engine.dispose()
    assert changes == []


def test_a_history_of_an_older_form_is_brought_up_with_its_rows(place, history, tables):
    engine = connect(place_of(place))
    if not place.startswith("postgresql"):
        Path(place).touch()
    with engine.connect() as connection, connection.begin():
        bring_up(connection, "1")
        connection.execute(
            text(
                "INSERT INTO events (key, digest, entry, at, kind) VALUES (:key, :key, 1, 1767225600000000, 'idle')"
            ),
            {"key": b"0" * 16},
        )
        connection.execute(text("INSERT INTO entries (at, added, present) VALUES (0, 1, 0)"))
    engine.dispose()
    history.decide("proposed", {"recipe.step.main.time": "62 s"}, why="a trial")
    assert newest() == "2"
    assert history.audit()[0]["added"] == 1


def test_a_newer_history_is_refused(place, history, tables):
    history.add(tables[0])
    history.close()
    engine = connect(place_of(place))
    with engine.connect() as connection, connection.begin():
        connection.execute(text("UPDATE alembic_version SET version_num = '99'"))
    engine.dispose()
    for ask in (lambda: len(history), lambda: history.add(tables[1])):
        with pytest.raises(
            DataError, match=r"have form '99': must be at most form '2', .*\(update planish\)"
        ):
            ask()


def test_eight_write_at_once(place, tables, tmp_path):
    """Each adds the same tables and some of its own: every wafer is there once, every addition is whole."""
    own = [
        write_table(tmp_path, 1000 + 10 * at, 10, every=timedelta(hours=3), sites=SITES, ending="csv")
        for at in range(8)
    ]
    code = (
        "import sys, planish\n"
        "history = planish.open_history(sys.argv[1])\n"
        "print(sum(one.added for one in history.add(*sys.argv[2:])))\n"
    )
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", code, place, *map(str, (*tables, one))], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            text=True,
        )
        for one in own
    ]  # fmt: skip
    said = [writer.communicate(timeout=300) for writer in writers]
    assert [error for _, error in said] == [""] * 8
    with planish.open_history(place) as history:
        assert sum(int(out) for out, _ in said) == len(history) == 120 + 80
        names = history.wafers().column("wafer")
        assert len(set(names)) == 200
        assert sum(entry["added"] for entry in history.audit()) == 200
        assert len(history.runs().runs) == 200


def test_a_killed_import_loses_and_doubles_nothing(place, tmp_path):
    files = {write_table(tmp_path, at, 100, sites=SITES): 100 for at in range(0, 1000, 100)}
    found = killed_again_and_again(place, files, 3, seed=5)
    assert found.pop("in_the_middle") >= 1
    assert set(found.values()) == {0}


def test_postgresql_keeps_a_month_apart(postgres, tables):
    url = postgres.new_database()
    with planish.open_history(url) as history:
        history.add(*tables)
    rows = postgres.sql(
        "SELECT inhrelid::regclass::text FROM pg_inherits WHERE inhparent = 'wafers'::regclass ORDER BY 1",
        url.rsplit("/")[-1],
    )
    assert [row[0] for row in rows] == [
        "wafers_2026_01",
        "wafers_2026_02",
        "wafers_2026_03",
    ]


def test_a_file_is_this_users_alone(tmp_path, tables, monkeypatch):
    monkeypatch.setenv("PLANISH_HISTORY", str(tmp_path / "mine"))
    os.umask(0o022)
    with planish.open_history() as history:
        history.add(tables[0])
        names = {file.name for file in (tmp_path / "mine").iterdir()}
        assert names >= {"history.sqlite", "history.sqlite-wal"}
        assert {stat.S_IMODE(file.stat().st_mode) for file in (tmp_path / "mine").iterdir()} == {0o600}
    assert stat.S_IMODE((tmp_path / "mine").stat().st_mode) == 0o700
    assert history.place == str(tmp_path / "mine" / "history.sqlite")


def test_a_clean_table_of_many_wafers_is_read_as_the_careful_reader_does(tmp_path):
    for ending in ("csv", "parquet"):
        write_table(tmp_path, 7, 5, ending=ending)
        file = tmp_path / f"00000007-pre.{ending}"
        found = sites_by_wafer(file)
        assert list(found) == [f"W{each:07d}" for each in range(7, 12)]
        for name, sites in found.items():
            careful = read_sites(file, wafer=name)
            for field in ("x", "y", "value"):
                np.testing.assert_array_equal(getattr(sites, field), getattr(careful, field))
            for field in (
                "site",
                "quantity",
                "unit",
                "source",
                "named_sites",
                "polish_time",
                "wafer_radius",
                "notes",
            ):
                assert getattr(sites, field) == getattr(careful, field)


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ("W1,a,1,1,thin\n", "must be a number"),
        ("W1,a,1,1,-3\n", "must be 0 or more"),
        ("W1,a,900,1,3\n", "must be on the wafer"),
        ("W1,c,1,1,3\nW1,c,2,1,3\n", "was given before"),
        ("W1,c,1,1,3\nW1,d,1,1,3\n", "is the same place"),
    ],
)
def test_what_is_wrong_in_a_table_of_many_wafers_is_said_by_the_careful_reader(tmp_path, cells, said):
    file = tmp_path / "pre.csv"
    file.write_text(f"wafer,site,x_mm,y_mm,thickness_nm\nW0,a,1,1,5\nW0,b,2,2,5\n{cells}")
    with pytest.raises(DataError, match=said):
        sites_by_wafer(file)


def test_labels_are_kept_as_written(tmp_path):
    file = tmp_path / "pre.csv"
    file.write_text(
        "wafer,site,x_mm,y_mm,thickness_nm\n007,01,1,1,5\n007,02,2,2,5\n7,01,1,1,5\n007,03,3,3,6\n"
    )
    found = sites_by_wafer(file)
    assert list(found) == ["007", "7"]
    assert found["007"].site == ("01", "02", "03")


def test_the_command(tmp_path, tables):
    db = ["--db", str(tmp_path / "h.sqlite")]
    run = CliRunner()
    done = run.invoke(app, ["log", "add", *map(str, tables), *db, "--why", "to begin with"])
    assert done.exit_code == 0, done.output
    assert "40 wafers added, 0 there already" in done.stdout
    again = json.loads(run.invoke(app, ["log", "add", str(tables[0]), *db, "--json"]).stdout)
    assert [(one["added"], one["present"]) for one in again["added"]] == [(0, 40)]
    shown = json.loads(run.invoke(app, ["log", "show", *db, "--tool", "A", "--last", "3", "--json"]).stdout)
    assert shown["wafers"] == 3
    assert shown["value"] == USUAL_VALUE
    assert "W0000116" in run.invoke(app, ["log", "show", *db]).stdout
    known = ["--centre", "300", "--sigma", "100"]
    calm = run.invoke(app, ["log", "chart", "--value", "rate", *known, *db, "--out", str(tmp_path / "out")])
    assert calm.exit_code == 0, calm.output
    assert {file.name for file in (tmp_path / "out").iterdir()} == {
        "chart.png",
        "chart.svg",
        "points.csv",
        "chart.nc",
    }
    alarm = run.invoke(
        app, ["log", "chart", "--value", "rate", "--centre", "400", "--sigma", "1", *db, "--tool", TOOLS[0]]
    )
    assert alarm.exit_code == 3
    assert "W0000000, 2026-01-01T00:00:00Z" in alarm.stdout
    assert (
        "noted"
        in run.invoke(app, ["log", "note", "pad change", "--tool", "A", "--at", "2026-02-01", *db]).stdout
    )
    decided = run.invoke(
        app, ["log", "decide", "proposed", "--change", "recipe.step.main.time=62 s", "--why", "slow", *db]
    )
    assert "sets nothing on a machine" in decided.stdout
    assert "recipe.step.main.time=62 s" in run.invoke(app, ["log", "decisions", *db]).stdout
    audit = json.loads(run.invoke(app, ["log", "audit", *db, "--json"]).stdout)["audit"]
    assert [row["what"] for row in audit] == [*["add wafers"] * 3, "note event", "decision proposed"]
    picture = tmp_path / "h.html"
    assert (
        run.invoke(app, ["log", "show", *db, "-o", str(picture), "--out", str(tmp_path / "shown")]).exit_code
        == 0
    )
    assert "<svg" in picture.read_text(encoding="utf-8")
    assert (tmp_path / "shown" / "wafers.csv").read_text().count("\n") == 41


def test_fit_reads_from_a_history(tmp_path):
    table = runs_with_moments(tmp_path)
    db = str(tmp_path / "h.sqlite")
    with planish.open_history(db) as history:
        history.add(table)
    words = [
        "fit",
        str(EXAMPLES / "rotary.toml"),
        "--free",
        "removal.oxide.rate",
        "--next",
        "0",
        "--date",
        "2026-11-28",
        "--json",
    ]
    run = CliRunner()
    kept = run.invoke(app, [*words, "--db", db, "--lot", "A", "--until", "2026-03-02"])
    assert kept.exit_code == 0, kept.output
    lines = table.read_text().splitlines()
    (tmp_path / "two.csv").write_text("\n".join(lines[:4]) + "\n")
    files = run.invoke(app, [*words[:2], str(tmp_path / "two.csv"), *words[2:]])
    one, other = (json.loads(each.stdout)["parameters"] for each in (kept, files))
    assert one == other
