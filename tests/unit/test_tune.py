"""Settings solved for: they meet the target, keep the limits, and say what the limits cost."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import minimize
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import SetupError
from planish.tuning.amounts import amounts_at
from planish.tuning.course import Course, Settings
from planish.tuning.doses import Doses
from planish.tuning.influence import influence, influence_and_bends
from planish.tuning.limits import Freedom
from planish.tuning.program import Asked, best_move, into_limits
from planish.tuning.search import Search
from planish.units import PSI

DOME = [["0 mm", "1030 nm"], ["60 mm", "1000 nm"], ["110 mm", "1005 nm"], ["150 mm", "975 nm"]]
KEPT = ["recipe.step.'touch down'", "recipe.step.buff"]


def _domed(motion="rotary", **changes):
    setup = planish.loads(planish.new_setup(motion))
    return setup.replace({"wafer.film.1.thickness": None, "wafer.film.1.profile": DOME, **changes})


@pytest.fixture(scope="module")
def domed():
    return _domed()


@pytest.fixture(scope="module")
def found(domed):
    return planish.tune(
        domed, target="450 nm", keep=KEPT, neighbour="1.5 psi", bounds={"zone_pressure": "1..6 psi"}
    )


def test_the_tuned_setup_leaves_the_target_more_even(domed, found):
    wafer = planish.polish(domed.replace(found.changes))
    left = wafer.remaining.sum(axis=0)
    assert 1e9 * wafer.mean(left) == pytest.approx(450.0, abs=0.1)
    summary = found.summary()
    assert 100 * wafer.sigma(left) / wafer.mean(left) == pytest.approx(summary["wiwnu_sigma_percent_after"])
    assert summary["wiwnu_sigma_percent_after"] < 0.5 * summary["wiwnu_sigma_percent_before"]


def test_limits_and_what_is_kept_are_kept(domed, found):
    steps = domed.replace(found.changes).rig.steps
    for index in (0, 2):
        assert np.array_equal(steps[index].zone_pressures, domed.rig.steps[index].zone_pressures)
        assert steps[index].stop_value == domed.rig.steps[index].stop_value
    zones = steps[1].zone_pressures / PSI
    assert zones.min() >= 1.0 - 1e-9
    assert zones.max() <= 6.0 + 1e-9
    assert np.abs(np.diff(zones)).max() <= 1.5
    assert steps[1].stop == "removed"
    assert any("stops on an amount as before" in note for note in found.notes)


def test_a_step_that_stops_on_an_amount_goes_on_doing_so(domed, found):
    """With a rate law of one constant, a fifth more of it takes a fifth more in timed steps alone."""
    row, tuned = found.document()["steps"][1], domed.replace(found.changes)
    assert row["stop_on_removed_nm"] == pytest.approx(1e9 * tuned.rig.steps[1].stop_value, abs=1e-6)
    plain, faster = (
        planish.polish(tuned.replace({"removal.oxide.rate": f"{rate} nm/min"})) for rate in (250, 300)
    )
    by_time = sum(plain.mean(plain.steps[at].removed) for at in (0, 2))
    less = plain.mean(plain.remaining[0]) - faster.mean(faster.remaining[0])
    assert less == pytest.approx(0.2 * by_time, rel=0.1)  # the pad is as warm as it was only nearly
    assert plain.steps[1].stopped_by == faster.steps[1].stopped_by == "removed amount"


def test_amounts_stop_the_solver_where_they_stop_the_wafer(domed, found):
    tuned = domed.replace({**found.changes, "removal.oxide.rate": "300 nm/min"})
    wafer, course = planish.polish(tuned), Course(tuned.rig)
    timed = Settings(
        np.stack([step.zone_pressures for step in tuned.rig.steps]),
        np.array([step.ring_pressure for step in tuned.rig.steps]),
        np.array([10.0, 60.0, 15.0]),  # of the second another than it takes
    )
    run = course.run(timed, amounts=(None, tuned.rig.steps[1].stop_value, None))
    assert run.left == pytest.approx(wafer.remaining, abs=2e-11)
    assert run.settings.time == pytest.approx([step.duration for step in wafer.steps], rel=1e-6)
    assert amounts_at(course, run)[1] == pytest.approx(tuned.rig.steps[1].stop_value, abs=1e-11)


def test_a_kept_step_keeps_its_amount(domed):
    found = planish.tune(domed, target="420 nm", keep=["recipe.step.main"])
    assert not any("main" in path for path in found.changes)
    wafer = planish.polish(domed.replace(found.changes))
    assert 1e9 * wafer.mean(wafer.remaining[0]) == pytest.approx(420.0, abs=0.1)
    with pytest.raises(SetupError, match=r"keep the whole step, recipe\.step\.main"):
        planish.tune(domed, target="420 nm", keep=["recipe.step.main.stop_on_removed"])


def test_kept_times_cost_no_evenness_that_pressures_give():
    """All times kept: pressures alone mend the mean, and lose next to nothing of the evenness by that."""
    setup = planish.loads(planish.new_setup("rotary"))
    keep = [f"recipe.step.{name}.time" for name in ("main", "buff", "'touch down'")]
    kept = planish.tune(setup, target="450 nm", keep=keep)
    assert [one.duration for one in kept.after.steps] == pytest.approx(
        [one.duration for one in kept.before.steps], rel=1e-3
    )
    assert kept.summary()["off_target_sigma_after_nm"] < 0.05


def test_of_limits_that_meet_one_end_is_told_at_its_price():
    """What a sliver of room on either side gains, found by giving it."""
    setup = planish.loads(planish.new_setup("rotary"))

    def sigma(low, high):
        bounds = {
            "zone_pressure": "2..4 psi",
            "recipe.step.main.zone_pressures.edge": f"{low}..{high} psi",
            "time": "10..80 s",
        }
        return planish.tune(
            setup, target="450 nm", bounds=bounds, keep=["recipe.step.'touch down'", "recipe.step.buff"]
        )

    tight = sigma(3, 3)
    held = [bound for bound in tight.bounds if bound.limit.place.endswith("zone_pressures.edge")]
    assert len(held) <= 1
    base = tight.summary()["off_target_sigma_after_nm"]
    gains = [base - sigma(*ends).summary()["off_target_sigma_after_nm"] for ends in ((2.99, 3), (3, 3.01))]
    if held:
        price = held[0].row()["worth"]
        assert price == pytest.approx(max(gains) / 0.01, rel=0.3)
    else:
        assert max(gains) < 1e-3


def test_a_price_is_what_more_room_gains(domed):
    """The sentence about a limit is checked by moving the limit."""

    def sigma(psi):
        made = planish.tune(
            domed,
            target="450 nm",
            keep=[*KEPT, "recipe.step.main.ring_pressure", "recipe.step.main.time"],
            bounds={"recipe.step.main.zone_pressures.edge": f"{psi} psi.."},
        )
        return made, made.summary()["off_target_sigma_after_nm"]

    (tight, least), (_, more) = sigma(2.9), sigma(2.88)
    named = {row["place"]: row for row in tight.document()["binding"]}
    row = named["recipe.step.main.zone_pressures.edge"]
    assert row["worth"] > 0
    assert (least - more) / 0.02 == pytest.approx(row["worth"], rel=0.25)


def test_no_worse_than_times_alone(domed):
    times = planish.tune(
        domed,
        target="450 nm",
        keep=[*KEPT, "recipe.step.main.zone_pressures", "recipe.step.main.ring_pressure"],
    )
    everything = planish.tune(domed, target="450 nm")
    assert list(times.changes) == ["recipe.step.main.stop_on_removed"]
    key = "wiwnu_sigma_percent_after"
    assert everything.summary()[key] < times.summary()[key]
    assert everything.summary()["mean_remaining_after_nm"] == pytest.approx(450.0, abs=0.1)


@pytest.mark.parametrize("motion", ["linear", "orbital"])
def test_other_motions(motion):
    made = planish.tune(_domed(motion), target="450 nm", keep=KEPT, neighbour="1.5 psi").summary()
    assert made["mean_remaining_after_nm"] == pytest.approx(450.0, abs=0.1)
    assert made["wiwnu_sigma_percent_after"] < made["wiwnu_sigma_percent_before"]


def test_the_ring_stays_off(domed):
    off = domed.replace({"recipe.step.main.ring_pressure": "0 psi"})
    made = planish.tune(off, target="450 nm", keep=KEPT)
    assert off.replace(made.changes).rig.steps[1].ring_pressure == 0.0
    assert any("the ring is off" in note for note in made.notes)


def test_one_zone_leaves_ring_and_time():
    setup = _domed(**{"head.part": "one-zone-300", "recipe.step.main.zone_pressures": "3 psi"})
    made = planish.tune(setup, target="450 nm", keep=KEPT)
    assert made.summary()["mean_remaining_after_nm"] == pytest.approx(450.0, abs=0.1)
    assert len(made.document()["steps"][1]["zone_pressures_kPa"]) == 1


def test_a_wanted_profile_is_followed(domed, tmp_path):
    sites = tmp_path / "wanted.csv"
    rows = ["0,0,460"]
    for radius in (40, 80, 120, 147):
        rows += [f"{radius},{angle},{460 - 20 * (radius / 147) ** 2:.3f}" for angle in (0, 90, 180, 270)]
    sites.write_text("r_mm,theta_deg,thickness_nm\n" + "\n".join(rows) + "\n")
    made = planish.tune(domed, profile=sites, keep=KEPT)
    summary = made.summary()
    assert summary["off_target_sigma_after_nm"] < 0.5 * summary["off_target_sigma_before_nm"]


def test_least_rate_bounds_the_time(domed):
    free = planish.tune(domed, target="450 nm", keep=KEPT).summary()
    rate = 1.1 * free["mean_removal_rate_after_nm_per_min"]
    fast = planish.tune(domed, target="450 nm", keep=KEPT, least_rate=f"{rate} nm/min").summary()
    assert fast["mean_removal_rate_after_nm_per_min"] >= rate * (1 - 1e-4)


def test_the_answer_is_saved_and_drawn(found, tmp_path):
    read = planish.open_result(found.save(tmp_path / "tuned.nc"))
    assert read.summary() == pytest.approx(found.summary())
    assert len(read.plot().axes) == len(found.plot().axes) == 4


def test_the_command_says_and_writes_what_the_function_does(domed, found, tmp_path):
    file, out = tmp_path / "setup.toml", tmp_path / "tuned.toml"
    file.write_text("# a remark of mine\n" + domed.to_toml().partition("\n")[2])
    words = [
        "tune",
        str(file),
        "--target",
        "450 nm",
        "--neighbour",
        "1.5 psi",
        "--bound",
        "zone_pressure=1..6psi",
    ]
    for path in KEPT:
        words += ["--keep", path]
    done = CliRunner().invoke(app, [*words, "--json", "--out", str(out)])
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told["steps"] == found.document()["steps"]
    assert {"zone_pressures_kPa", "ring_pressure_kPa", "time_s"} <= set(told["steps"][0])
    assert out.read_text().startswith("# a remark of mine")
    assert planish.load(out) == domed.replace(found.changes)
    assert "to polish with these settings" in CliRunner().invoke(app, words).stdout


def test_a_program_without_limits_is_least_squares():
    rng = np.random.default_rng(4)
    slopes, away = rng.standard_normal((12, 3)), rng.standard_normal(12)
    shares = np.full(12, 1 / 12)
    far = np.full(3, 50.0)
    asked = Asked(away, shares, slopes, np.zeros((3, 3)), np.zeros((1, 3)), np.ones(1), -far, far, 0.0, 1e6)
    centred = slopes - slopes.mean(axis=0)
    # least variance with the mean at 0: eliminate the mean by a multiplier
    system = np.block(
        [[2 * slopes.T @ slopes / 12, slopes.mean(axis=0)[:, None]], [slopes.mean(axis=0), np.zeros(1)]]
    )
    best = np.linalg.solve(system, np.append(-2 * slopes.T @ away / 12, -away.mean()))[:3]
    assert best_move(asked).by == pytest.approx(best, abs=1e-5)
    assert centred.shape == slopes.shape
    held = replace(asked, rows=np.array([[1.0, 0.0, 0.0]]), room=np.array([best[0] - 0.1]))
    assert best_move(held).by[0] == pytest.approx(best[0] - 0.1, abs=1e-5)
    assert best_move(held).prices[0] > 0


def test_doses_are_another_way_to_say_settings():
    """Limits hold for doses where they hold for settings, and slopes by doses are those of differences."""
    setup = _domed()
    course, freedom, start = _searched(setup)
    doses = Doses(freedom, start)
    rng = np.random.default_rng(3)
    for _ in range(5):
        x = freedom.pack(start) * rng.uniform(0.6, 1.5, freedom.scale.size)
        settings = freedom.unpack(x)
        packed = doses.pack(settings)
        assert freedom.pack(doses.unpack(packed)) == pytest.approx(x)
        kept = freedom.rows.matrix @ x <= freedom.rows.most
        assert np.array_equal(doses.matrix @ packed <= doses.most, kept)
    run = course.run(start)
    answers = influence_and_bends(course, run, freedom.free)
    read, at = course.counted.read, doses.pack(start)
    slopes, bends = doses.slopes(at, read, answers.first), doses.bends(at, read, answers)
    for number in (1, int(freedom.times[1])):
        size = np.zeros(at.size)
        size[number] = 0.02
        ways = [course.run(doses.unpack(at + sign * size)) for sign in (1, -1)]
        first = read @ (ways[0].stack - ways[1].stack) / 0.04
        assert np.abs(slopes[:, number] - first).max() < 0.02 * np.abs(slopes).max()
        firsts = [
            doses.slopes(at + sign * size, read, influence(course, way, freedom.free))
            for sign, way in zip((1, -1), ways, strict=True)
        ]
        second = (firsts[0] - firsts[1]) / 0.04
        # what doses leave of the bends is small, and the rate is taken as a power of the pressure
        assert np.abs(bends[:, :, number] - second).max() < 0.2 * np.abs(second).max()


def _searched(setup):
    rig = setup.rig
    start = Settings(
        np.stack([step.zone_pressures for step in rig.steps]),
        np.array([step.ring_pressure for step in rig.steps]),
        np.array([step.stop_value if step.stop == "time" else 75.0 for step in rig.steps]),
    )
    bounds = {"zone_pressure": "1..6 psi", "ring_pressure": "1..8 psi"}
    freedom = Freedom(
        setup, start, bounds=bounds, keep=(), neighbour=1.5 * PSI, most_time=None, time_words=""
    )
    return Course(rig), freedom, start


def test_no_worse_than_a_general_solver_on_the_full_model():
    """SciPy's SLSQP from the same start within the same limits, with the same wafers and their derivatives."""
    setup = _domed()
    course, freedom, start = _searched(setup)
    goal, counted, rows = np.full(course.radius.size, 450e-9), course.counted, freedom.rows
    search = Search(course, freedom, goal)
    begin = search.start(course.run(start))
    found = search.improve(begin)
    seen = {}

    def at(x):
        if x.tobytes() not in seen:
            run = course.run(freedom.unpack(x))
            away = counted.read @ (run.stack - goal) / 1e-9
            slopes = counted.read @ freedom.columns(influence(course, run, freedom.free)) / 1e-9
            mean = counted.shares @ away
            sigma = np.sqrt(counted.shares @ (away - mean) ** 2)
            seen[x.tobytes()] = (
                sigma, (counted.shares * (away - mean)) @ slopes / sigma, mean, counted.shares @ slopes
            )  # fmt: skip
        return seen[x.tobytes()]

    limits = [
        {"type": "eq", "fun": lambda x: at(x)[2], "jac": lambda x: at(x)[3][None]},
        {"type": "ineq", "fun": lambda x: rows.most - rows.matrix @ x, "jac": lambda x: -rows.matrix},
    ]
    done = minimize(
        lambda x: at(x)[0],
        freedom.pack(begin.settings),
        jac=lambda x: at(x)[1],
        method="SLSQP",
        constraints=limits,
        options={"maxiter": 60, "ftol": 1e-6},
    )
    assert abs(found.gap) < 0.05
    assert found.sigma < 1.01 * done.fun
    assert found.runs < 0.5 * len(seen)


