"""Tables of runs: many ways of writing one are read alike, in any order of columns, and nothing is guessed."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))
import run_dialects as ways
import site_dialects

import planish
from planish.fit.calibrate.keys import key_names, key_test
from planish.measure.runs.columns import understood
from planish.measure.runs.read import holds_runs, read_runs
from planish.measure.runs.record import RunColumns, RunTable

ROOT = Path(__file__).parents[2]
SETUP = planish.load(ROOT / "examples" / "rotary.toml")
IS_KEY = key_test(SETUP)
PSI = 6894.757293168361


def read(tmp_path: Path, dialect: ways.Dialect) -> RunTable:
    path = tmp_path / dialect.name
    path.write_bytes(dialect.data)
    return read_runs(path, told=RunColumns(**dialect.said), is_key=IS_KEY)


def check(table: RunTable) -> None:
    assert len(table.runs) == len(ways.RUNS)
    for run, (wafer, lot, time, rate, sd, count, disk, ring) in zip(table.runs, ways.RUNS, strict=True):
        assert (run.wafer, run.lot, run.pad_wafers) == (wafer, lot, count)
        assert run.time == pytest.approx(time, rel=1e-9)
        assert run.rate == pytest.approx(rate * 1e-9 / 60, rel=1e-9)
        assert run.sd == pytest.approx(sd * 1e-9 / 60, rel=1e-9)
        assert run.sd_is_rate
        assert run.disk_time == pytest.approx(disk * 3600, rel=1e-9)
        set_to = SETUP.replace(run.settings).si(ways.RING)
        assert set_to == pytest.approx(ring * PSI, rel=1e-9)


@pytest.mark.parametrize("name", ways.WAYS)
def test_a_way_of_writing_is_read_alike(tmp_path, name):
    table = read(tmp_path, ways.WAYS[name]())
    check(table)
    assert "\n" not in table.understood
    assert len(table.understood) < 500
    assert holds_runs(table.path, IS_KEY, RunColumns(**ways.WAYS[name]().said))
    for role in ("wafer", "time", "rate", "disk hours", ways.RING):
        assert role in table.understood


def test_there_are_twelve_and_more():
    assert len(ways.WAYS) >= 12


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(order=st.permutations(range(len(ways.HEAD))), sep=st.sampled_from(",;\t|"))
def test_columns_may_stand_in_any_order(tmp_path, order, sep):
    lines = [[row[i] for i in order] for row in [ways.HEAD, *ways.rows()]]
    path = tmp_path / "runs.csv"
    path.write_text(ways.text(lines, sep), encoding="utf-8")
    check(read_runs(path, is_key=IS_KEY))


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(gone=st.sets(st.sampled_from([0, 1, 2, 4, 5, 6, 7])))
def test_every_column_but_what_was_measured_may_be_missing(tmp_path, gone):
    lines = [[c for i, c in enumerate(row) if i not in gone] for row in [ways.HEAD, *ways.rows()]]
    path = tmp_path / "runs.csv"
    path.write_text(ways.text(lines), encoding="utf-8")
    table = read_runs(path, is_key=IS_KEY)
    assert [run.rate is not None for run in table.runs] == [True] * 3
    assert all((run.time is None) == (2 in gone) for run in table.runs)
    assert all(bool(run.settings) == (7 not in gone) for run in table.runs)


@pytest.mark.parametrize(
    ("header", "role", "unit"),
    [
        ("Wafer #", "wafer", None),
        ("POST FILE", "after", None),
        ("file before polish", "before", None),
        ("Pre-CMP thickness", "before", None),
        ("removed", "removal", None),
        ("mean removal rate [nm/min]", "rate", "nm/min"),
        ("pad h", "pad_time", "h"),
        ("Pad life (hours)", "pad_time", "h"),
        ("pad cut rate um/h", "cut", "um/h"),
        ("Total polish time, sec", "time", "sec"),
        ("dresser use [min]", "disk_time", "min"),
    ],
)
def test_names_are_known_loosely(header, role, unit):
    found = understood(header, IS_KEY)
    assert found is not None
    assert (found.role, found.unit) == (role, unit)


@pytest.mark.parametrize(
    "header",
    ["slot", "pad colour", "rating", "x_mm", "removal_nm", "recipe.step.main.tme", "time [nm]", "sdf"],
)
def test_names_that_mean_nothing_are_not_guessed(header):
    assert understood(header, IS_KEY) is None


@pytest.mark.parametrize(
    ("path", "known"),
    [
        ("recipe.step.main.ring_pressure", True),
        ("recipe.step.2.ring_pressure", True),
        ('recipe.step."touch down".time', True),
        ("recipe.step.main.zone_pressures.edge", True),
        ("recipe.step.main.zone_pressures.3", True),
        ("removal.oxide.rate", True),
        ("removal.oxide.activation_energy", True),
        ("conditioner.cut_level", True),
        ("pad.top.shore_d", True),
        ("recipe.step.main.ring", False),
        ("recipe.step.9.time", False),
        ("recipe.step.main", False),
        ("pad", False),
    ],
)
def test_paths_of_keys(path, known):
    assert IS_KEY(path) is known


def test_every_value_that_a_setup_holds_is_a_key():
    names = key_names(SETUP)
    assert len(names) > 100
    assert [name for name in names if not IS_KEY(name)] == []


def test_an_empty_cell_leaves_the_setup_as_it_is(tmp_path):
    path = tmp_path / "runs.csv"
    path.write_text(f"rate_nm_per_min,{ways.RING}\n250,\n251,3 psi\n252,-\n", encoding="utf-8")
    table = read_runs(path, is_key=IS_KEY)
    assert [dict(run.settings) for run in table.runs] == [{}, {ways.RING: "3 psi"}, {}]


@pytest.mark.parametrize(
    ("head", "is_runs"),
    [
        ("site,x_mm,y_mm,removal_nm", False),
        ("wafer,site,rate_nm_per_min", False),  # its places come from a site plan
        ("r_mm,theta_deg,rate_nm_per_min", False),
        ("wafer,rate_nm_per_min", True),
        ("wafer,pre sites,post sites", True),
        ("disk_h,cut_um_per_h", True),
        ("No.,wafer,rate_nm_per_min", True),  # then its first column is refused by name
        ("wafer,colour", False),
        ("structure,x_mm,y_mm,time_s,up_loss_nm", False),
    ],
)
def test_a_table_of_runs_is_told_from_sites_by_its_names(tmp_path, head, is_runs):
    path = tmp_path / "table.csv"
    path.write_text(f"{head}\n{','.join('1' for _ in head.split(','))}\n", encoding="utf-8")
    assert holds_runs(path, IS_KEY) is is_runs


@pytest.mark.parametrize("name", site_dialects.WAYS)
def test_no_way_of_writing_sites_is_taken_for_a_table_of_runs(tmp_path, name):
    dialect = site_dialects.WAYS[name]()
    path = tmp_path / dialect.name
    path.write_bytes(dialect.data)
    assert not holds_runs(path, IS_KEY)
