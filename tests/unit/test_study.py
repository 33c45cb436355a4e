"""Many runs of one setup: grids, draws, sensitivity, and a folder that a killed study goes on in."""

from __future__ import annotations

import doctest
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.engine.execute import Cancel, CancelledError
from planish.engine.record import same
from planish.errors import DataError, SetupError
from planish.jobs.studies import read_varied
from planish.predict.wafer.bands import drawn, spreads
from planish.setup import spread
from planish.setup.load import load
from planish.tuning.study.design import CUT, designed, unit_samples
from planish.tuning.study.sensitivity import indices
from planish.tuning.study.vary import varied

ROTARY = Path(__file__).parents[2] / "examples" / "rotary.toml"
RING, FLOW = "recipe.step.main.ring_pressure", "recipe.step.main.flow"
A, B = 7.0, 0.1  # of Ishigami's function


@pytest.fixture(scope="module")
def setup():
    return load(ROTARY)


@pytest.fixture(scope="module")
def grid(setup):
    return planish.study(setup, {RING: "2..6 psi/3", "pad.top.shore_d": "45..65/2"}, workers=1)


# values -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("2..6 psi/5", ("2 psi", "3 psi", "4 psi", "5 psi", "6 psi")),
        ("2psi..6psi/3", ("2 psi", "4 psi", "6 psi")),
        ("0.1..0.3 psi/3", ("0.1 psi", "0.2 psi", "0.3 psi")),
        ("3 psi, 4.5 psi", ("3 psi", "4.5 psi")),
        ('["3 psi", "20 kPa"]', ("3 psi", "20 kPa")),
        (["3 psi", "4 psi"], ("3 psi", "4 psi")),
        ("3 psi", ("3 psi",)),
    ],
)
def test_values_are_read_as_the_file_would_have_them(setup, text, values):
    assert varied(setup, "recipe.step.2.ring_pressure", text).values == values


def test_values_are_known_in_si(setup):
    one = varied(setup, RING, "2..6 psi/3")
    assert one.path == RING
    assert one.numbers == pytest.approx([2 * 6894.757, 4 * 6894.757, 6 * 6894.757], rel=1e-6)
    assert one.si_unit == "Pa"
    assert varied(setup, "ambient.temperature", "20..30 degC/2").numbers == pytest.approx([293.15, 303.15])
    assert varied(setup, "pad.top.shore_d", "40..70/16").values == tuple(range(40, 71, 2))
    assert not varied(setup, "pad.part", "hard-microporous, soft-felt").numeric


@pytest.mark.parametrize(
    ("path", "given", "words"),
    [
        (RING, "6..2 psi/3", "from a lower to a higher"),
        (RING, "2..6 psi/1", "2 to"),
        (RING, "2 psi..6 kPa/3", "one unit"),
        (RING, "2 psi, 2 psi", "differ"),
        (RING, "2..6 psi", "how many values"),
        (RING, "2..6/3", "number with a unit"),
        (RING, "", "range"),
        (RING, 3.0, "range"),
        (RING, [], "range"),
        ("recipe.step.mian.time", "60 s, 90 s", "did you mean 'main'"),
        ("pad.top.shroe_d", "40..70/3", "unknown key"),
        ("pad.part", "no-such-pad", "catalogue part"),
    ],
)
def test_what_says_no_values_is_refused_by_its_key(setup, path, given, words):
    with pytest.raises(SetupError, match=words) as caught:
        planish.study(setup, {path: given}, workers=1)
    assert path.split(".")[0] in str(caught.value)