def test_limits_that_leave_nothing_are_told():
    rows = np.array([[1.0], [-1.0]])
    assert into_limits(np.array([0.5]), rows, np.array([1.0, 0.0])) == pytest.approx(np.array([0.5]))
    assert into_limits(np.array([3.0]), rows, np.array([1.0, 0.0])) == pytest.approx(
        np.array([1.0]), abs=1e-6
    )
    assert into_limits(np.array([3.0]), rows, np.array([1.0, -2.0])) is None


@pytest.mark.parametrize("name", ["rotary", "linear", "orbital", "three-zone-copper"])
def test_the_ring_of_one_step_alone_is_solved_for(name):
    """Few unknowns of very unlike worth once took the quadratic program round in circles to its last iteration."""
    setup = planish.load(Path(__file__).parents[2] / "examples" / f"{name}.toml")
    before = planish.polish(setup)
    left = before.mean(before.remaining.sum(axis=0))
    steps = setup.rig.steps
    start = Settings(
        np.stack([step.zone_pressures for step in steps]),
        np.array([step.ring_pressure for step in steps]),
        np.array([step.duration for step in before.steps]),
    )
    main = max(range(len(steps)), key=lambda at: before.mean(before.steps[at].removed))
    keep = [f"recipe.step.{at + 1}" for at in range(len(steps)) if at != main]
    keep.append(f"recipe.step.{main + 1}.zone_pressures")
    freedom = Freedom(setup, start, bounds={}, keep=keep, neighbour=None, most_time=None, time_words="")
    course = Course(setup.rig)
    search = Search(course, freedom, np.full(course.radius.size, left))
    begin = search.start(course.run(start))
    found = search.improve(begin)
    assert found.sigma <= search.measures(begin)[0]
    assert abs(found.gap) < 0.05
