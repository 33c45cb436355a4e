"""Platens in a row: what one leaves comes to the next, settings of all are solved for together, and limits are kept."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.predict.wafer.platens import polish_in_turn
from planish.tuning.course import settings_of
from planish.tuning.platens.course import RowCourse, RowSettings
from planish.tuning.platens.options import bounds_by_platen, kept_by_platen
from planish.units import PSI

EXAMPLES = Path(__file__).parents[2] / "examples"
DOME = [["0 mm", "1030 nm"], ["60 mm", "1000 nm"], ["110 mm", "1005 nm"], ["150 mm", "975 nm"]]
THREE = [{"name": f"z{at}", "outer_radius": f"{r} mm"} for at, r in enumerate((70, 130, 150), 1)]


@pytest.fixture(scope="module")
def row():
    """Two platens: another pad, another head with another ring, other recipes."""
    base = planish.loads(planish.new_setup("rotary"))
    main = base.document["recipe"]["step"][1]
    first = base.replace(
        {
            "title": "hard",
            "wafer.film.1.thickness": None,
            "wafer.film.1.profile": DOME,
            "recipe.step": [{**main, "stop_on_removed": "350 nm"}],
        }
    )
    last = {**main, "zone_pressures": ["2 psi"] * 3, "ring_pressure": "3 psi", "stop_on_removed": "200 nm"}
    return first, base.replace(
        {
            "title": "soft",
            "pad.part": "medium-microporous",
            "head.zone": THREE,
            "head.ring.gap": "1.2 mm",
            "recipe.step": [last],
        }
    )


@pytest.fixture(scope="module")
def found(row):
    return planish.tune(
        list(row),
        target="450 nm",
        bounds={"zone_pressure": "1..6 psi", "platen.2.zone_pressure": "1.8..2.4 psi"},
        neighbour="1 psi",
        longest="70 s",
    )


def test_what_one_platen_leaves_comes_to_the_next(row):
    first, last = polish_in_turn([setup.rig for setup in row])
    assert last.incoming[0] == pytest.approx(np.interp(last.radius, first.radius, first.remaining[0]))
    assert np.array_equal(first.remaining, planish.polish(row[0]).remaining)


def test_every_setting_answers_as_the_chain_does(row):
    """The derivative carried through the later platen against the difference of two chains."""
    rigs = [setup.rig for setup in row]
    start = RowSettings(tuple(settings_of(wafer) for wafer in polish_in_turn(rigs)))
    course = RowCourse(rigs)
    run = course.run(start)
    wanted = np.ones((2, 7), dtype=bool)
    wanted[1, 3:5] = False  # the second head has three zones
    first = course.influence(run, wanted, bends=False).first
    assert not first[1, 3:5].any()
    for step, which, size in ((0, 1, 100.0), (0, 6, 0.05), (1, 2, 100.0), (1, 6, 0.05)):
        moved = []
        for sign in (1, -1):
            platens = list(start.platens)
            zones, time = platens[step].zones.copy(), platens[step].time.copy()
            if which == 6:
                time[0] += sign * size
            else:
                zones[0, which] += sign * size
            platens[step] = platens[step]._replace(zones=zones, time=time)
            moved.append(course.run(RowSettings(tuple(platens)), run).stack)
        slope = (moved[0] - moved[1]) / (2 * size)
        assert np.abs(first[step, which] - slope).max() < 0.03 * np.abs(slope).max()


def test_the_tuned_setups_leave_the_target_more_even(row, found):
    end = polish_in_turn([setup.rig for setup in found.tuned()])[-1]
    left = end.remaining.sum(axis=0)
    assert 1e9 * end.mean(left) == pytest.approx(450.0, abs=0.1)
    figures = found.summary()
    assert 100 * end.sigma(left) / end.mean(left) == pytest.approx(figures["wiwnu_sigma_percent_after"])
    assert figures["wiwnu_sigma_percent_after"] < 0.5 * figures["wiwnu_sigma_percent_before"]


def test_limits_are_kept_on_each_platen_and_priced(row, found):
    hard, soft = (setup.rig.steps[0] for setup in found.tuned())
    assert hard.zone_pressures.max() <= 6 * PSI
    assert soft.zone_pressures.min() >= 1.8 * PSI * (1 - 1e-9)
    assert soft.zone_pressures.max() <= 2.4 * PSI * (1 + 1e-9)
    assert max(np.abs(np.diff(one.zone_pressures)).max() for one in (hard, soft)) <= 1.0 * PSI
    # a step that stops on an amount takes as long as it takes, within a few hundredths of a second of what was solved for
    assert found.summary()["longest_platen_after_s"] <= 70.05
    held = [bound.limit.place for bound in found.bounds]
    assert any(place.startswith("platen.2.recipe.step.main.zone_pressures") for place in held)
    assert all(bound.price >= 0 for bound in found.bounds)
    assert found.bounds[0].price > 0


def test_together_is_better_than_one_after_the_other(row, found):
    """The second platen alone, for what the first one leaves as it stands."""
    alone = planish.tune(
        list(row),
        target="450 nm",
        bounds={"zone_pressure": "1..6 psi", "platen.2.zone_pressure": "1.8..2.4 psi"},
        keep=["platen.1"],
        neighbour="1 psi",
    )
    key = "wiwnu_sigma_percent_after"
    assert not alone.changes[0]  # kept whole, its amount too
    assert found.summary()[key] < alone.summary()[key] < alone.summary()["wiwnu_sigma_percent_before"]


def test_times_of_platens_are_balanced(row):
    made = planish.tune(list(row), target="450 nm", balance="4 s", bounds={"zone_pressure": "1..6 psi"})
    times = [platen["time_after_s"] for platen in made.document()["platens"]]
    assert abs(times[0] - times[1]) <= 4.0
    before = [platen["time_before_s"] for platen in made.document()["platens"]]
    assert abs(before[0] - before[1]) > 4.0
    assert made.summary()["mean_remaining_after_nm"] == pytest.approx(450.0, abs=0.1)


def test_unless_said_otherwise_no_platen_is_longer_than_the_longest_was(row):
    made = planish.tune(list(row), target="450 nm", keep=["recipe.step.main.zone_pressures"])
    assert any("take no longer" in note for note in made.notes)
    figures = made.summary()
    assert figures["off_target_sigma_after_nm"] < figures["off_target_sigma_before_nm"]


def test_one_platen_in_a_list_is_the_setup_alone(row):
    options = {"target": "640 nm", "bounds": {"zone_pressure": "2..4 psi"}}
    alone, listed = planish.tune(row[0], **options), planish.tune([row[0]], **options)
    assert listed.changes[0] == alone.changes


def test_a_row_that_takes_all_of_the_film_is_shortened_first(row):
    """As they stand, two platens leave nothing, and no setting tells there."""
    gone = row[0].replace({"recipe.step.main.stop_on_removed": "700 nm"})
    assert not polish_in_turn([gone.rig, gone.rig])[-1].remaining.any()
    figures = planish.tune([gone, gone], target="200 nm", bounds={"zone_pressure": "1..6 psi"}).summary()
    assert figures["mean_remaining_after_nm"] == pytest.approx(200.0, abs=0.1)
    assert figures["off_target_sigma_after_nm"] < 1.0


def test_several_wafers_come_to_the_first_platen(row, tmp_path):
    for number, dome in enumerate((20.0, -10.0)):
        rows = [
            f"{x},{y},{1000 + dome * (x * x + y * y) / 150**2:.4f}"
            for x in range(-140, 141, 40)
            for y in range(-140, 141, 40)
            if x * x + y * y < 147**2
        ]
        (tmp_path / f"w{number}.csv").write_text("x_mm,y_mm,thickness_nm\n" + "\n".join(rows) + "\n")
    made = planish.tune(list(row), incoming=tmp_path, target="450 nm", bounds={"zone_pressure": "1..6 psi"})
    wafers = made.document()["wafers"]
    assert len(wafers) == 2
    assert np.mean([one["mean_remaining_after_nm"] for one in wafers]) == pytest.approx(450.0, abs=0.1)
    figures = made.summary()
    floor = figures["incoming_profiles_sigma_nm"]
    assert floor <= figures["off_target_sigma_after_nm"] < 1.1 * floor + 0.3


def test_bounds_and_what_is_kept_are_told_apart_by_platen(row):
    bounds = {"platen.2.zone_pressure": "1..2 psi", "zone_pressure": "1..6 psi", "head.zone.z1": "x"}
    assert bounds_by_platen(bounds, row) == [
        {"zone_pressure": "1..6 psi"},
        {"head.zone.z1": "x", "zone_pressure": "1..2 psi"},
    ]
    assert kept_by_platen(["platen.1", "recipe.step.main.time"], row) == [
        ["recipe.step", "recipe.step.main.time"],
        ["recipe.step.main.time"],
    ]


def test_a_film_on_top_may_be_left_out_where_it_is_gone():
    """Copper clears on the first platen, and the second knows the barrier and what lies below."""
    bulk, barrier = (planish.load(EXAMPLES / f"{name}.toml") for name in ("copper", "copper-barrier"))
    first, last = polish_in_turn([bulk.rig, barrier.rig])
    assert first.films == ("copper", "barrier", "dielectric")
    assert last.films == ("barrier", "dielectric")
    assert last.incoming == pytest.approx(first.remaining[1:], abs=1e-15)
    course = RowCourse([bulk.rig, barrier.rig])
    run = course.run(RowSettings((settings_of(first), settings_of(last))))
    assert run.stack == pytest.approx(last.remaining.sum(axis=0), abs=2e-10)


def test_the_answer_is_saved_and_drawn(found, tmp_path):
    read = planish.open_result(found.save(tmp_path / "platens.nc"))
    assert read.summary() == pytest.approx(found.summary())
    assert len(read.plot().axes) == len(found.plot().axes) == 6


def test_the_command_says_and_writes_what_the_function_does(row, found, tmp_path):
    files = [tmp_path / name for name in ("hard pad.toml", "soft.toml")]
    for file, setup in zip(files, row, strict=True):
        file.write_text("# a remark of mine\n" + setup.to_toml())
    words = ["tune", *map(str, files), "--target", "450 nm", "--neighbour", "1 psi", "--longest", "70 s"]
    for bound in ("zone_pressure=1..6 psi", "platen.2.zone_pressure=1.8..2.4 psi"):
        words += ["--bound", bound]
    out = tmp_path / "out"
    done = CliRunner().invoke(app, [*words, "--json", "--out", str(out)])
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert [one["platen"] for one in told["platens"]] == [1, 2]
    assert told["platens"] == found.document()["platens"]
    assert {one.name for one in out.iterdir()} == {
        "1-hard-pad.toml",
        "2-soft.toml",
        "platens.png",
        "platens.svg",
        "platens.nc",
    }
    for number, name in enumerate(("1-hard-pad.toml", "2-soft.toml")):
        assert (out / name).read_text().startswith("# a remark of mine")
        assert planish.load(out / name) == found.tuned()[number]


def test_a_value_is_set_on_one_platen_or_on_all(row, tmp_path):
    from planish.jobs.tuning import settings_in_turn

    files = [tmp_path / name for name in ("a.toml", "b.toml")]
    for file, setup in zip(files, row, strict=True):
        file.write_text(setup.to_toml())
    lines = ["recipe.step.main.flow=200 ml/min", "platen.2.recipe.step.main.flow=300 ml/min"]
    made = settings_in_turn(files, lines, target="450 nm", keep=["recipe.step.main.zone_pressures"])
    flows = [setup.rig.steps[0].flow for setup in made.setups]
    assert flows == pytest.approx([200e-6 / 60, 300e-6 / 60])


def test_nothing_of_a_platen_is_changed_by_what_it_is_given(row):
    """The chain takes the film, and nothing else, from the platen before."""
    rig = row[1].rig
    _, last = polish_in_turn([one.rig for one in row])
    assert replace(last.rig, wafer=rig.wafer) == rig