@pytest.mark.parametrize(
    ("vary", "options", "words"),
    [
        ({}, {}, "no key varies"),
        ({}, {"sobol": 8}, "no key varies"),
        ({RING: "2..6 psi"}, {"sobol": 9}, "8 or 16"),
        ({RING: "2..6 psi"}, {"samples": 0}, "1 or more"),
        ({RING: "2..6 psi"}, {"samples": 4, "morris": 4}, "one of"),
        ({RING: "2..6 psi"}, {"samples": 4, "seed": -1}, "0 or more"),
        ({RING: "2..6 psi/3"}, {"wafers": 0}, "1 or more"),
        ({"pad.part": "hard-microporous, soft-felt"}, {"morris": 4}, "must be a range"),
        ({RING: "2..6 psi/3", "recipe.step.2.ring_pressure": "2..6 psi/3"}, {}, "given twice"),
        ({RING: "2..6 psi/90000", FLOW: "100..300 ml/min/90000"}, {}, "at most 1000000"),
        (["a"], {}, "table of key and values"),
    ],
)
def test_what_does_not_go_together_is_refused(setup, vary, options, words):
    with pytest.raises(SetupError, match=words):
        planish.study(setup, vary, workers=1, **options)


def test_lines_name_keys_and_values():
    assert read_varied(["a.b=1..2/3", "pad.part = x, y"]) == {"a.b": "1..2/3", "pad.part": "x, y"}
    for wrong in (["a.b"], ["a.b="], ["=2"], ["a=1", "a=2"]):
        with pytest.raises(SetupError, match="--vary"):
            read_varied(wrong, named="--vary")


# runs ---------------------------------------------------------------------------------------------------------------


def test_a_grid_runs_every_value_with_every_other_and_each_as_polish_does(setup, grid):
    assert grid.design.size == grid.runs.height == 6
    assert grid.runs[f"{RING} [psi]"].to_list() == [2, 2, 4, 4, 6, 6]
    assert grid.runs["pad.top.shore_d"].to_list() == [45, 65] * 3
    for run in (0, 3, 5):
        row = grid.runs.row(run, named=True)
        changes = {RING: f"{row[f'{RING} [psi]']:g} psi", "pad.top.shore_d": row["pad.top.shore_d"]}
        alone = planish.polish(setup.replace(changes)).summary()
        assert {key: row[key] for key in alone} == alone


def test_the_dataset_has_a_dimension_a_key_and_units(grid):
    data = grid.data
    assert dict(data.sizes) == {RING: 3, "pad.top.shore_d": 2}
    assert data[RING].attrs["units"] == "Pa"
    assert data["mean_removal_rate"].attrs["units"] == "m/s"
    rate = grid.outcome("mean_removal_rate_nm_per_min").reshape(3, 2)
    assert data["mean_removal_rate"].values == pytest.approx(rate * 1e-9 / 60, rel=1e-12)


@pytest.mark.parametrize("workers", [2, 3])
def test_workers_change_nothing(setup, grid, workers):
    other = planish.study(setup, {RING: "2..6 psi/3", "pad.top.shore_d": "45..65/2"}, workers=workers)
    assert other.runs.equals(grid.runs)


def test_a_cluster_gives_the_same(setup, grid):
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
    ) as cluster:
        vary = {RING: "2..6 psi/3", "pad.top.shore_d": "45..65/2"}
        other = planish.study(setup, vary, address=cluster.scheduler_address)
    assert other.runs.equals(grid.runs)


def test_runs_that_refuse_are_rows_with_the_words_and_counted(setup):
    found = planish.study(setup, {"head.ring.gap": "0.5 mm, -1 mm, 1 mm, -2 mm"}, workers=1)
    assert found.refused == 2
    words = found.runs["refused"].to_list()
    assert words[0] == words[2] == ""
    with pytest.raises(SetupError) as alone:
        setup.replace({"head.ring.gap": "-1 mm"})
    assert words[1] == str(alone.value)
    assert found.runs["mean_removal_rate_nm_per_min"].is_null().to_list() == [False, True, False, True]
    assert any(note.startswith("2 of 4 runs refused") and "head.ring.gap" in note for note in found.notes)
    assert found.document()["refusals"] == [{"words": words[1], "runs": 2}]
    assert found.data["refused"].values.tolist() == [0, 1, 0, 1]


