"""Trade-offs: what is asked for and computed, what is said of the front, and that it can be repeated."""

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
from planish.errors import PlanishError
from planish.measure.layout.make import make_maps
from planish.setup.changes import read_changes
from planish.tuning.tradeoffs import front, tried
from planish.tuning.tradeoffs.aims import KNOWN, read_aims
from planish.tuning.tradeoffs.predicted import Predictor
from planish.tuning.tradeoffs.search import Axis, Outcome, search

EXAMPLES = Path(__file__).parents[2] / "examples"
PRESSURE, SPEED = "recipe.step.main.zone_pressures", "recipe.step.main.platen_speed"
PADS = "hard-solid, hard-microporous"


@pytest.fixture(scope="module")
def setup():
    return planish.load(EXAMPLES / "tungsten.toml")


@pytest.fixture(scope="module")
def found(setup):
    """A front over two ranges and a list of pads, one of them none."""
    vary = {PRESSURE: "2..4 psi", SPEED: "70..110 rpm/5", "pad.part": f"{PADS}, no-such-pad"}
    limits = {"time": "..200 s", "friction_coefficient": "..0.5"}
    return planish.choose(setup, vary, ["rate", "evenness"], limits=limits, runs=30, seed=3, workers=1)


def test_every_point_is_what_its_lines_give(setup, found):
    for point, row in zip(found.points, found.document()["points"], strict=True):
        again = planish.polish(setup.replace(read_changes(row["set"]))).summary()
        for aim, value in zip(found.aims, point.figures, strict=True):
            assert again[aim.figure] == value == row[aim.figure]


def test_the_points_go_by_the_first_aim_and_none_beats_another(found):
    values = np.array([point.figures for point in found.points])
    assert (np.diff(values[:, 0]) < 0).all()  # fastest first
    assert (np.diff(values[:, 1]) < 0).all()  # and so least even first
    assert found.points[0].best == ("rate",)
    assert found.points[-1].best == ("evenness",)
    assert [point.number for point in found.points] == list(range(1, len(found.points) + 1))


def test_refusals_and_limits_are_counted_and_told(found):
    assert 0 < found.count.refused < found.count.runs == 30
    assert sum("no-such-pad" in point.changes.get("pad.part", "") for point in found.points) == 0
    assert any("refused: " in note and "no-such-pad" in note for note in found.notes)


def test_the_start_is_a_candidate_and_is_told_of(setup, found):
    own = planish.polish(setup).summary()
    values = np.array([[point.figures[0], -point.figures[1]] for point in found.points])
    start = np.array([own["mean_removal_rate_nm_per_min"], -own["wiwnu_sigma_percent"]])
    beating = [n for n, row in enumerate(values, start=1) if (row >= start).all() and (row > start).any()]
    assert list(found.beating) == beating
    assert found.start.on_front == (not beating)
    words = found.in_words()[-1]
    assert "lies on the front" in words if not beating else "is beaten" in words
    assert any(line.startswith("best rate: point 1: rate ") for line in found.in_words())


def test_a_start_on_the_front_is_a_point_without_changes(setup):
    found = planish.choose(setup, {SPEED: "60 rpm, 65 rpm"}, ["time", "warmth"], runs=4, workers=1)
    start = [point for point in found.points if not point.changes]
    assert found.start.on_front == bool(start)
    assert found.every
    assert "exact" in found.notes[0]
    assert start[0].where.endswith("as it stands")
    assert found.setup(start[0].number) == setup.replace({})


def test_other_workers_same_numbers(setup):
    asked = (setup, {PRESSURE: "2..4 psi", "pad.part": PADS}, ["rate", "evenness"])
    one = planish.choose(*asked, runs=12, workers=1)
    two = planish.choose(*asked, runs=12, workers=2)
    assert one.document() == two.document()
    other = planish.choose(*asked, runs=12, workers=1, seed=1)
    assert one.document()["points"] != other.document()["points"]


