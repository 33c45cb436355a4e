"""Tuned settings against a general solver on the same full model: how good, and how fast.

Twenty random incoming profiles (invented), heads of five and seven zones, one step and three. The general solver is
SciPy's SLSQP on the same full model, from the same start and within the same limits: with differences of whole polishes,
which says how much faster the search is, or with ``--derivatives yes`` with the slopes that the search has too, which
takes it far enough to say how good the search is. Where the machine is shared, trust the ratios and the wafers polished.
"""

from __future__ import annotations

import sys
import time
from typing import Any

import numpy as np
from scipy.optimize import minimize

from planish.measure.sites.read import SiteMap
from planish.setup.load import loads
from planish.setup.models import Setup
from planish.setup.new import new_setup
from planish.tuning.course import Course, Run, Settings
from planish.tuning.limits import Freedom, Rows
from planish.tuning.search import Found, Search
from planish.tuning.several import influence
from planish.tuning.tune import tune

SEVEN = [40, 75, 100, 118, 131, 142, 150]  # outer radii [mm], finer towards the edge
TARGET = 450e-9
LONGEST_S = 240.0


def head(zones: int, steps: int) -> Setup:
    """Return the rotary demo with so many zones, and its main step alone or all three steps."""
    setup = loads(new_setup("rotary"))
    if zones == 7:
        table = [{"name": f"z{i + 1}", "outer_radius": f"{r} mm"} for i, r in enumerate(SEVEN)]
        changes: dict[str, object] = {"head.zone": table}
        changes["recipe.step.main.zone_pressures"] = ["3 psi"] * 7
        setup = setup.replace(changes)
    if steps == 1:
        return setup.replace({"recipe.step": [setup.document["recipe"]["step"][1]]})
    return setup


def incoming(setup: Setup, seed: int) -> Setup:
    """Return the setup with a random profile: dome, ring and edge of some 10 nm each."""
    rng = np.random.default_rng(seed)
    radius = np.linspace(0.0, 150.0, 16)
    share = radius / 150.0
    dome, ring, edge = rng.normal(0.0, [20.0, 12.0, 20.0])
    middle, power = rng.uniform(0.3, 0.8), rng.uniform(4.0, 10.0)
    thickness = (
        1000.0 + dome * share**2 + ring * np.exp(-(((share - middle) / 0.15) ** 2)) + edge * share**power
    )
    pairs = [[f"{r:g} mm", f"{t:.3f} nm"] for r, t in zip(radius, thickness, strict=True)]
    return setup.replace({"wafer.film.1.thickness": None, "wafer.film.1.profile": pairs})


def begin(setup: Setup) -> Search:
    """Return a search from the setup's own settings."""
    rig = setup.rig
    times = [step.stop_value if step.stop == "time" else 75.0 for step in rig.steps]
    start = Settings(
        np.stack([step.zone_pressures for step in rig.steps]),
        np.array([step.ring_pressure for step in rig.steps]),
        np.array(times),
    )
    course = Course(rig)
    freedom = Freedom(
        setup,
        start,
        bounds={"zone_pressure": "1..6 psi", "ring_pressure": "1..8 psi"},
        keep=(),
        neighbour=1.5 * 6894.757,
        most_time=None,
        time_words="",
    )
    search = Search(course, freedom, np.full(course.radius.size, TARGET))
    search.own = course.run(start)  # type: ignore[attr-defined]
    return search


def tuned(search: Search) -> Found:
    """Return the tuned settings."""
    run = search.start(search.own)  # type: ignore[attr-defined]
    assert run is not None
    return search.improve(run)


def box(rows: Rows) -> list[tuple[float, float]]:
    """Return the range of each setting, out of the rows of one setting alone."""
    ends = np.full((rows.matrix.shape[1], 2), [-np.inf, np.inf])
    for row, most in zip(rows.matrix, rows.most, strict=True):
        (which,) = np.nonzero(row)
        if which.size == 1:
            place, side = which[0], int(row[which[0]] > 0)
            ends[place, side] = (min if side else max)(ends[place, side], most / row[place])
    return [(float(low), float(high)) for low, high in ends]