def test_notes_of_a_run_that_the_setup_has_not_are_kept(setup):
    few = setup.replace({"recipe.step.main.max_time": "20 s"})
    assert planish.polish(few).notes != planish.polish(setup).notes
    found = planish.study(setup, {"recipe.step.main.max_time": "20 s, 300 s"}, workers=1)
    new = [note for note in planish.polish(few).notes if note not in planish.polish(setup).notes]
    assert found.runs["noted"].to_list()[0] == " | ".join(new)
    assert f"1 of 2 runs: {' | '.join(new)}" in found.notes


def test_a_lot_can_be_what_is_run(setup):
    found = planish.study(setup, {RING: "3 psi, 5 psi"}, wafers=3, seed=4, workers=1)
    alone = planish.polish_lot(setup.replace({RING: "5 psi"}), 3, 4).summary()
    row = found.runs.row(1, named=True)
    assert {key: row[key] for key in alone} == alone


# draws --------------------------------------------------------------------------------------------------------------


def test_no_spread_moved_is_the_setup_itself(setup):
    found = spreads(setup)
    there = planish.polish(drawn(setup, found, [0.0] * len(found))).summary()
    assert there == pytest.approx(planish.polish(setup).summary(), rel=1e-9, abs=1e-12)


def test_a_little_of_a_spread_moves_as_the_band_says(setup):
    """Log-normal and normal start alike: a tenth of a spread is a tenth of the share, spread by spread."""
    found = spreads(setup)
    band = planish.polish_band(setup)["mean_removal_rate_nm_per_min"]
    held = 0
    for at, one in enumerate(found):
        if abs(band.shares[one.told]) < 0.02 * band.sd:
            continue
        up, down = [0.0] * len(found), [0.0] * len(found)
        up[at], down[at] = 0.1, -0.1
        rates = [
            planish.polish(drawn(setup, found, amounts)).summary()["mean_removal_rate_nm_per_min"]
            for amounts in (up, down)
        ]
        assert (rates[0] - rates[1]) / 0.2 == pytest.approx(band.shares[one.told], rel=0.5), one.name
        held += 1
    assert held >= 5


@pytest.mark.parametrize("share", [0.05, 0.5, 1.0])
def test_a_share_drawn_has_that_spread_and_stays_positive(share):
    amounts = np.random.default_rng(0).standard_normal(200_000)
    values = np.array([spread.drawn("8 um", f"{100 * share:g} %", amount) for amount in amounts[:3]])
    assert all(value.endswith(" um") for value in values)
    factors = np.array([spread.factor(share, amount) for amount in amounts])
    assert factors.min() > 0
    assert np.median(factors) == pytest.approx(1, rel=0.01)
    assert factors.std() / factors.mean() == pytest.approx(share, rel=0.03)
    assert spread.drawn("22 degC", "2 degC", -3.0) == "16.0 degC"
    assert spread.drawn(0.3, "0.1", 2.0) == pytest.approx(0.5)


def test_draws_are_of_the_spreads_and_within_the_cut(setup):
    design = designed(setup, [], samples=4000, sobol=None, morris=None, seed=1)
    assert design.names == tuple(one.name for one in spreads(setup))
    assert np.abs(design.table).max() < CUT
    assert design.table.mean(axis=0) == pytest.approx(0, abs=0.06)
    # The variance of a normal cut off at c: 1 - 2 c phi(c) / (2 Phi(c) - 1).
    from scipy.stats import norm

    expected = 1 - 2 * CUT * norm.pdf(CUT) / (2 * norm.cdf(CUT) - 1)
    assert design.table.var(axis=0) == pytest.approx(expected, rel=0.08)
    again = designed(setup, [], samples=4000, sobol=None, morris=None, seed=1)
    assert same(design.table, again.table)
    assert not same(design.table, designed(setup, [], samples=4000, sobol=None, morris=None, seed=2).table)