def test_only_what_is_needed_is_predicted(setup, monkeypatch):
    """A wafer's aims polish no lot; of a lot's first wafer no more than one is polished; a lot serves its cost too."""
    from planish.tuning.tradeoffs import predicted

    made = []
    real = predicted.polish_lot
    monkeypatch.setattr(
        predicted, "polish_lot", lambda of, wafers, **more: made.append(wafers) or real(of, wafers, **more)
    )
    monkeypatch.setattr(
        predicted, "lot_of_cost", lambda of, wafers: made.append(wafers) or _lot_of_cost(of, wafers)
    )
    predictor = Predictor(3)
    assert set(predictor.predicted(setup, {"wafer"}).summaries) == {"wafer"}
    assert made == []
    first = predictor.predicted(setup, {"first"}).summaries["first"]
    assert made == [1]
    every = predictor.predicted(setup, {"first", "lot", "cost"}).summaries
    assert made == [1, 3]
    assert every["first"]["first_scratch_index_relative"] == first["first_scratch_index_relative"]
    assert every["cost"] == planish.cost_of(setup, 3).summary()


def _lot_of_cost(of, wafers):
    from planish.cost.per_wafer import lot_of_cost

    return lot_of_cost(of, wafers)


def test_lives_and_cost_as_the_verb_cost_tells_them(setup):
    priced = setup.replace({"cost": {"pad_price": 400, "slurry_price": 3.5, "hour_price": 300}})
    found = planish.choose(priced, {SPEED: "70 rpm, 110 rpm"}, ["pad-life", "cost"], wafers=3, workers=1)
    for point in found.points:
        alone = planish.cost_of(priced.replace(point.changes), 3).summary()
        assert point.figures == (alone["pad_life_wafers"], alone["cost_per_wafer"])


def test_what_is_left_within_a_die():
    setup, maps = planish.load(EXAMPLES / "rotary.toml"), make_maps("density-blocks", cell=400e-6)
    found = planish.choose(
        setup, {SPEED: "70 rpm, 100 rpm"}, ["step-height", "time"], maps=maps, place="edge", workers=1
    )
    for point in found.points:
        alone = planish.polish_die(setup.replace(point.changes), maps, place="edge").summary()
        assert point.figures[0] == alone["step_height_max_nm"]


def test_any_figure_with_a_direction_is_an_aim(setup):
    found = planish.choose(
        setup, {SPEED: "70 rpm, 100 rpm"}, ["friction_coefficient=lower", "last_groove_depth_um=higher"],
        wafers=2, workers=1,
    )  # fmt: skip
    assert [aim.answer for aim in found.aims] == ["wafer", "lot"]


def test_more_points_than_are_shown(setup):
    found = planish.choose(setup, {PRESSURE: "3.4..4 psi/7"}, ["rate", "warmth"], points=4, workers=1)
    assert len(found.points) == 4 < found.count.front
    assert {name for point in found.points for name in point.best} == {"rate", "warmth"}
    assert any("of the front are shown" in note for note in found.notes)


def test_aims_that_do_not_stand_against_one_another(setup):
    """Pressing harder is faster and done sooner: one point is left, and is told so."""
    found = planish.choose(setup, {PRESSURE: "2 psi, 4 psi"}, ["rate", "time"], workers=1)
    assert [point.best for point in found.points] == [("rate", "time")]
    assert any(line.startswith("one setup is best in every aim") for line in found.in_words())


def test_the_figures_that_aims_name_are_in_the_summaries(setup):
    """A known aim's figure is one of its answer's: of any die process where it is of a die."""
    told = Predictor(2).predicted(setup, {"wafer", "first", "lot", "cost"}).summaries
    for aim in KNOWN:
        if aim.answer != "die":
            assert aim.figure in told[aim.answer], aim
    assert len({aim.name for aim in KNOWN}) == len({aim.figure for aim in KNOWN}) == len(KNOWN)