def general(search: Search, *, derivatives: bool, boxed: bool = False) -> tuple[float, int, bool]:
    """Return sigma [nm], polished wafers, and whether SLSQP came to an end within the processor time.

    With ``boxed`` it never tries a setting beyond its range, which it may else do on its way.
    """
    course, freedom, counted = search.course, search.freedom, search.course.counted
    run = search.start(search.own)  # type: ignore[attr-defined]
    rows, polished, best = freedom.rows, [0], [np.inf]
    kept: dict[bytes, tuple[np.ndarray, Run]] = {}
    end = time.process_time() + LONGEST_S

    def away(x: np.ndarray) -> np.ndarray:
        key = x.tobytes()
        if key not in kept:
            if time.process_time() > end:
                raise TimeoutError
            polished[0] += 1
            polished_wafer = course.run(freedom.unpack(x))
            kept[key] = counted.read @ (polished_wafer.stack - search.goal) / 1e-9, polished_wafer
        return kept[key][0]

    def slopes(x: np.ndarray) -> np.ndarray:
        away(x)
        found = influence(course, kept[x.tobytes()][1], freedom.free)
        return counted.read @ freedom.columns(found) / 1e-9

    def by_sigma(x: np.ndarray) -> np.ndarray:
        off = away(x) - counted.shares @ away(x)
        return (counted.shares * off) @ slopes(x) / np.sqrt(counted.shares @ off**2)

    def sigma(x: np.ndarray) -> float:
        values = away(x)
        mean = counted.shares @ values
        found = float(np.sqrt(counted.shares @ (values - mean) ** 2))
        if abs(mean) < 0.05 and np.all(rows.matrix @ x <= rows.most + 1e-6):
            best[0] = min(best[0], found)
        return found

    mean: dict[str, object] = {"type": "eq", "fun": lambda x: float(counted.shares @ away(x))}
    if derivatives:
        mean["jac"] = lambda x: (counted.shares @ slopes(x))[None]
    limits = [
        mean,
        {"type": "ineq", "fun": lambda x: rows.most - rows.matrix @ x, "jac": lambda x: -rows.matrix},
    ]
    options = {"maxiter": 300, "ftol": 1e-5}
    try:
        done = minimize(
            sigma,
            freedom.pack(run.settings),
            jac=by_sigma if derivatives else None,
            method="SLSQP",
            bounds=box(rows) if boxed else None,
            constraints=limits,
            options=options,
        )
    except TimeoutError:
        return best[0], polished[0], False
    return min(best[0], float(done.fun)), polished[0], bool(done.success)


def timed(make: object) -> tuple[object, float, float]:
    """Return what ``make`` gives, its wall time and its processor time [s]."""
    wall, busy = time.perf_counter(), time.process_time()
    made = make()  # type: ignore[operator]
    return made, time.perf_counter() - wall, time.process_time() - busy