def test_narrow_draws_spread_the_rate_as_the_first_order_band_says(setup):
    """A quarter of each spread: there the outcome is nearly straight. The whole spreads are not (see the guide)."""
    design = designed(setup, [], samples=60, sobol=None, morris=None, seed=3)
    key = "mean_removal_rate_nm_per_min"
    rates = [planish.polish(drawn(setup, design.spread, 0.25 * row)).summary()[key] for row in design.table]
    assert np.std(rates, ddof=1) / 0.25 == pytest.approx(planish.polish_band(setup)[key].sd, rel=0.3)


def test_draws_run_over_run_and_none_of_these_refuses(setup):
    found = planish.study(setup, samples=12, seed=3, workers=1)
    assert found.refused == 0
    assert found.data["mean_removal_rate"].dims == ("run",)
    assert set(found.data.coords) == {name.replace(" ", "_") for name in found.design.names}


# sensitivity --------------------------------------------------------------------------------------------------------


def ishigami(x):
    return np.sin(x[:, 0]) + A * np.sin(x[:, 1]) ** 2 + B * x[:, 2] ** 4 * np.sin(x[:, 0])


def closed_form():
    """First-order and total indices of Ishigami's function on [-pi, pi]^3, from its variances."""
    alone_1 = 0.5 * (1 + B * np.pi**4 / 5) ** 2
    alone_2 = A**2 / 8
    pair_13 = B**2 * np.pi**8 * (1 / 18 - 1 / 50)
    total = alone_1 + alone_2 + pair_13
    return np.array([alone_1, alone_2, 0.0]) / total, np.array([alone_1 + pair_13, alone_2, pair_13]) / total


def test_sobol_indices_of_ishigami_are_those_of_the_closed_form():
    x = np.pi * (2 * unit_samples("sobol", 3, 8192, 0) - 1)
    ends = np.full(3, np.pi)
    found = indices("sobol", x, -ends, ends, ishigami(x), 0)
    first, total = closed_form()
    assert first == pytest.approx([0.3139, 0.4424, 0], abs=5e-5)
    assert found["first"][:2] == pytest.approx(first[:2], rel=0.01)
    assert abs(found["first"][2]) < 0.01
    assert found["total"] == pytest.approx(total, rel=0.01)


def test_elementary_effects_of_a_plane_are_its_slopes_over_the_ranges():
    shares = unit_samples("morris", 3, 6, 0)
    low, high = np.array([0.0, 10.0, -1.0]), np.array([2.0, 30.0, 1.0])
    x = low + shares * (high - low)
    found = indices("morris", x, low, high, x @ [3.0, -0.5, 0.0] + 7, 0)
    assert found["effect"] == pytest.approx([6.0, 10.0, 0.0], abs=1e-9)
    assert found["mean_effect"] == pytest.approx([6.0, -10.0, 0.0], abs=1e-9)
    assert found["sigma"] == pytest.approx(0, abs=1e-9)


def test_blocks_with_a_missing_run_are_left_out_and_still_say_the_same():
    x = np.pi * (2 * unit_samples("sobol", 3, 8192, 0) - 1)
    y = ishigami(x)
    y[::5000] = np.nan
    ends = np.full(3, np.pi)
    assert indices("sobol", x, -ends, ends, y, 0)["total"] == pytest.approx(closed_form()[1], rel=0.03)
    assert indices("sobol", x, -ends, ends, np.full(y.shape, np.nan), 0) == {}
    assert not indices("sobol", x, -ends, ends, np.ones(y.shape), 0)["total"].any()


def test_the_key_that_acts_is_the_one_that_matters(setup):
    vary = {FLOW: "150..250 ml/min", "title": "a"}
    with pytest.raises(SetupError, match="must be a range"):
        planish.study(setup, vary, morris=4, workers=1)
    vary = {RING: "2..5 psi", "recipe.step.main.platen_speed": "80..100 rpm"}
    found = planish.study(setup, vary, morris=4, workers=2)
    rows = {(row["figure"], row["key"]): row for row in found.document()["indices"]}
    for key in vary:
        assert rows["mean_removal_rate_nm_per_min", key]["effect"] > 0
    assert found.design.size == 12


