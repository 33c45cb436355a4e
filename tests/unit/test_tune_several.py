"""One recipe for several incoming wafers, and for the chance of meeting limits."""

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import DataError
from planish.measure.sites.read import write_sites
from planish.measure.sites.wafers import read_wafers
from planish.tuning.amounts import amounts_at
from planish.tuning.chance.draws import COUNTED, SEARCHED, Polished, draws_of, polished
from planish.tuning.chance.meet import FIGURES, Meet, figures, met, read_limits
from planish.tuning.chance.response import Sides, response
from planish.tuning.course import Course, Settings
from planish.tuning.doses import Doses
from planish.tuning.incoming import as_profile, wafers_coming
from planish.tuning.limits import Freedom
from planish.tuning.search import Search

KEPT = ["recipe.step.'touch down'", "recipe.step.buff"]
LIMITS = {"thickness": "430..470 nm", "wiwnu_sigma_percent": "..0.5"}
RUNS = Path(__file__).parents[2] / "examples" / "data" / "runs"


def _sites(wafer, dome, edge, mean):
    """Sites of an invented wafer as rows of a table."""
    rows = [(0.0, 0.0)] + [(r, a) for r in (40, 80, 110, 130, 146) for a in range(0, 360, 45)]
    return [
        f"{wafer},{r},{a},{mean + dome * (r / 150) ** 2 + edge * (r / 150) ** 8 + np.cos(np.radians(a)) * r / 150:.3f}"
        for r, a in rows
    ]


@pytest.fixture(scope="module")
def lot(tmp_path_factory):
    file = tmp_path_factory.mktemp("lot") / "lot.csv"
    rows = [*_sites("W1", 30, 6, 1000), *_sites("W2", 12, -10, 1008), *_sites("W3", 22, 14, 994)]
    file.write_text("wafer,r_mm,theta_deg,thickness_nm\n" + "\n".join(rows) + "\n")
    return file


@pytest.fixture(scope="module")
def setup():
    return planish.loads(planish.new_setup("rotary"))


@pytest.fixture(scope="module")
def found(setup, lot):
    return planish.tune(setup, incoming=lot, target="450 nm", keep=KEPT)


@pytest.fixture(scope="module")
def chosen(setup, lot):
    return planish.tune(
        setup,
        incoming=lot,
        keep=KEPT,
        meet=LIMITS,
        spreads=False,
        over_wafers=30,
        draws=60,
        seed=4,
        workers=1,
    )


def test_one_wafer_is_tuned_as_by_itself_to_the_bit(setup, lot):
    """By hand: the search on that wafer alone, as where one wafer was all there was."""
    wafer = read_wafers(lot)[0][1]
    made = planish.tune(setup, incoming=[wafer], target="450 nm", bounds={"time": "5..120 s"}, keep=KEPT)
    rig = wafers_coming(setup, wafer).middle
    before = planish.polish(rig)
    start = Settings(
        np.stack([step.zone_pressures for step in rig.steps]),
        np.array([step.ring_pressure for step in rig.steps]),
        np.array([step.duration for step in before.steps]),
    )
    course = Course(rig)
    freedom = Freedom(
        setup, start, bounds={"time": "5..120 s"}, keep=KEPT, neighbour=None, most_time=None, time_words=""
    )
    search = Search(course, freedom, np.full(course.radius.size, 450e-9))
    by_hand = freedom.rounded(search.improve(search.start(course.run(start))).run.settings)
    for index, step in enumerate(made.after.rig.steps):
        assert np.allclose(step.zone_pressures, by_hand.zones[index], rtol=1e-12)
        if step.stop == "time":
            assert step.stop_value == pytest.approx(by_hand.time[index], rel=1e-12)
        else:
            assert made.after.steps[index].duration == pytest.approx(by_hand.time[index], rel=1e-4)
    alone = planish.tune(setup, incoming=wafer, target="450 nm", bounds={"time": "5..120 s"}, keep=KEPT)
    assert alone.document() == made.document()
    assert not alone.wafers
    assert "wafers" not in alone.document()