def test_saved_opened_and_computed_again(found, tmp_path):
    saved = planish.open_result(found.save(tmp_path / "front.nc"))
    assert saved.summary() == found.summary()
    assert saved.rerun().document()["points"] == found.document()["points"]


def test_the_search_does_not_try_a_point_twice():
    asked = []

    def evaluate(points):
        asked.extend(points)
        return [Outcome((point[0], 1 - point[0])) for point in points]

    tried = search([Axis(0, 1e-3), Axis(count=2)], 2, evaluate, runs=60)
    assert len(asked) == len(set(asked)) == len(tried)


def test_numbers_are_round():
    axis = Axis(2.0, 6.0)
    assert axis.step == pytest.approx(0.001)
    assert axis.rounded(3.14159) == pytest.approx(3.142)
    assert axis.rounded(7.0) == 6.0
    assert Axis(count=4).rounded(2.6) == 3.0


def test_a_front_is_thinned_to_points_far_apart():
    first = np.linspace(0, 1, 101)
    values = np.stack([first, 1 - first], axis=1)
    assert front.spread_out(values, 3, [0, 100]) == [0, 50, 100]


def test_the_library_is_asked_for_only_where_it_is_needed(setup, monkeypatch):
    monkeypatch.setitem(sys.modules, "pymoo.algorithms.moo", None)
    with pytest.raises(PlanishError, match=r"pip install 'planish\[choose\]'"):
        planish.choose(setup, {PRESSURE: "2..4 psi"}, ["rate", "evenness"], runs=4)
    every = planish.choose(setup, {PRESSURE: "2 psi, 4 psi"}, ["rate", "evenness"], workers=1)
    assert every.every


def test_the_verb_writes_the_setups_that_are_asked_for(tmp_path):
    asked = f"choose {EXAMPLES / 'tungsten.toml'} --aim rate --aim evenness --workers 1 --vary".split()
    asked.append(f"{PRESSURE}=2 psi, 4 psi")
    said = CliRunner().invoke(app, [*asked, "--json", "--out", str(tmp_path), "--write", "ends"])
    assert said.exit_code == 0
    for name in ("front.png", "front.svg", "points.csv", "trade-off.nc"):
        assert (tmp_path / name).exists()
    for row in json.loads(said.stdout)["points"]:
        if "best" in row["where"]:
            written = planish.load(tmp_path / f"point-{row['point']}.toml")
            assert planish.polish(written).summary()["wiwnu_sigma_percent"] == row["wiwnu_sigma_percent"]
        else:
            assert not (tmp_path / f"point-{row['point']}.toml").exists()
    told = CliRunner().invoke(app, asked).stdout
    assert "--set 'recipe.step.main.zone_pressures=4 psi'" in told
    assert "best rate: point 1" in told


def test_aims_are_read_with_their_direction():
    aims = read_aims(["rate", "time_s=higher"])
    assert aims[0].known.better == "higher"
    assert aims[1].known.better == "higher"  # said otherwise than usual
    assert aims[1].known.figure == "time_s"


# folders ------------------------------------------------------------------------------------------------------------

SLOW = """
import sys, time
import planish
from planish.tuning.tradeoffs import predicted
real = predicted.Trial.seen
def seen(self, changes):
    with open(sys.argv[2], "a") as told:
        told.write(f"{sorted(changes.items())}\\n")
    time.sleep(0.02)
    return real(self, changes)
predicted.Trial.seen = seen
vary = {"recipe.step.main.zone_pressures": "2..4 psi", "recipe.step.main.platen_speed": "70..110 rpm"}
planish.choose(sys.argv[1], vary, ["rate", "evenness"], runs=40, seed=5, folder=sys.argv[3], workers=1)
"""
KILLED = {PRESSURE: "2..4 psi", SPEED: "70..110 rpm"}


def _ids(folder):
    return [ident for part in (folder / "parts").glob("*.parquet") for ident in pl.read_parquet(part)["id"]]