# folders ------------------------------------------------------------------------------------------------------------

SLOW = """
import sys, time
import planish
from planish.tuning.study import runs
real = runs.Predicted.row
def row(self, move):
    with open(sys.argv[2], "a") as told:
        told.write(f"{move}\\n")
    time.sleep(0.02)
    return real(self, move)
runs.Predicted.row = row
planish.study(sys.argv[1], {sys.argv[4]: "2..6 psi/40"}, folder=sys.argv[3], workers=1)
"""


def ids(folder: Path) -> list[str]:
    return [ident for part in (folder / "parts").glob("*.parquet") for ident in pl.read_parquet(part)["id"]]


def test_a_killed_study_goes_on_with_nothing_lost_and_nothing_run_twice(setup, tmp_path):
    script, folder = tmp_path / "slow.py", tmp_path / "kept"
    script.write_text(SLOW)
    for _kill in range(2):
        before = len(ids(folder))
        child = subprocess.Popen(
            [sys.executable, str(script), str(ROTARY), str(tmp_path / "told"), str(folder), RING],
            env=os.environ,
        )
        end = time.monotonic() + 90
        while len(ids(folder)) < before + 4 and child.poll() is None and time.monotonic() < end:
            time.sleep(0.02)
        child.send_signal(signal.SIGKILL)
        child.wait()
    kept = ids(folder)
    assert 8 <= len(kept) < 40, "killed on the way"
    assert len(set(kept)) == len(kept)
    seen = []
    found = planish.study(
        setup, {RING: "2..6 psi/40"}, folder=folder, workers=1, progress=lambda i, n: seen.append((i, n))
    )
    assert seen[0] == (len(kept), 40)
    assert seen[-1] == (40, 40)
    assert sorted(ids(folder)) == sorted(found.runs["id"].to_list())
    # Only what was in no part when the kill came is made again: one batch a kill.
    tries = (tmp_path / "told").read_text().splitlines()
    assert len(tries) - len(set(tries)) <= 1
    assert found.runs.equals(planish.study(setup, {RING: "2..6 psi/40"}, workers=1).runs)


def test_a_finished_study_is_read_not_run(setup, grid, tmp_path, monkeypatch):
    vary = {RING: "2..6 psi/3", "pad.top.shore_d": "45..65/2"}
    first = planish.study(setup, vary, folder=tmp_path, workers=1)
    from planish.tuning.study import runs

    monkeypatch.setattr(runs.Predicted, "row", None)
    again = planish.study(setup, vary, folder=tmp_path, workers=1)
    assert again.runs.equals(first.runs)
    assert again.runs.equals(grid.runs)


