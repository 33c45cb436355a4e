"""Platens in a row against closed forms and a general solver.

Preston's law without heat, on pads that do not soften, without spent slurry or a power of the grains: what a platen removes
is its rate times its time, whatever comes in, and what several remove adds up. With pressures kept, the most even wafer
of a thickness is then a matter of least squares in the times.
"""

import numpy as np
import pytest
from scipy.optimize import minimize

import planish
from planish.predict.wafer.counted import counted
from planish.predict.wafer.platens import polish_in_turn
from planish.tuning.course import settings_of
from planish.tuning.platens.course import RowCourse, RowSettings
from planish.tuning.platens.freedom import Clock
from planish.tuning.platens.tune import Free, RowAsked
from planish.tuning.search import Search
from planish.tuning.several import influence

PLAIN = {
    "removal.oxide.activation_energy": "0 kJ/mol",
    "slurry.summit_power": 0.0,
    "slurry.capacity": 1,
    "pad.top.softening": "0 %/K",
    "pad.sub.softening": "0 %/K",
}
TARGET = 400.0  # nm


def _platen(zones, time, **changes):
    base = planish.loads(planish.new_setup("rotary"))
    main = dict(base.document["recipe"]["step"][1])
    for key in ("stop_on_removed", "max_time"):
        del main[key]
    main |= {"zone_pressures": zones, "time": time}
    return base.replace({**changes, **PLAIN, "recipe.step": [main]})


def _row():
    """Two platens that remove unevenly, one more from the middle, one more from the edge, on different pads."""
    falling = ["4 psi", "3.8 psi", "3.2 psi", "2.8 psi", "2.6 psi"]
    rising = ["2 psi", "2.1 psi", "2.4 psi", "2.8 psi", "3 psi"]
    return _platen(falling, "20 s"), _platen(rising, "20 s", **{"pad.part": "medium-microporous"})


def _incoming(setup, radius, thickness):
    pairs = [[f"{1e3 * r:.12g} mm", f"{t:.12g} nm"] for r, t in zip(radius, thickness, strict=True)]
    return setup.replace({"wafer.film.1.thickness": None, "wafer.film.1.profile": pairs})


@pytest.fixture(scope="module")
def shapes():
    """Radius, and what each platen removes in a second [nm]."""
    wafers = [planish.polish(setup) for setup in _row()]
    longer = planish.polish(_row()[0].replace({"recipe.step.main.time": "40 s"}))
    assert longer.removed == pytest.approx(2 * wafers[0].removed, rel=1e-9)  # so this case is as said
    return wafers[0], [1e9 * wafer.removed / 20.0 for wafer in wafers]


KEPT = ["recipe.step.main.zone_pressures", "recipe.step.main.ring_pressure"]


def _closed(wafer, shapes, coming):
    """Return the times of least variance whose mean is the target: least squares with one multiplier."""
    disc = counted(wafer.radius, wafer.areas, wafer.rig.wafer.radius - wafer.rig.wafer.edge_exclusion)
    rates, away = disc.read @ np.stack(shapes, axis=1), disc.read @ coming - TARGET
    gram, means = rates.T @ (disc.shares[:, None] * rates), disc.shares @ rates
    system = np.block([[gram, means[:, None]], [means, np.zeros(1)]])
    best = np.linalg.solve(system, np.append(rates.T @ (disc.shares * away), disc.shares @ away))[:2]
    return best, float(np.sqrt(disc.shares @ (away - rates @ best) ** 2))


@pytest.mark.parametrize("beyond", [0.0, 6.0])
def test_times_are_those_of_least_squares(shapes, beyond):
    """Where the incoming film is what 60 s and 45 s remove, to the letter; and with a wave that no time mends."""
    wafer, each = shapes
    wave = beyond * np.cos(5 * wafer.radius / 0.15)
    coming = TARGET + 60 * each[0] + 45 * each[1] + wave
    best, sigma = _closed(wafer, each, coming)
    if not beyond:
        assert best == pytest.approx([60.0, 45.0], rel=1e-9)
    one, other = _row()
    found = planish.tune(
        [_incoming(one, wafer.radius, coming), other],
        target=f"{TARGET} nm",
        keep=KEPT,
        bounds={"time": "5..200 s"},
    )
    assert [row["time_after_s"] for row in found.document()["platens"]] == pytest.approx(best, abs=0.05)
    figures = found.summary()
    assert figures["off_target_sigma_after_nm"] == pytest.approx(sigma, abs=2e-3)
    assert figures["mean_remaining_after_nm"] == pytest.approx(TARGET, abs=0.05)