def test_a_killed_choice_goes_on_with_nothing_lost_and_nothing_run_twice(setup, tmp_path):
    script, folder, told = tmp_path / "slow.py", tmp_path / "kept", tmp_path / "told"
    script.write_text(SLOW)
    chance = np.random.default_rng(1)
    for _kill in range(3):
        before, more = len(_ids(folder)), int(chance.integers(1, 12))
        child = subprocess.Popen(
            [sys.executable, str(script), str(EXAMPLES / "tungsten.toml"), str(told), str(folder)],
            env=os.environ,
        )
        end = time.monotonic() + 120
        while len(_ids(folder)) < before + more and child.poll() is None and time.monotonic() < end:
            time.sleep(0.01)
        time.sleep(float(chance.uniform(0.0, 0.05)))
        child.send_signal(signal.SIGKILL)
        child.wait()
    kept = _ids(folder)
    assert 3 <= len(kept) < 40, "killed on the way"
    assert len(set(kept)) == len(kept)
    seen = []
    options = {"runs": 40, "seed": 5, "progress": lambda done, of: seen.append((done, of))}
    found = planish.choose(setup, KILLED, ["rate", "evenness"], folder=folder, workers=2, **options)
    assert seen[-1] == (40, 40)
    assert len(_ids(folder)) == len(set(_ids(folder))) == 40
    # what was in no part when the kill came is made again: one piece a kill, here of two setups at most
    tries = told.read_text().splitlines()
    assert len(tries) - len(set(tries)) <= 3 * 2
    whole = planish.choose(setup, KILLED, ["rate", "evenness"], workers=1, runs=40, seed=5)
    assert found.document() == whole.document()


def test_a_finished_choice_is_read_not_run(setup, tmp_path, monkeypatch):
    options = {"runs": 12, "seed": 2, "workers": 1, "limits": {"friction_coefficient": "..0.5"}}
    vary = {PRESSURE: "2..4 psi", "pad.part": f"{PADS}, no-such-pad"}
    first = planish.choose(setup, vary, ["rate", "evenness"], folder=tmp_path, **options)

    def never(piece, *, trial):
        raise AssertionError("a setup is tried again")

    monkeypatch.setattr(tried, "_seen", never)
    again = planish.choose(setup, vary, ["rate", "evenness"], folder=tmp_path, points=3, **options)
    assert again.count == first.count
    assert len(again.points) <= 3
    assert {point.figures for point in again.points} <= {point.figures for point in first.points}
    # any other question is another choice
    for other in ({"seed": 3}, {"runs": 13}, {"limits": {}}):
        with pytest.raises(PlanishError, match="holds a choice with another plan"):
            planish.choose(setup, vary, ["rate", "evenness"], folder=tmp_path, **{**options, **other})
    changed = setup.replace({"recipe.step.main.flow": "180 ml/min"})
    with pytest.raises(PlanishError, match="holds a choice with another setup"):
        planish.choose(changed, vary, ["rate", "evenness"], folder=tmp_path, **options)
    with pytest.raises(PlanishError, match="holds a choice, not a study"):
        planish.study(setup, {SPEED: "70..110 rpm/3"}, folder=tmp_path, workers=1)


def test_a_stopped_choice_says_how_to_go_on(setup, tmp_path):
    cancel, vary = Cancel(), {SPEED: "70..110 rpm/9"}

    def after_three(done, _of):
        if done >= 3:
            cancel.stop()

    options = {"workers": 1, "progress": after_three, "cancel": cancel}
    with pytest.raises(CancelledError, match="stopped after 4 setups tried: the same command goes on"):
        planish.choose(setup, vary, ["rate", "evenness"], folder=tmp_path, **options)
    assert len(_ids(tmp_path)) == 4  # two pieces of two
    found = planish.choose(setup, vary, ["rate", "evenness"], folder=tmp_path, workers=1)
    assert found.count.runs == 9