def test_several_wafers_get_one_recipe(found):
    summary, rows = found.summary(), found.document()["wafers"]
    assert [row["wafer"] for row in rows] == [f"lot.csv, wafer W{number}" for number in (1, 2, 3)]
    left = [row["mean_remaining_after_nm"] for row in rows]
    assert np.mean(left) == pytest.approx(450.0, abs=0.1)
    shares = [row["wiwnu_sigma_percent_after"] for row in rows]
    assert summary["wiwnu_sigma_percent_after"] == pytest.approx(np.mean(shares))
    assert summary["worst_wiwnu_sigma_percent_after"] == max(shares)
    assert summary["wiwnu_sigma_percent_after"] < summary["wiwnu_sigma_percent_before"]
    rms = np.sqrt(np.mean([row["off_target_sigma_after_nm"] ** 2 for row in rows]))
    assert summary["off_target_sigma_after_nm"] == pytest.approx(rms)
    # the same is taken from each, so that what no setting mends is left
    assert rms >= 0.98 * summary["incoming_profiles_sigma_nm"]
    assert np.std(left) == pytest.approx(summary["incoming_means_sigma_nm"], rel=0.05)
    # cos(angle) r/150 is what the sites were made to differ by round the wafer
    radius = np.array([0.0] + [r for r in (40, 80, 110, 130, 146) for _ in range(8)])
    around = np.sqrt(np.mean((radius / 150) ** 2 / 2))
    # and the smooth map through the sites leaves some of their edge out, which counts too
    assert 0.95 * around < summary["incoming_round_sigma_nm"] < 2.0 * around


def test_wafers_come_from_files_folders_and_tables_of_runs(setup, lot, tmp_path):
    assert len(wafers_coming(setup, RUNS / "runs.csv").rigs) == 6
    for number, (_, sites) in enumerate(read_wafers(lot)):
        write_sites(sites, tmp_path / f"{number}.csv")
    folder = wafers_coming(setup, tmp_path)
    assert folder.names == ("0.csv", "1.csv", "2.csv")
    files = wafers_coming(setup, [tmp_path / name for name in folder.names])
    assert np.array_equal(files.middle.wafer.films[0].profile, folder.middle.wafer.films[0].profile)


def test_the_chance_is_higher_than_with_the_plain_settings(chosen):
    summary, chance = chosen.summary(), chosen.chance
    assert chance.better
    assert summary["chance_percent"] > summary["chance_plain_percent"]
    assert summary["chance_low_percent"] < summary["chance_percent"] < summary["chance_high_percent"]
    assert summary["chance_percent"] == pytest.approx(100 * chance.chosen.met.mean())
    assert summary["fails_most"] in [row["limit"] for row in chosen.document()["meet"]]
    assert abs(summary["chance_foreseen_percent"] - summary["chance_percent"]) < 20
    assert any("other" in note and "drawn" in note for note in chosen.notes)


def test_what_is_counted_is_what_polish_leaves(setup, lot, chosen):
    """A draw without spreads on a new pad is the wafer itself."""
    coming = wafers_coming(setup, lot)
    steps = chosen.after.rig.steps
    settings = Settings(
        np.stack([step.zone_pressures for step in steps]),
        np.array([step.ring_pressure for step in steps]),
        np.array([record.duration for record in chosen.after.steps]),
    )
    amounts = tuple(None if step.stop == "time" else step.stop_value for step in steps)
    tops = tuple(as_profile(rig) for rig in coming.rigs)
    of = Polished(setup, (), tops, np.zeros((0, 1)), (settings,), (amounts,))
    draws = draws_of(3, 0, 3, 0, 1, COUNTED)
    for wafer, left in zip(draws.wafer, polished(of, draws, workers=1), strict=True):
        record = chosen.wafers[wafer].after
        values = figures(read_limits({"thickness": "0 nm.."}), left, Course(coming.middle).counted.shares)
        assert values[0, 0] == pytest.approx(1e9 * record.mean(record.remaining.sum(axis=0)), rel=1e-6)