def test_a_stop_says_how_to_go_on(setup, tmp_path):
    cancel = Cancel()
    vary = {RING: "2..6 psi/9"}

    def after_three(done, _of):
        if done == 3:
            cancel.stop()

    with pytest.raises(CancelledError, match="stopped after 3 of 9 runs: the same command goes on"):
        planish.study(setup, vary, folder=tmp_path, workers=1, progress=after_three, cancel=cancel)
    assert len(ids(tmp_path)) == 3
    assert planish.study(setup, vary, folder=tmp_path, workers=2).runs.height == 9
    cancel = Cancel()
    cancel.stop()
    with pytest.raises(CancelledError, match="give a folder"):
        planish.study(setup, vary, workers=1, cancel=cancel)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"vary": {RING: "2..6 psi/4"}}, "another plan"),
        ({"vary": {RING: "2..6 psi/3"}, "seed": 1}, "another plan"),
        ({"set": {"head.ring.gap": "0.7 mm"}}, "another setup"),
        ({"version": "0.0.1"}, "another planish"),
        ({"plan": "{"}, "not the plan"),
        ({"plan": None}, "without its plan"),
        ({"part": b"PAR1"}, "take it out"),
    ],
)
def test_a_folder_of_another_study_is_refused(setup, tmp_path, change, words):
    planish.study(setup, {RING: "2..6 psi/3"}, folder=tmp_path, workers=1)
    plan = tmp_path / "plan.json"
    if "version" in change:
        plan.write_text(json.dumps({**json.loads(plan.read_text()), "version": change["version"]}))
    if "plan" in change:
        plan.unlink() if change["plan"] is None else plan.write_text(change["plan"])
    if "part" in change:
        next((tmp_path / "parts").glob("*.parquet")).write_bytes(change["part"])
    other = setup.replace(change.get("set", {}))
    with pytest.raises(DataError, match=words) as caught:
        planish.study(
            other,
            change.get("vary", {RING: "2..6 psi/3"}),
            folder=tmp_path,
            workers=1,
            seed=change.get("seed", 0),
        )
    assert str(tmp_path) in str(caught.value)


def test_a_folder_in_use_is_refused(setup, tmp_path):
    from planish.tuning.study.store import held

    with held(tmp_path), pytest.raises(DataError, match="another process"):
        planish.study(setup, {RING: "2..6 psi/3"}, folder=tmp_path, workers=1)


# doors --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("vary", "options"),
    [
        ({RING: "2..5 psi/3"}, {}),
        ({RING: "2..5 psi/3", FLOW: "150..250 ml/min/2"}, {}),
        ({RING: "2..5 psi/2", "pad.part": "hard-microporous, soft-felt"}, {}),
        ({RING: "2..5 psi", FLOW: "150..250 ml/min"}, {"sobol": 4}),
        ({RING: "2..5 psi", FLOW: "150..250 ml/min"}, {"morris": 3}),
        ({}, {"samples": 6}),
    ],
)
def test_each_kind_is_drawn_saved_opened_and_made_again(setup, tmp_path, vary, options):
    found = planish.study(setup, vary, workers=1, **options)
    fresh = found.plot()
    assert len(fresh.axes) >= 1
    opened = planish.open_result(found.save(tmp_path / "study.nc"))
    assert opened.summary() == found.summary()
    assert opened.tables() == found.tables()
    assert [ax.get_xlabel() for ax in opened.plot().axes] == [ax.get_xlabel() for ax in fresh.axes]
    assert opened.rerun().document() == found.document()
    with pytest.raises(DataError, match="one of"):
        found.plot(figures="no_such_figure")


def test_the_page_on_studies_says_what_comes():
    guide = ROTARY.parents[1] / "docs" / "guide" / "study.md"
    before = Path.cwd()
    os.chdir(ROTARY.parents[1])
    try:
        found = doctest.testfile(str(guide), module_relative=False, encoding="utf-8")
    finally:
        os.chdir(before)
    assert found.attempted >= 7
    assert not found.failed


def test_the_command_prints_writes_and_goes_on(tmp_path):
    words = ["study", str(ROTARY), "--vary", f"{RING}=2..6 psi/3", "--workers", "1", "--out", str(tmp_path)]
    first = CliRunner().invoke(app, [*words, "--json"], catch_exceptions=False)
    assert first.exit_code == 0, first.stderr
    found = json.loads(first.stdout)
    assert found["runs"] == 3
    assert {row["figure"] for row in found["figures"]} >= {
        "mean_removal_rate_nm_per_min",
        "wiwnu_sigma_percent",
    }
    for name in ("plan.json", "runs.parquet", "study.nc", "study.png", "study.svg"):
        assert (tmp_path / name).stat().st_size > 100
    told = CliRunner().invoke(app, words, catch_exceptions=False)
    assert told.exit_code == 0
    assert "mean removal rate [nm/min]" in told.stdout
    assert pl.read_parquet(tmp_path / "runs.parquet").height == 3
