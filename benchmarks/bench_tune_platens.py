"""Settings of platens in a row, solved for together, against a general solver on the same chain: how good, and how fast.

Random incoming profiles (invented). Two rows: oxide on a hard pad under five zones and then on a soft one under seven, and
copper on two platens and its barrier on a third, where films clear. The general solver is SciPy's SLSQP on the same
full model of all platens with the same slopes, from the same start and within the same limits.
"""

from __future__ import annotations

import sys

import numpy as np
from bench_tune import SEVEN, general, incoming, timed

from planish.predict.wafer.platens import polish_in_turn
from planish.setup.load import load, loads
from planish.setup.models import Setup
from planish.setup.new import new_setup
from planish.tuning.course import settings_of
from planish.tuning.platens.course import RowCourse, RowSettings
from planish.tuning.platens.freedom import Clock
from planish.tuning.platens.tune import Free, RowAsked
from planish.tuning.search import Found, Search

BOUNDS = {"zone_pressure": "0.5..6 psi", "ring_pressure": "0.5..9 psi"}


def oxide(seed: int) -> list[Setup]:
    """Return two platens for oxide: other pads, other heads, other recipes."""
    base = loads(new_setup("rotary"))
    gentle, main, _ = base.document["recipe"]["step"]
    first = incoming(base, seed).replace({"recipe.step": [gentle, {**main, "stop_on_removed": "350 nm"}]})
    zones = [{"name": f"z{i + 1}", "outer_radius": f"{r} mm"} for i, r in enumerate(SEVEN)]
    last = {**main, "zone_pressures": ["2 psi"] * 7, "ring_pressure": "3 psi", "stop_on_removed": "200 nm"}
    return [first, base.replace({"pad.part": "soft-felt", "head.zone": zones, "recipe.step": [last]})]


def copper(seed: int) -> list[Setup]:
    """Return three platens: bulk copper, what is left of it, and its barrier down into the dielectric."""
    bulk, barrier = (load(f"examples/{name}.toml") for name in ("copper", "copper-barrier"))
    first, landing, over = bulk.document["recipe"]["step"]
    radius = np.linspace(0.0, 150.0, 16)
    share, rng = radius / 150.0, np.random.default_rng(seed)
    dome, edge = rng.normal(0.0, [15.0, 15.0])
    pairs = [
        [f"{r:g} mm", f"{600 + dome * s**2 + edge * s**6:.3f} nm"] for r, s in zip(radius, share, strict=True)
    ]
    films = {"wafer.film.1.thickness": None, "wafer.film.1.profile": pairs}
    return [
        bulk.replace({**films, "recipe.step": [first]}),
        bulk.replace({"pad.part": "medium-microporous", "recipe.step": [landing, over]}),
        barrier,
    ]


def begun(setups: list[Setup], target: float) -> Search:
    """Return a search from the setups' own settings."""
    before = polish_in_turn([setup.rig for setup in setups])
    start = RowSettings(tuple(settings_of(wafer) for wafer in before))
    asked = RowAsked(target, None, None, BOUNDS, "1.5 psi", None, None, None, None, ())
    course, freedom = RowCourse([setup.rig for setup in setups]), Free(setups, start, asked).within(Clock())
    search = Search(course, freedom, np.full(before[-1].radius.size, target))
    search.own = course.run(start)  # type: ignore[attr-defined]
    return search


def tuned(search: Search) -> Found:
    """Return the tuned settings."""
    run = search.start(search.own)  # type: ignore[attr-defined]
    assert run is not None
    return search.improve(run)


def main() -> None:
    """Print the table; ``--profiles N``: how many profiles, ``--only NAME``: which row of platens."""
    words = dict(zip(sys.argv[1::2], sys.argv[2::2], strict=False))
    for name, make, target in (("oxide", oxide, 450e-9), ("copper", copper, 480e-9)):
        if words.get("--only", name) != name:
            continue
        ratios = []
        for seed in range(int(words.get("--profiles", 5))):
            search = begun(make(seed), target)
            found, wall, busy = timed(lambda search=search: tuned(search))
            own = search.measures(search.start(search.own))[0]  # type: ignore[attr-defined]
            (sigma, wafers, ended), other, other_busy = timed(
                lambda search=search: general(search, derivatives=True, boxed=True)
            )
            ratios.append(found.sigma / sigma)
            print(
                f"{name} {seed}: sigma {own:.4f} -> {found.sigma:.4f} nm (general {sigma:.4f}{'' if ended else ', stopped'}); "
                f"wafers {found.runs}, general {wafers}; {wall:.1f} s, general {other:.1f} s; processor {busy:.1f}, {other_busy:.1f}",
                flush=True,
            )
        near = sum(one <= 1.01 for one in ratios)
        print(
            f"{name}: sigma over the general solver's: median {np.median(ratios):.4f}, worst {max(ratios):.4f}; "
            f"{near} of {len(ratios)} within 1 % (bar: all)"
        )


if __name__ == "__main__":
    main()
