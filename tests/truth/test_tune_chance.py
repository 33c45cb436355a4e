"""The chance of meeting limits against closed forms, and settings for several wafers against a general solver.

One zone, one spread, that of the rate: what is removed is R0 exp(s z), z standard normal cut off at three, s^2 = ln(1 +
spread^2). The chance that A <= removed <= B is then a difference of two values of the normal distribution, and it is
highest where R0 = sqrt(A B): there the log-normal's ends lie as far to both sides.
"""

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import norm

import planish
from planish.predict.wafer.bands import spreads, with_rate
from planish.tuning.chance import solve
from planish.tuning.chance.counted import share_of
from planish.tuning.course import Course, Settings
from planish.tuning.limits import Freedom
from planish.tuning.search import Search
from planish.tuning.several import Several, influence
from planish.units import PSI

KEPT = ["recipe.step.main.zone_pressures", "recipe.step.main.ring_pressure"]
SPREAD = 0.2
TIMED = {"stop_on_removed": None, "max_time": None, "time": "60 s"}  # else the rate goes into the time alone


def _one_zone(**step):
    """One step, one zone, and a slurry that is never spent, so that what is removed goes with the rate."""
    setup = planish.loads(planish.new_setup("rotary"))
    main = {**setup.document["recipe"]["step"][1], "zone_pressures": "3 psi", **step}
    main = {key: value for key, value in main.items() if value is not None}
    return setup.replace(
        {
            "recipe.step": [main],
            "head.part": "one-zone-300",
            "removal.oxide.spread": SPREAD,
            "slurry.capacity": 1,
        }
    )


@pytest.fixture(scope="module")
def rate_alone():
    """Only the rate's spread is drawn."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            solve, "spreads", lambda setup: [one for one in spreads(setup) if one.name == "rate of oxide"]
        )
        yield planish.tune(
            _one_zone(**TIMED), keep=KEPT, meet={"thickness": "300..600 nm"}, draws=1000, seed=3, workers=1
        )


def _closed(removed, low, high):
    width = np.sqrt(np.log1p(SPREAD**2))
    ends = np.clip(np.log(np.array([low, high]) / removed) / width, -3.0, 3.0)
    return float(np.diff(norm.cdf(ends))[0] / (norm.cdf(3.0) - norm.cdf(-3.0)))


def test_what_is_removed_goes_with_the_rate_in_this_case():
    rig = _one_zone(**TIMED).rig
    wafers = [planish.polish(with_rate(rig, "oxide", factor)) for factor in (0.7, 1.0, 1.3)]
    removed = np.array([wafer.mean((wafer.incoming - wafer.remaining).sum(axis=0)) for wafer in wafers])
    assert removed / removed[1] == pytest.approx(np.array([0.7, 1.0, 1.3]), rel=1e-4)


def _removed(wafer):
    return 1e9 * wafer.mean((wafer.incoming - wafer.remaining).sum(axis=0))


def test_the_counted_chances_are_those_of_the_normal_distribution(rate_alone):
    """Of the plain settings, which leave the middle of the limits, and of those chosen."""
    for removed, count in (
        (550.0, rate_alone.chance.plain),
        (_removed(rate_alone.after), rate_alone.chance.chosen),
    ):
        closed, chance = _closed(removed, 400.0, 700.0), count.chance
        assert chance.low <= closed <= chance.high
        assert chance.high - chance.low < 0.1


def test_the_settings_chosen_have_nearly_the_highest_chance_there_is(rate_alone):
    """The highest is where the geometric middle is removed; about it the chance is flat."""
    best, plain = (_closed(removed, 400.0, 700.0) for removed in (np.sqrt(400.0 * 700.0), 550.0))
    chosen = _closed(_removed(rate_alone.after), 400.0, 700.0)
    assert rate_alone.chance.better
    assert plain < chosen <= best
    assert best - chosen < 0.003


def test_a_step_that_stops_on_an_amount_leaves_it_whatever_the_rate():
    """The same question of the same setup with its own stop: every draw meets the limits, none minds the rate."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            solve, "spreads", lambda setup: [one for one in spreads(setup) if one.name == "rate of oxide"]
        )
        made = planish.tune(_one_zone(), keep=KEPT, meet={"thickness": "449..451 nm"}, draws=20, workers=1)
    (row,) = made.document()["meet"]
    assert made.chance.plain.chance.share == 1.0
    assert row["p95"] - row["p5"] < 0.05