def test_draws_are_foreseen_as_the_full_model_has_them(setup, lot):
    """With the rate moved, other wafers and other settings; the rate's spread is 5 %."""
    from planish.predict.wafer.bands import spreads

    coming = wafers_coming(setup, lot)
    rig = coming.middle
    start = Settings(
        np.stack([step.zone_pressures for step in rig.steps]),
        np.array([step.ring_pressure for step in rig.steps]),
        np.array([step.stop_value if step.stop == "time" else 65.0 for step in rig.steps]),
    )
    freedom = Freedom(setup, start, bounds={}, keep=KEPT, neighbour=None, most_time=None, time_words="")
    doses = Doses(freedom, start)
    moved = [one for one in spreads(setup) if one.name == "rate of oxide"]
    sides = Sides(setup, moved, Course(rig), start)
    draws = draws_of(6, 1, 3, 0, 2, SEARCHED)
    tops = tuple(as_profile(one) for one in coming.rigs)
    near = response(sides, freedom, doses, start, draws, tops, np.zeros((0, 1)))
    by = np.linspace(-0.3, 0.3, near.doses.size)
    other = doses.unpack(near.doses + by)
    amounts = tuple(amounts_at(sides.middle, sides.middle.run(one)) for one in (start, other))
    of = Polished(setup, sides.moved, tops, np.zeros((0, 1)), (start, other), amounts)
    full = np.stack(polished(of, draws, workers=1))
    removed = near.coming - full[:, 0]
    assert np.abs(near.left(np.zeros(by.size)) - full[:, 0]).max() < 2e-3 * removed.max()
    assert np.abs(near.left(by) - full[:, 1]).max() < 1e-2 * removed.max()
    # and its gradient is that of differences
    slope = np.random.default_rng(1).standard_normal(full[:, 0].shape)
    for number in (0, by.size - 1):
        size = np.zeros(by.size)
        size[number] = 1e-4
        ways = [float((slope * near.left(by + sign * size)).sum()) for sign in (1, -1)]
        assert near.pulled(by, slope)[number] == pytest.approx((ways[0] - ways[1]) / 2e-4, rel=1e-4, abs=1e-4)


def test_draws_are_the_same_for_any_workers_and_not_those_searched_with():
    short, long = (draws_of(count, 2, 5, 40, 7, COUNTED) for count in (10, 30))
    assert np.array_equal(short.amounts, long.amounts[:10])
    assert np.array_equal(short.wafer, long.wafer[:10])
    assert not np.array_equal(short.amounts, draws_of(10, 2, 5, 40, 7, SEARCHED).amounts)
    many = draws_of(20_000, 1, 4, 10, 0, COUNTED)
    assert np.abs(many.amounts).max() <= 3.0
    assert many.amounts.std() == pytest.approx(0.9866, abs=0.02)  # of a normal cut off at three
    assert np.bincount(many.wafer) / 20_000 == pytest.approx(np.full(4, 0.25), abs=0.02)
    assert (many.age.min(), many.age.max()) == (1, 10)


def test_figures_and_their_slopes():
    rng = np.random.default_rng(2)
    left, shares = 500.0 + rng.normal(0, 20, (3, 9)), np.full(9, 1 / 9)
    for key, one in FIGURES.items():
        found = one.of(left, shares)
        size = 1e-4 * rng.standard_normal(left.shape)
        ways = [one.of(left + sign * size, shares).value for sign in (1, -1)]
        assert (found.slope * size).sum(axis=1) == pytest.approx(
            0.5 * (ways[0] - ways[1]), rel=1e-4, abs=1e-9
        ), key
    limit = read_limits({"wiwnu_sigma_percent": "..3"})
    assert limit == (Meet("wiwnu_sigma_percent", -np.inf, 3.0),)
    assert read_limits({"thickness": "0.54..0.56 um"})[0].middle == pytest.approx(550.0)
    assert met(limit, np.array([[2.9], [3.1]])).tolist() == [[True], [False]]


def test_the_answers_are_saved_and_drawn(found, chosen, tmp_path):
    for answer, axes in ((found, 4), (chosen, 6)):
        read = planish.open_result(answer.save(tmp_path / "tuned.nc"))
        assert read.summary() == pytest.approx(answer.summary())
        assert len(read.plot().axes) == len(answer.plot().axes) == axes


