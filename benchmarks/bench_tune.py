"""Tuned settings against a general solver on the same full model: how good, and how fast.

Twenty random incoming profiles (invented), heads of five and seven zones, one step and three. The general solver is
SciPy's SLSQP with differences of whole polishes, from the same start and within the same limits.
"""

from __future__ import annotations

import sys
import time

import numpy as np
from scipy.optimize import minimize

from planish.setup.load import loads
from planish.setup.models import Setup
from planish.setup.new import new_setup
from planish.tuning.course import Course, Settings
from planish.tuning.limits import Freedom
from planish.tuning.search import Found, Search

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


def general(search: Search) -> tuple[float, int, bool]:
    """Return sigma [nm], polished wafers, and whether SLSQP came to an end within the time."""
    course, freedom, counted = search.course, search.freedom, search.course.counted
    run = search.start(search.own)  # type: ignore[attr-defined]
    rows, polished, best = freedom.rows, [0], [np.inf]
    kept: dict[bytes, np.ndarray] = {}
    end = time.perf_counter() + LONGEST_S

    def away(x: np.ndarray) -> np.ndarray:
        key = x.tobytes()
        if key not in kept:
            if time.perf_counter() > end:
                raise TimeoutError
            polished[0] += 1
            left = course.run(freedom.unpack(x)).stack
            kept[key] = counted.read @ (left - search.goal) / 1e-9
        return kept[key]

    def sigma(x: np.ndarray) -> float:
        values = away(x)
        mean = counted.shares @ values
        found = float(np.sqrt(counted.shares @ (values - mean) ** 2))
        if abs(mean) < 0.05 and np.all(rows.matrix @ x <= rows.most + 1e-6):
            best[0] = min(best[0], found)
        return found

    limits = [
        {"type": "eq", "fun": lambda x: float(counted.shares @ away(x))},
        {"type": "ineq", "fun": lambda x: rows.most - rows.matrix @ x, "jac": lambda x: -rows.matrix},
    ]
    options = {"maxiter": 300, "ftol": 1e-5}
    try:
        done = minimize(
            sigma, freedom.pack(run.settings), method="SLSQP", constraints=limits, options=options
        )
    except TimeoutError:
        return best[0], polished[0], False
    return min(best[0], float(done.fun)), polished[0], bool(done.success)


def timed(make: object) -> tuple[object, float, float]:
    """Return what ``make`` gives, its wall time and its processor time [s]."""
    wall, busy = time.perf_counter(), time.process_time()
    made = make()  # type: ignore[operator]
    return made, time.perf_counter() - wall, time.process_time() - busy


def main() -> None:
    """Print the table; ``--profiles N`` and ``--general N`` say how many profiles each solver gets."""
    words = dict(zip(sys.argv[1::2], sys.argv[2::2], strict=False))
    profiles, compared = int(words.get("--profiles", 20)), int(words.get("--general", 20))
    print(f"{'zones':>5} {'steps':>5} {'profiles':>8}  what")
    for zones in (5, 7):
        for steps in (1, 3):
            base, walls, busies, before, after, ratio, faster, faster_busy = (
                head(zones, steps),
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
                    (sigma, _, _), other, other_busy = timed(lambda search=search: general(search))  # type: ignore[misc]
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
                print(
                    f"{place}faster by, median: {np.median(faster):.0f} x wall, {np.median(faster_busy):.0f} x processor (bar 50)",
                    flush=True,
                )


if __name__ == "__main__":
    main()