@pytest.mark.parametrize(("count", "of"), [(0, 20), (7, 20), (150, 200), (200, 200)])
def test_the_interval_is_wilsons(count, of):
    """The formula as the documentation of the cicalc package gives it for Wilson's interval, z = 1.96."""
    z, share = norm.ppf(0.975), count / of
    half = z * np.sqrt(share * (1 - share) / of + z**2 / (4 * of**2))
    ends = (share + z**2 / (2 * of) + np.array([-half, half])) / (1 + z**2 / of)
    found = share_of(count, of)
    assert (found.low, found.high) == pytest.approx(tuple(ends), abs=1e-12)


PROFILES = (
    [1030, 1000, 1005, 975],
    [1010, 1004, 1012, 1000],
    [1020, 1015, 990, 985],
)


def _several(motion, steps):
    setup = planish.loads(planish.new_setup(motion))
    if steps == 1:
        setup = setup.replace({"recipe.step": [setup.document["recipe"]["step"][1]]})
    places = ["0 mm", "60 mm", "110 mm", "150 mm"]
    made = [
        setup.replace(
            {
                "wafer.film.1.thickness": None,
                "wafer.film.1.profile": [[p, f"{t} nm"] for p, t in zip(places, row, strict=True)],
            }
        )
        for row in PROFILES
    ]
    rig = made[0].rig
    start = Settings(
        np.stack([step.zone_pressures for step in rig.steps]),
        np.array([step.ring_pressure for step in rig.steps]),
        np.array([step.stop_value if step.stop == "time" else 75.0 for step in rig.steps]),
    )
    freedom = Freedom(
        made[0],
        start,
        bounds={"zone_pressure": "1..6 psi", "ring_pressure": "1..8 psi"},
        keep=(),
        neighbour=1.5 * PSI,
        most_time=None,
        time_words="",
    )
    return Several([Course(one.rig) for one in made]), freedom, start


@pytest.mark.parametrize(("motion", "steps"), [("rotary", 1), ("linear", 1)])
def test_several_wafers_are_no_worse_than_a_general_solver(motion, steps):
    """SciPy's SLSQP on the full model of all wafers: root mean square of sigma, the mean over all at the target."""
    several, freedom, start = _several(motion, steps)
    courses, rows = several.courses, freedom.rows
    disc, goal = courses[0].counted, 450e-9
    search = Search(several, freedom, np.full(sum(one.radius.size for one in courses), goal))
    begin = search.start(several.run(start))
    found = search.improve(begin)
    seen = {}

    def at(x):
        if x.tobytes() not in seen:
            side = several.run(freedom.unpack(x))
            slopes = np.split(influence(several, side, freedom.free), len(courses), axis=2)
            square, by_square, mean, by_mean = 0.0, 0.0, 0.0, 0.0
            for run, slope in zip(side.runs, slopes, strict=True):
                away = disc.read @ (run.stack - goal) / 1e-9
                by = disc.read @ freedom.columns(slope) / 1e-9
                own = float(disc.shares @ away)
                square += disc.shares @ (away - own) ** 2 / len(courses)
                by_square = by_square + 2 * (disc.shares * (away - own)) @ by / len(courses)
                mean += own / len(courses)
                by_mean = by_mean + disc.shares @ by / len(courses)
            sigma = np.sqrt(square)
            seen[x.tobytes()] = sigma, by_square / (2 * sigma), mean, by_mean
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
        options={"maxiter": 60, "ftol": 1e-7},
    )
    ours = at(freedom.pack(found.run.settings))
    assert abs(ours[2]) < 0.05
    assert ours[0] == pytest.approx(found.sigma, rel=1e-5)
    assert ours[0] < 1.01 * done.fun
    # what no setting mends is most of it
    tops = np.stack([one.incoming.sum(axis=0) for one in courses])
    left = np.sqrt(np.mean([disc.sigma(row) ** 2 for row in tops - tops.mean(axis=0)])) / 1e-9
    assert 0.98 * left < ours[0] < 1.3 * left