def test_the_command_takes_many_wafers_and_limits(setup, lot, chosen, tmp_path):
    file = tmp_path / "setup.toml"
    file.write_text(setup.to_toml())
    words = [
        "tune",
        str(file),
        "--incoming",
        str(lot),
        "--no-spreads",
        "--over-wafers",
        "30",
        "--draws",
        "60",
    ]
    words += ["--seed", "4", "--workers", "1", "--json"]
    for path in KEPT:
        words += ["--keep", path]
    for key, text in LIMITS.items():
        words += ["--meet", f"{key}={text}"]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told["steps"] == chosen.document()["steps"]
    assert told["chance_percent"] == chosen.summary()["chance_percent"]


def test_where_the_search_finds_nothing_better_the_plain_settings_are_kept(setup, lot):
    made = planish.tune(
        setup, incoming=lot, target="450 nm", keep=KEPT, meet={"thickness": "300..600 nm"}, spreads=False, draws=20,
        workers=1,
    )  # fmt: skip
    assert not made.chance.better
    assert made.summary()["chance_percent"] == made.summary()["chance_plain_percent"] == 100.0
    assert made.summary()["fails_most"] is None
    assert any("the plain settings are kept" in note for note in made.notes)
    assert made.changes == planish.tune(setup, incoming=lot, target="450 nm", keep=KEPT).changes


def test_the_mean_of_several_is_known_as_far_out_as_they_are(found):
    """The outermost site lies at 146 mm: no farther is anything said to be known."""
    assert any("beyond 146 mm" in note for note in found.notes)


def test_sites_along_a_line_are_a_profile(setup, tmp_path):
    """Both sides of a diameter are averaged: the film that comes in is their mean, and the answer says so."""
    rows = [f"{x},0,{1000 + 0.1 * abs(x) + 0.05 * x:.4f}" for x in range(-145, 146, 10)]
    line = tmp_path / "line.csv"
    line.write_text("x_mm,y_mm,thickness_nm\n" + "\n".join(rows) + "\n")
    coming = wafers_coming(setup, line)
    radius, values = coming.middle.wafer.films[0].profile
    assert 1e9 * values == pytest.approx(1000 + 0.1e3 * radius, abs=1e-6)
    assert any("lie on one line" in note for note in coming.notes)
    assert coming.round[0] == pytest.approx(
        np.sqrt(np.mean((0.05 * np.arange(-145, 146, 10)) ** 2)) * 1e-9, rel=1e-6
    )


def test_the_same_sites_twice_are_told(setup, lot):
    coming = wafers_coming(setup, [lot, lot])
    assert len(coming.rigs) == 6
    assert sum("the same sites" in note for note in coming.notes) == 3


def test_columns_told_once_are_taken_for_incoming_files(setup, tmp_path):
    file, told = tmp_path / "odd.csv", tmp_path / "columns.toml"
    rows = [
        f"{r * np.cos(a):.3f},{r * np.sin(a):.3f},{9800 + r:.1f}"
        for r in (30, 50, 100, 140)
        for a in (0, 1, 2, 3.5, 5)
    ]
    file.write_text("eins,zwei,drei\n" + "\n".join(rows) + "\n")
    with pytest.raises(DataError, match="--columns MAP"):
        wafers_coming(setup, file)
    words = ["--column", "x=eins", "--column", "y=zwei", "--column", "thickness=drei"]
    units = ["--unit", "x=mm", "--unit", "y=mm", "--unit", "thickness=angstrom"]
    after = tmp_path / "after.csv"
    after.write_text(file.read_text().replace("98", "48"))
    asked = CliRunner().invoke(
        app, ["measure", str(file), str(after), *words, *units, "--remember", str(told)]
    )
    assert asked.exit_code == 0, asked.output
    coming = wafers_coming(setup, file, told)
    assert 1e9 * coming.middle.wafer.films[0].thickness == pytest.approx(
        0.1 * np.mean([9800 + r for r in (30, 50, 100, 140)]), abs=1e-3
    )
