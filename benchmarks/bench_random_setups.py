"""Random setups from the usual ranges: no dead answer, no jump from wafer to wafer, no cliff, no film below nothing.

Every number that a setup holds may be drawn from the usual range of its key, parts and motion too; what does not go
together with the rest is left as it was. What is looked for, the bar being none of each:

- a wafer without an answer (no rate, no number, film below 0, more removed than there was) that no note explains;
- a headline that moves by more than a fifth when one input moves by 1 %, thresholds within a tenth of p_t aside;
- a rate that rises from one wafer to the next by more than its change of regime explains, never, between wafers or
  always conditioned;
- a die with a number that is none, or with less than nothing left.

    python benchmarks/bench_random_setups.py --wafers 1000 --lots 30 --dies 30 --seed 0
"""

from __future__ import annotations

import argparse
import math
import time
import warnings
from collections.abc import Iterator
from typing import Any

import numpy as np
from scipy.constants import R

from planish.errors import PlanishError
from planish.jobs.settings import describe
from planish.measure.layout.make import make_maps
from planish.physics.removal.laws import LAWS
from planish.predict.die.polish import polish_die
from planish.predict.lot.run import polish_lot
from planish.predict.lot.variation import Variation
from planish.predict.wafer.polish import polish
from planish.setup.changes import quantity_text
from planish.setup.fields import keys
from planish.setup.load import loads
from planish.setup.models import Setup
from planish.setup.motions.known import MOTIONS
from planish.setup.new import new_setup
from planish.setup.parts import catalogue

SHARE = 0.35  # of the numbers that are drawn
STEP, CLIFF = 0.01, 0.2
RISE = 0.02  # of the rate from wafer to wafer, beyond the load that solids carry and its warmth
WARM = 5  # wafers until a lot is warm
LOT = 1500
HEADLINES = {
    "mean_removal_rate_nm_per_min": 1.0,
    "wiwnu_sigma_percent": 0.5,
    "peak_temperature_C": 1.0,
    "friction_coefficient": 0.01,
    "real_contact_percent": 0.01,
}
"""Headlines, and the size below which a move of one counts as that of this size."""

# What a number says of another place: moved together with it, or not a setting at all.
LEFT = ("removal", "schema", "die.process")


def drawn(rng: np.random.Generator) -> Setup:
    """Return a random setup whose numbers are usual."""
    motion = str(rng.choice(MOTIONS.names()))
    setup = loads(new_setup(motion), motion)
    for section in ("pad", "conditioner", "slurry"):
        setup = _taken(setup, {f"{section}.part": str(rng.choice(list(catalogue(section))))})
    usual = {info.path: info for info in keys(motion) if info.typical is not None}
    for field in describe(setup):
        if field["kind"] != "number" or rng.random() > SHARE:
            continue
        info = usual.get(_pattern(field["path"], setup, usual))
        if info is None or info.typical is None:
            continue
        low, high = info.typical
        value = math.exp(rng.uniform(math.log(low), math.log(high))) if low > 0 else rng.uniform(low, high)
        setup = _taken(setup, {field["path"]: quantity_text(float(value), info.dimension)})
    return setup


def _pattern(path: str, setup: Setup, usual: dict[str, Any]) -> str:
    """Return the key that a path of the setup is one of."""
    words = path.replace('"field oxide"', "field").replace('"touch down"', "touch").split(".")
    for pattern in usual:
        steps = pattern.split(".")
        if len(steps) <= len(words) and all(a in ("*", b) for a, b in zip(steps, words, strict=False)):
            return pattern
    return ""


def _taken(setup: Setup, changes: dict[str, Any]) -> Setup:
    """Return the setup with the changes, or as it was where they do not go together with the rest."""
    try:
        made = setup.replace(changes)
        assert made.rig is not None
    except PlanishError:
        return setup
    return made if not made.unlikely else setup