def by_chance() -> None:
    """Print what many wafers take, and the chance of limits with the plain settings and with those chosen."""
    base = head(5, 1)
    wafers = [incoming(base, seed).rig for seed in range(8)]
    sites = []
    for number, rig in enumerate(wafers):
        radius = np.repeat(np.linspace(0.0, 0.147, 12), 8)
        turn = np.tile(np.arange(8) * np.pi / 4, 12)
        x, y = (radius * each(turn) for each in (np.cos, np.sin))
        kept = np.unique(np.round(np.column_stack([x, y]), 9), axis=0)
        value = np.interp(np.hypot(*kept.T), *rig.wafer.films[0].profile)
        names = tuple(str(one) for one in range(value.size))
        sites.append(
            SiteMap(kept[:, 0], kept[:, 1], value, names, "thickness", "m", f"invented wafer {number}")
        )
    found, wall, busy = timed(lambda: tune(base, incoming=sites, target=TARGET))
    figures = found.summary()  # type: ignore[attr-defined]
    print(
        f"8 wafers, one recipe: rms sigma {figures['off_target_sigma_before_nm']:.2f} -> "
        f"{figures['off_target_sigma_after_nm']:.2f} nm, of which no setting mends {figures['incoming_profiles_sigma_nm']:.2f}; "
        f"{wall:.1f} s, processor {busy:.1f} s"
    )
    limits = {"thickness": "430..470 nm", "wiwnu_sigma_percent": "..3"}
    for words, options in (("wafers and age", {"spreads": False, "over_wafers": 60}), ("spreads too", {})):
        asked: dict[str, Any] = {"draws": 100, "workers": 1, **options}
        found, wall, busy = timed(lambda asked=asked: tune(base, incoming=sites, meet=limits, **asked))
        figures = found.summary()  # type: ignore[attr-defined]
        print(
            f"chance, {words}: {figures['chance_plain_percent']:.0f} -> {figures['chance_percent']:.0f} % "
            f"({figures['chance_low_percent']:.0f} to {figures['chance_high_percent']:.0f}; foreseen "
            f"{figures['chance_foreseen_percent']:.0f}); {wall:.0f} s, processor {busy:.0f} s",
            flush=True,
        )


def main() -> None:
    """Print the table; ``--profiles N``, ``--general N``: how many profiles each solver gets; ``--derivatives yes``; ``--chance yes`` alone."""
    words = dict(zip(sys.argv[1::2], sys.argv[2::2], strict=False))
    profiles, compared = int(words.get("--profiles", 20)), int(words.get("--general", 20))
    derivatives = words.get("--derivatives", "no") == "yes"
    if words.get("--chance", "no") == "yes":
        by_chance()
        return
    print(f"{'zones':>5} {'steps':>5} {'profiles':>8}  what")
    for zones in (5, 7):
        for steps in (1, 3):
            base, wafers, walls, busies, before, after, ratio, faster, faster_busy = (
                head(zones, steps),
                [],
                [],
                [],
                [],
                [],
                [],
                [],
                [],
            )
            tuned(begin(incoming(base, 999)))  # warm
            for seed in range(profiles):
                search = begin(incoming(base, seed))
                found, wall, busy = timed(lambda search=search: tuned(search))
                walls.append(wall)
                busies.append(busy)
                run = search.start(search.own)  # type: ignore[attr-defined]
                before.append(search.measures(run)[0])
                after.append(found.sigma)  # type: ignore[attr-defined]
                if seed < compared:
                    (sigma, count, _), other, other_busy = timed(  # type: ignore[misc]
                        lambda search=search: general(search, derivatives=derivatives)
                    )
                    wafers.append((found.runs, count))  # type: ignore[attr-defined]
                    ratio.append(found.sigma / sigma)  # type: ignore[attr-defined]
                    faster.append(other / wall)
                    faster_busy.append(other_busy / busy)
            place = f"{zones:5} {steps:5} {profiles:8}  "
            print(f"{place}sigma left, median: {np.median(before):.3f} -> {np.median(after):.3f} nm")
            print(
                f"{place}median {1e3 * np.median(walls):.0f} ms, longest {1e3 * max(walls):.0f} ms; processor "
                f"{1e3 * np.median(busies):.0f} ms (bar {50 if steps == 1 else 120} ms)"
            )
            if ratio:
                near = sum(one <= 1.01 for one in ratio)
                print(
                    f"{place}sigma over the general solver's: median {np.median(ratio):.4f}, worst {max(ratio):.4f}; "
                    f"{near} of {len(ratio)} within 1 % (bar: all)"
                )
                own, others = np.median(np.array(wafers), axis=0)
                print(f"{place}wafers polished, median: {own:.0f}; by the general solver {others:.0f}")
                print(
                    f"{place}faster by, median: {np.median(faster):.0f} x wall, {np.median(faster_busy):.0f} x processor (bar 50)",
                    flush=True,
                )


if __name__ == "__main__":
    main()