def test_the_price_of_a_time_is_the_slope_of_the_closed_form(shapes):
    """The first platen may take 50 s, the second makes up the mean: sigma falls by so much a second more."""
    wafer, each = shapes
    coming = TARGET + 60 * each[0] + 45 * each[1] + 6.0 * np.cos(5 * wafer.radius / 0.15)
    disc = counted(wafer.radius, wafer.areas, wafer.rig.wafer.radius - wafer.rig.wafer.edge_exclusion)
    means = [disc.mean(one) for one in each]

    def sigma(first):
        second = (disc.mean(coming) - TARGET - first * means[0]) / means[1]
        return disc.sigma(coming - first * each[0] - second * each[1])

    one, other = _row()
    found = planish.tune(
        [_incoming(one, wafer.radius, coming), other],
        target=f"{TARGET} nm",
        keep=KEPT,
        bounds={"time": "5..200 s", "platen.1.time": "..50 s"},
    )
    (row,) = [row for row in found.document()["binding"] if row["place"].startswith("platen.1")]
    assert row["worth"] == pytest.approx(-(sigma(50.01) - sigma(49.99)) / 0.02, rel=0.02)
    assert found.summary()["off_target_sigma_after_nm"] == pytest.approx(sigma(50.0), abs=2e-3)


@pytest.mark.parametrize("seed", [1, 2])
def test_no_worse_than_a_general_solver_on_the_whole_chain(seed):
    """SciPy's SLSQP on the same chain, with the same slopes, limits and start: within 1 %, and never worse than before."""
    rng = np.random.default_rng(seed)
    radius = np.linspace(0.0, 0.15, 16)
    share = radius / 0.15
    dome, edge = rng.normal(0.0, [15.0, 15.0])
    first = _incoming(_platen("3 psi", "60 s"), radius, 1000 + dome * share**2 + edge * share**6)
    setups = [first, _platen("2.5 psi", "50 s", **{"pad.part": "medium-microporous"})]
    rigs = [setup.rig for setup in setups]
    before = polish_in_turn(rigs)
    start = RowSettings(tuple(settings_of(wafer) for wafer in before))
    bounds = {"zone_pressure": "2.2..3.2 psi", "ring_pressure": "2..5 psi", "time": "20..90 s"}
    asked = RowAsked(TARGET * 1e-9, None, None, None, bounds, None, None, None, None, None, ())
    course = RowCourse(rigs)
    freedom = Free(setups, start, asked).within(Clock(longest=65.0))
    search = Search(course, freedom, np.full(before[-1].radius.size, TARGET * 1e-9))
    begin = search.start(course.run(start))
    found = search.improve(begin)
    assert abs(found.gap) < 0.05
    assert found.sigma <= search.measures(begin)[0]

    read, shares = course.counted.read, course.counted.shares
    kept = {}

    def of(x):
        if x.tobytes() not in kept:
            run = course.run(freedom.unpack(x))
            slopes = read @ freedom.columns(influence(course, run, freedom.free)) / 1e-9
            kept[x.tobytes()] = (read @ (run.stack - search.goal) / 1e-9, slopes)
        return kept[x.tobytes()]

    def variance(x):
        away = of(x)[0]
        return float(shares @ (away - shares @ away) ** 2)

    def slope(x):
        away, slopes = of(x)
        return 2.0 * (shares * (away - shares @ away)) @ slopes

    ends = np.full((freedom.scale.size, 2), [-np.inf, np.inf])
    for row, most in zip(freedom.rows.matrix, freedom.rows.most, strict=True):
        (at,) = np.nonzero(row)
        if at.size == 1:
            place, side = at[0], int(row[at[0]] > 0)
            ends[place, side] = (min if side else max)(ends[place, side], most / row[place])
    done = minimize(
        variance,
        freedom.pack(begin.settings),
        jac=slope,
        method="SLSQP",
        bounds=ends,
        constraints=[
            {"type": "eq", "fun": lambda x: shares @ of(x)[0], "jac": lambda x: (shares @ of(x)[1])[None]}
        ],
        options={"maxiter": 100, "ftol": 1e-7},
    )
    assert found.sigma <= 1.01 * np.sqrt(done.fun)