def wafer_faults(setup: Setup) -> Iterator[str]:
    """Yield what is wrong with the answer for one wafer."""
    result = polish(setup)
    told, notes = result.summary(), result.notes
    numbers = {key: value for key, value in told.items() if isinstance(value, float)}
    for key, value in numbers.items():
        if not math.isfinite(value):
            yield f"{key} = {value}"
    if np.any(result.remaining < -1e-15):
        yield f"film of {result.remaining.min() * 1e9:.3g} nm"
    if np.any(result.removed > result.incoming.sum(axis=0) + 1e-15):
        yield "more removed than there was"
    if not told["mean_removal_rate_nm_per_min"] > 0 and not any(
        "othing is removed" in n or "othing" in n for n in notes
    ):
        yield f"rate {told['mean_removal_rate_nm_per_min']}, and no note says why"


def near_threshold(setup: Setup) -> bool:
    """Return whether a step presses a film within a tenth of the pressure below which nothing goes."""
    rig = setup.rig
    for law in rig.removal.values():
        key = LAWS.get(law.law).threshold
        if key and any(
            abs(p / law.coefficients[key] - 1) < 0.1
            for s in rig.steps
            for p in s.zone_pressures
            if law.coefficients[key] > 0
        ):
            return True
    return False


def cliffs(setup: Setup, rng: np.random.Generator, tried: int) -> Iterator[str]:
    """Yield the inputs of which a step of 1 % moves a headline by more than a fifth."""
    if near_threshold(setup):
        return
    fields = [f for f in describe(setup) if f["kind"] == "number" and f["value"]]
    before = polish(setup).summary()
    for at in rng.choice(len(fields), size=min(tried, len(fields)), replace=False):
        field = fields[at]
        value = field["value"] * (1 + STEP)
        if field["dimension"] == "temperature":
            value = field["value"] + STEP * 30  # [K] of some 30 above freezing
        try:
            moved = setup.replace({field["path"]: quantity_text(value, field["dimension"])})
        except PlanishError:
            continue
        after = polish(moved).summary()
        told = before
        if field["path"].startswith(
            "removal."
        ):  # to say a rate is to say that it was measured with these grains
            told = polish(setup.replace({field["path"]: field["text"]})).summary()
        for key, least in HEADLINES.items():
            a, b = told[key], after[key]
            if a is None or b is None:
                if a is not b:
                    yield f"{field['path']} {field['text']}: {key} {a} -> {b}"
                continue
            if abs(b - a) > CLIFF * max(abs(a), abs(b), least):
                yield f"{field['path']} {field['text']}: {key} {a:.4g} -> {b:.4g}"


def lot_faults(setup: Setup, wafers: int) -> Iterator[str]:
    """Yield rises of the rate from wafer to wafer that the regime does not explain, and numbers that are none."""
    lot = polish_lot(setup, wafers, variation=Variation.none())
    records = lot.records
    rate = records.expected_rate
    if not np.all(np.isfinite(rate)):
        yield f"rate is no number from wafer {int(np.argmax(~np.isfinite(rate))) + 1} on"
        return
    if np.any(records.removed < -1e-15):
        yield "less than nothing removed"
    if not rate[WARM:].min() > 0:
        if not any("othing" in note for note in lot.notes):
            yield f"rate 0 from wafer {int(np.argmax(rate <= 0)) + 1} on, and no note says why"
        return
    # each step's own load on summits explains its own part of what is removed
    removed = records.step_rate * records.step_time
    whole = removed.sum(axis=1, keepdims=True)
    part = np.divide(removed, whole, out=np.full_like(removed, 1.0 / removed.shape[1]), where=whole > 0)
    solids = np.maximum(records.step_solid_share, 1e-12)
    rise = rate[WARM + 1 :] / rate[WARM:-1]
    explained = np.maximum((part[WARM:-1] * solids[WARM + 1 :] / solids[WARM:-1]).sum(axis=1), 1.0)
    # more load on summits rubs the pad warmer, and that answers too
    energy = max(lot.rig.removal[film.material].activation_energy for film in lot.rig.wafer.films)
    colder = np.diff(1.0 / records.temperature[WARM:])
    explained = explained * np.exp(np.maximum(-energy / R * colder, 0.0))
    over = rise / explained - 1
    if over.max() > RISE:
        at = int(np.argmax(over)) + WARM
        yield f"rate rises by {100 * (rise.max() - 1):.2g} % after wafer {at + 1} ({rate[at] * 6e10:.4g} nm/min)"


def die_faults(setup: Setup, maps: Any) -> Iterator[str]:
    """Yield numbers that are none, and films below nothing."""
    told = polish_die([setup], maps).document()
    for place in told["places"]:
        for key, value in place.items():
            if not isinstance(value, float):
                continue
            if not math.isfinite(value):
                yield f"{key} = {value}"
            elif key.endswith("_nm") and value < -1e-6:
                yield f"{key} = {value:.3g}"


def conditioned(setup: Setup, how: str) -> Setup:
    """Return the setup with its pad conditioned in this way."""
    if how == "never":
        off = {f"recipe.step.{i + 1}.conditioning": False for i in range(len(setup.model.recipe.step))}
        return setup.replace({"conditioner": "none", **off})
    on = {f"recipe.step.{i + 1}.conditioning": how == "in-situ" for i in range(len(setup.model.recipe.step))}
    return setup.replace(
        {"conditioner.mode": how, **({} if how == "in-situ" else {"conditioner.ex_situ_time": "20 s"}), **on}
    )


def run(
    wafers: int, lots: int, dies: int, seed: int, *, steps: int = 3, lot: int = LOT
) -> dict[str, list[str]]:
    """Return what was found, by kind; a setup's number stands before each.

    Parameters
    ----------
    wafers, lots, dies
        How many setups are polished as each.
    seed
        Of the draws; setup ``i`` is the same for every number of them.
    steps
        Inputs of a setup that are moved by 1 %.
    lot
        Wafers of a lot.
    """
    found: dict[str, list[str]] = {"wafers": [], "cliffs": [], "lots": [], "dies": []}
    maps = make_maps("density-blocks", cell=50e-6, size=1e-3, blocks=3) if dies else None
    for at in range(max(wafers, lots, dies)):
        rng = np.random.default_rng([seed, at])
        setup = drawn(rng)
        if at < wafers:
            found["wafers"] += _asked(at, lambda setup=setup: wafer_faults(setup))
            found["cliffs"] += _asked(at, lambda setup=setup, rng=rng: cliffs(setup, rng, steps))
        if at < lots:
            how = ("never", "ex-situ", "in-situ")[at % 3]
            found["lots"] += _asked(
                f"{at} {how}", lambda setup=setup, how=how: lot_faults(conditioned(setup, how), lot)
            )
        if at < dies:
            found["dies"] += _asked(at, lambda setup=setup: die_faults(setup, maps))
    return found


def _asked(at: object, ask: Any) -> list[str]:
    """Return what is found; a refusal in words is an answer, anything else raised is a fault."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", RuntimeWarning)
            return [f"{at}: {line}" for line in ask()]
    except PlanishError:
        return []
    except Exception as error:  # noqa: BLE001  # any is a find
        return [f"{at}: {type(error).__name__}: {error}"]


def main() -> None:
    """Run, and print a line a kind."""
    words = argparse.ArgumentParser(description=__doc__)
    for name, usual in (("wafers", 1000), ("lots", 30), ("dies", 30), ("seed", 0)):
        words.add_argument(f"--{name}", type=int, default=usual)
    given = words.parse_args()
    start = time.perf_counter()
    found = run(given.wafers, given.lots, given.dies, given.seed)
    for kind, lines in found.items():
        print(f"{kind}: {len(lines)} found (bar: 0)")
        for line in lines[:60]:
            print("   ", line)
    print(
        f"{given.wafers} wafers, {given.lots} lots of {LOT}, {given.dies} dies in {time.perf_counter() - start:.0f} s"
    )


if __name__ == "__main__":
    main()
