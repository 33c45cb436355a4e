"""A lot: one with the single wafer, conserving, repeatable, and ended by what wears out."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from planish.errors import ModelError
from planish.predict.lot.events import Event, read_events
from planish.predict.lot.pad import new_pad, worn_summits
from planish.predict.lot.pad_rings import pad_rings
from planish.predict.lot.plan import plan_lot
from planish.predict.lot.result import Limits
from planish.predict.lot.run import polish_lot
from planish.predict.lot.variation import Variation, draw
from planish.predict.wafer import conditions
from planish.predict.wafer.contact_model import prepare
from planish.predict.wafer.pad_surface import PadState
from planish.predict.wafer.polish import polish
from planish.setup.load import loads

EXAMPLES = Path(__file__).parents[2] / "examples"
CELLS = 40
STILL = Variation.none()


def rig(name: str = "rotary"):
    return loads((EXAMPLES / f"{name}.toml").read_text(encoding="utf-8"), f"{name}.toml").rig


@pytest.fixture(scope="module")
def rotary():
    return rig()


@pytest.mark.parametrize("name", ["rotary", "linear", "orbital"])
def test_first_wafer_is_the_single_wafer(name: str) -> None:
    """A single wafer meets the pad as conditioned; in a lot the summits already age during the first wafer."""
    made = rig(name)
    made = replace(made, pad=replace(made.pad, polish_wear_coefficient=0.0))
    lot = polish_lot(made, 1, variation=STILL, cells=CELLS)
    one = polish(made, cells=CELLS)
    assert lot.records.rate[0] == pytest.approx(one.mean(one.removed) / one.time, rel=3e-4)
    np.testing.assert_allclose(
        lot.records.removed[0] / one.mean(one.removed), one.removed / one.mean(one.removed), atol=2e-4
    )
    assert lot.records.time[0] == pytest.approx(one.time, rel=3e-4)
    assert lot.records.fresh[0] == pytest.approx(one.summary()["fresh_fraction_percent"] / 100, rel=1e-3)
    assert lot.records.friction[0] == pytest.approx(one.summary()["friction_coefficient"], rel=1e-3)
    assert lot.records.real_pressure[0] == pytest.approx(one.summary()["real_pressure_MPa"] * 1e6, rel=3e-4)


def test_a_wafers_answer_does_not_depend_on_how_many_follow(rotary) -> None:
    """Under a disk and beside a ring that wears, in a lot that wears a little of the pad and one that wears much."""
    ring = replace(rotary.head.ring, gap_wear_rate=3e-4 / 3600)
    made = replace(rotary, head=replace(rotary.head, ring=ring))
    short, long = (polish_lot(made, n, variation=STILL, cells=CELLS).records for n in (4, 130))
    for field in ("expected_rate", "removed", "worn", "step_solid_share", "real_pressure"):
        np.testing.assert_array_equal(getattr(short, field), getattr(long, field)[:4])
    assert long.removed[120, -1] != pytest.approx(long.removed[0, -1], rel=1e-4)


def test_a_place_hardly_pressed_has_a_real_pressure(rotary) -> None:
    """Summits worn to nearly one height answer so steeply that a straight line would end below nothing."""
    plan = plan_lot(rotary, 1, cells=CELLS).summits
    pad = new_pad(plan)
    top = int(np.searchsorted(plan.edges, 2.0 * plan.deviation))
    one_height = np.zeros_like(plan.fresh)
    one_height[top : top + 3] = plan.fresh.sum() / 3
    worn = replace(pad, probability=np.tile(one_height, (pad.probability.shape[0], 1)))
    hard, soft = (np.full(pad.separation.size, pressure) for pressure in (2e4, 2e2))
    asked = np.full(plan.groups.to_wafer.shape[0], 2e2)
    far, _ = worn_summits(plan, worn, hard).real(asked)
    near, _ = worn_summits(plan, worn, soft).real(asked)
    touched = plan.groups.to_wafer.sum(axis=1) > 0
    assert (far[touched] > 0).all()
    np.testing.assert_allclose(far[touched], near[touched], rtol=0.4)  # over a hundredfold pressure


def test_scratch_index_has_one_reference_for_all_setups(rotary) -> None:
    """What a slurry holds, how hard the pad is and how long is polished move the index, each by its own factor."""
    lot = polish_lot(rotary, 1, variation=STILL, cells=CELLS)

    def index(**slurry: float) -> float:
        return float(
            replace(lot, rig=replace(rotary, slurry=replace(rotary.slurry, **slurry))).scratch_index()[0]
        )

    usual, grit = index(), index(large_particle_count=0.0)
    assert usual > grit > 0  # the disk sheds some
    counts = [index(large_particle_count=count) - grit for count in (1e9, 1e11, 1e15)]
    assert counts[1] / counts[0] == pytest.approx(100, rel=1e-9)
    assert counts[2] / counts[1] == pytest.approx(1e4, rel=1e-9)
    assert index(large_particle_size=2 * rotary.slurry.large_particle_size) / usual == pytest.approx(
        8, rel=1e-9
    )
    harder = replace(rotary.pad.layers[0], modulus=2 * rotary.pad.layers[0].modulus)
    pad = replace(rotary.pad, layers=(harder, *rotary.pad.layers[1:]))
    assert float(replace(lot, rig=replace(rotary, pad=pad)).scratch_index()[0]) == pytest.approx(
        2**0.75 * usual
    )
    factors = lot.scratches().factors
    assert float(np.prod([factor.flat[0] for factor in factors.values()])) == pytest.approx(usual)


TUNGSTEN = """
[[wafer.film]]
material = "tungsten"
thickness = "250 nm"
[[wafer.film]]
material = "titanium-nitride"
thickness = "20 nm"
[[wafer.film]]
material = "oxide"
thickness = "800 nm"
"""
COPPER = '[[wafer.film]]\nmaterial = "copper"\nthickness = "1500 nm"\n'


@pytest.mark.parametrize("films, liquid", [(TUNGSTEN, "tungsten-oxidiser"), (COPPER, "copper-bulk")])
def test_first_wafer_is_the_single_wafer_for_metals(films: str, liquid: str) -> None:
    """Power law and two-step law, films that clear, a stop on what remains of the film on top."""
    text = (EXAMPLES / "rotary.toml").read_text(encoding="utf-8")
    start, end = text.index("[[wafer.film]]"), text.index("[polisher]")
    made = loads((text[:start] + films + text[end:]).replace("fumed-silica-oxide", liquid), "metal.toml").rig
    made = replace(made, pad=replace(made.pad, polish_wear_coefficient=0.0))
    main = replace(made.steps[1], stop="remaining", stop_value=100e-9)
    made = replace(made, steps=(made.steps[0], main, replace(made.steps[2], stop_value=40.0)))
    lot, one = polish_lot(made, 1, variation=STILL, cells=CELLS), polish(made, cells=CELLS)
    assert lot.records.time[0] == pytest.approx(one.time, rel=1e-3)
    assert lot.records.mean_removed[0] == pytest.approx(one.mean(one.removed), rel=1e-3)
    np.testing.assert_allclose(lot.records.removed[0], one.removed, atol=1e-9)


def test_first_wafer_is_the_single_wafer_with_another_disk_too(rotary) -> None:
    """Finer diamonds leave a smoother pad, in one wafer as in a lot; measured heights stay as measured."""
    from planish.predict.wafer.pad_surface import as_conditioned

    text = (EXAMPLES / "rotary.toml").read_text(encoding="utf-8")
    fine = loads(text.replace('"electroplated-100-grit"', '"electroplated-325-grit"'), "fine.toml").rig
    fine = replace(fine, pad=replace(fine.pad, polish_wear_coefficient=0.0))
    assert as_conditioned(fine).tail_length < 0.8 * fine.pad.surface.tail_length
    assert as_conditioned(rotary) is rotary.pad.surface
    one, lot = polish(fine, cells=CELLS), polish_lot(fine, 1, variation=STILL, cells=CELLS)
    assert lot.records.rate[0] == pytest.approx(one.mean(one.removed) / one.time, rel=3e-4)
    measured = replace(fine.pad.surface, heights=np.random.default_rng(0).normal(0, 5e-6, 500))
    kept = replace(fine, pad=replace(fine.pad, surface=measured))
    assert as_conditioned(kept) is measured
    rough = polish_lot(kept, 3, variation=STILL, cells=CELLS)
    assert rough.records.rate[0] == pytest.approx(
        polish(kept, cells=CELLS).summary()["mean_removal_rate_nm_per_min"] / 6e10, rel=5e-3
    )


def test_fast_step_is_the_step_of_one_wafer_on_a_worn_pad(rotary) -> None:
    """The quick path of a lot against ``conditions.step_conditions``, both on the same glazed pad."""
    from planish.predict.lot.advance import advance
    from planish.predict.lot.pad import worn_summits
    from planish.predict.lot.plan import plan_lot
    from planish.predict.lot.state import first_state
    from planish.predict.lot.step import StepOn, pad_under, run_step

    lot = plan_lot(rotary, 60, conditioning=False, cells=CELLS)
    draws, lot_state, rows = draw(STILL, 60, 0), first_state(lot), []
    for wafer in range(60):
        lot_state, row = advance(lot_state, lot, draws.of(wafer))
        rows.append(row)
    model, rings = prepare(rotary, cells=CELLS), pad_rings(rotary, prepare(rotary, cells=CELLS).grid)
    plan, step = lot.steps[1], replace(rotary.steps[1], stop="time", stop_value=60.0)
    land = 1.0 - rotary.pad.grooves.width / rotary.pad.grooves.pitch
    under = pad_under(lot, lot_state.pad)
    on = StepOn(lot, plan, lot_state.steps[1], under, lot_state.temperatures, lot.incoming, 1.0, 60.0)
    fast = run_step(on, lot_state.pad)
    # described about the pressure that a pad as warm as this one meets
    summits = worn_summits(lot.summits, lot_state.pad, plan.group_nominal / (land * fast.modulus_left))
    state = PadState(summits, rotary.pad.grooves.depth, lot_state.temperatures)
    slow = conditions.step_conditions(rotary, step, model, rings, state, top="oxide", conditioning=False)
    assert slow.modulus_left == pytest.approx(fast.modulus_left, rel=1e-12)
    pressure = fast.pressure[:CELLS]
    np.testing.assert_allclose(pressure, slow.solid, rtol=1e-5)
    assert fast.fresh == pytest.approx(slow.fresh, rel=1e-5)
    assert fast.friction == pytest.approx(slow.friction, rel=1e-5)
    assert fast.lubrication.height == pytest.approx(slow.lubrication.height, rel=1e-5)
    assert fast.real_pressure == pytest.approx(float(slow.real_pressure @ lot.weights), rel=1e-5)
    assert rows[-1].real_pressure < 0.9 * rows[0].real_pressure
    rate = slow.rates["oxide"]
    reference = rotary.removal["oxide"].reference
    at = np.full((1, CELLS), reference.temperature)
    softer = np.exp(-rate.softening * (reference.temperature - rate.warmth))
    expected = (
        softer
        * rotary.removal["oxide"].coefficients["k_p"]
        * slow.solid
        * slow.speed
        * rate.mechanical
        * rate.chemical
    )
    np.testing.assert_allclose(rate.at(at)[0], expected, rtol=1e-12)


@pytest.mark.parametrize("pause", ["", "2 idle 5 min"])
@pytest.mark.parametrize("mode", ["in-situ", "ex-situ", None])
def test_a_step_in_parts_wears_the_pad_as_in_one(rotary, mode: str | None, pause: str) -> None:
    """On a pad that ages fast within a wafer: parts of 5 s against one of 60 s, which the pad half-way stands for."""
    disk = rotary.conditioner if mode is None else replace(rotary.conditioner, mode=mode)
    unworn = replace(rotary.pad, polish_wear_coefficient=0.0)
    pad = replace(rotary.pad, polish_wear_coefficient=30.0 * rotary.pad.polish_wear_coefficient)
    step = replace(rotary.steps[1], stop="time", stop_value=60.0)
    fast = replace(rotary, pad=pad, conditioner=disk)
    parts = tuple(replace(step, stop_value=5.0, name=f"part {part}") for part in range(12))
    events = [pause] if pause else []
    asked = {"variation": STILL, "cells": CELLS, "conditioning": mode is not None, "events": events}
    whole = polish_lot(replace(fast, steps=(step,)), 4, **asked).records
    finer = polish_lot(replace(fast, steps=parts), 4, **asked).records
    first = polish_lot(replace(fast, steps=(step,), pad=unworn), 1, **{**asked, "events": []}).records
    assert finer.mean_removed[0] < 0.98 * first.mean_removed[0]  # else there would be nothing to tell
    np.testing.assert_allclose(whole.mean_removed, finer.mean_removed, rtol=4e-3)


def test_a_new_pad_among_worn_ones_is_met_as_the_first(rotary) -> None:
    """How the old pad was worn says nothing of the new one."""
    fast = replace(rotary, pad=replace(rotary.pad, polish_wear_coefficient=3e-15), conditioner=None)
    lot = polish_lot(fast, 12, variation=STILL, cells=CELLS, events=["10 pad"], handling_time=3600.0)
    removed = lot.records.mean_removed
    assert removed[9] == pytest.approx(removed[0], rel=2e-3)
    assert removed[8] < 0.97 * removed[0]


def test_same_seed_same_numbers_on_any_worker_count(rotary) -> None:
    events = ["3 slurry", "5 pad", "6 idle 10 min", "8 monitor"]
    one = polish_lot(rotary, 10, seed=5, events=events, cells=CELLS)
    four = polish_lot(rotary, 10, seed=5, events=events, cells=CELLS, workers=4)
    for name in ("rate", "removed", "worn", "temperature", "tail"):
        assert np.array_equal(getattr(one.records, name), getattr(four.records, name))
    other = polish_lot(rotary, 10, seed=6, events=events, cells=CELLS)
    assert not np.array_equal(one.records.rate, other.records.rate)
    longer = polish_lot(rotary, 12, seed=5, events=events, cells=CELLS)
    np.testing.assert_allclose(longer.records.rate[:10], one.records.rate, rtol=1e-9)


def test_no_conditioning_decays_and_restart_restores(rotary) -> None:
    off = polish_lot(rotary, 120, conditioning=False, variation=STILL, cells=CELLS)
    warm = off.records.expected_rate[8:]
    assert np.all(np.diff(warm) < 0)
    assert warm[-1] < 0.8 * warm[0]
    assert np.all(off.records.worn == 0)
    on = polish_lot(rotary, 120, variation=STILL, cells=CELLS)
    late = on.records.expected_rate[60:]
    assert np.ptp(late) / late.mean() < 0.02
    assert on.records.fresh[0] > off.records.fresh[0]  # the disk clears spent slurry and brings fresh


def test_conditioning_after_glazing_restores_the_rate(rotary) -> None:
    steps = tuple(replace(step, conditioning=False) for step in rotary.steps)
    idle_disk = replace(rotary, steps=steps)
    glazed = polish_lot(idle_disk, 101, variation=STILL, cells=CELLS, events=["101 condition 90 min"])
    rate = glazed.records.expected_rate
    steady = polish_lot(rotary, 101, variation=STILL, cells=CELLS).records.expected_rate[-1]
    assert rate[99] < 0.8 * rate[0]
    assert rate[100] > 0.95 * min(rate[0], steady)


def test_pad_wear_is_the_disks_cut(rotary) -> None:
    """Depth cut off = sharp cut rate x sharpness x time, per pad ring."""
    lot = polish_lot(rotary, 5, variation=STILL, cells=CELLS)
    working = [i for i, step in enumerate(rotary.steps) if step.conditioning]
    assert working
    time = lot.records.step_time[:, working].sum()
    worn = lot.records.worn[-1]
    some = lot.cut_rate > 0
    speeds = {rotary.steps[i].platen_speed for i in working}
    if len(speeds) == 1:
        ratio = worn[some] / (lot.cut_rate[some] * time)
        np.testing.assert_allclose(ratio, ratio.mean(), rtol=1e-9)
    assert np.all(worn[some] < 1.2 * lot.cut_rate[some] * time)
    assert np.all(worn[some] > 0.5 * lot.cut_rate[some] * time)


def test_temperature_settles_over_the_first_wafers(rotary) -> None:
    lot = polish_lot(rotary, 15, variation=STILL, cells=CELLS)
    T = lot.records.temperature
    assert T[1] > T[0] + 0.1  # the pad has not cooled all the way down between wafers
    assert abs(T[14] - T[13]) < 0.2 * (T[1] - T[0])
    rest = polish_lot(rotary, 15, variation=STILL, cells=CELLS, events=["15 idle 4 h"])
    assert rest.records.temperature[14] < T[14] - 0.1


def test_events_do_what_they_say(rotary) -> None:
    events = [Event(4, "pad"), Event(6, "disk"), Event(7, "slurry", 0.9), Event(9, "monitor")]
    lot = polish_lot(rotary, 10, variation=STILL, cells=CELLS, events=events)
    r = lot.records
    assert r.groove_min[3] > r.groove_min[2]
    assert r.sharpness[3] < r.sharpness[2]  # the new pad is broken in with the old disk
    assert r.sharpness[5] > 0.998
    assert r.batch.tolist() == [1.0] * 6 + [0.9] * 4
    assert r.rate[6] / r.rate[5] == pytest.approx(0.9, abs=0.03)  # a little fresher slurry at the lower rate
    assert r.monitor.tolist() == [False] * 8 + [True, False]


def test_run_to_run_holds_the_removal_and_fixed_time_does_not(rotary) -> None:
    timed = replace(
        rotary,
        steps=tuple(
            replace(s, stop="time", stop_value=60.0) if s.stop != "time" else s for s in rotary.steps
        ),
    )
    off = {"conditioning": False, "variation": STILL, "cells": CELLS}
    fixed = polish_lot(timed, 60, **off)
    held = polish_lot(timed, 60, adjust="run-to-run", **off)
    assert np.ptp(fixed.records.mean_removed[10:]) > 5 * np.ptp(held.records.mean_removed[10:])
    assert held.records.time[-1] > held.records.time[10]
    assert held.records.mean_removed[-1] == pytest.approx(held.records.mean_removed[0], rel=0.02)


def test_end_of_life_names_what_ended_it(rotary) -> None:
    def shallow(depth: float):
        return replace(rotary, pad=replace(rotary.pad, grooves=replace(rotary.pad.grooves, depth=depth)))

    lot = polish_lot(shallow(200e-6), 60, variation=STILL, cells=CELLS, limits=Limits(groove_left=0.85))
    wafer, cause = lot.end_of_life()
    assert cause == "grooves nearly gone"
    assert lot.records.groove_min[wafer - 1] < 170e-6 <= lot.records.groove_min[wafer - 2]
    dull = replace(rotary, conditioner=replace(rotary.conditioner, halving_time=100.0))
    assert polish_lot(dull, 40, variation=STILL, cells=CELLS).end_of_life()[1] == "disk dull"
    glazed = polish_lot(rotary, 150, variation=STILL, cells=CELLS, conditioning=False)
    assert glazed.summary()["end_of_life_cause"] == "rate out of limits"
    soon = replace(
        rotary, pad=replace(rotary.pad, polish_wear_coefficient=1e-14)
    )  # glazes within some wafers
    dead = polish_lot(soon, 12, variation=STILL, cells=CELLS, conditioning=False)
    rate = dead.records.rate / dead.records.rate[0]
    wafer, cause = dead.end_of_life()
    assert cause == "rate out of limits"
    assert rate[max(wafer - 5, 0) : wafer].mean() < 0.75 <= rate[max(wafer - 6, 0) : wafer - 1].mean()
    tight = polish_lot(rotary, 30, variation=STILL, cells=CELLS, limits=Limits(wiwnu_percent=0.5))
    assert tight.summary()["end_of_life_cause"] == "uniformity out of limits"
    short = polish_lot(rotary, 3, variation=STILL, cells=CELLS).summary()
    assert short["end_of_life_wafer"] is None
    assert short["end_of_life_cause"] is None


def test_result_summary_table_and_files(rotary, tmp_path: Path) -> None:
    seen = []
    lot = polish_lot(rotary, 12, seed=1, cells=CELLS, progress=lambda done, of: seen.append((done, of)))
    assert seen[-1] == (12, 12)
    s = lot.summary()
    rate = lot.table()["rate_nm_per_min"].to_numpy()
    assert s["wtwnu_percent"] == pytest.approx(100 * rate.std(ddof=1) / rate.mean())
    assert s["first_rate_nm_per_min"] == pytest.approx(rate[0])
    assert s["last_rate_nm_per_min"] == pytest.approx(rate[-1])
    folder = lot.save(tmp_path / "out")
    frame = pl.read_parquet(folder / "lot.parquet")
    assert frame.height == 12
    assert frame["wafer"].to_list() == list(range(1, 13))
    assert json.loads((folder / "summary.json").read_text())["wafers"] == 12
    assert not [p for p in folder.iterdir() if p.name.startswith(".")]
    assert lot.data["pad_thickness"].shape == (12, lot.ring_middles.size)
    assert lot.data["pad_thickness"].attrs["units"] == "m"
    assert len(lot.sources()) == len(set(lot.sources())) > 10
    assert polish_lot(rotary, 1, cells=CELLS).summary()["wtwnu_percent"] is None


def test_events_are_read_from_text_tables_and_records() -> None:
    read = read_events(["9 idle 15 min", {"wafer": 2, "kind": "slurry", "value": 1.02}, Event(5, "pad")], 10)
    assert [(e.wafer, e.kind, e.value) for e in read] == [
        (2, "slurry", 1.02),
        (5, "pad", None),
        (9, "idle", 900.0),
    ]


def test_draws_keep_their_spread_and_their_order() -> None:
    draws = draw(Variation(), 4000, 3)
    assert draws.incoming.std() == pytest.approx(0.01, rel=0.05)
    assert draws.process.mean() == pytest.approx(1.0, abs=5e-4)
    assert np.array_equal(draw(Variation(), 50, 3).batch, draws.batch[:50])
    still = draw(STILL, 5, 3)
    assert np.all(still.process == 1.0)
    assert np.all(still.bow == 0.0)


def test_run_to_run_time_ends_at_the_steps_longest(rotary):
    """A pad that removes less and less is not polished on for hours: the time stops at max_time, and it says so."""
    longest = polish(rotary, cells=CELLS).time + 5.0
    steps = tuple(replace(s, max_time=longest) if s.stop != "time" else s for s in rotary.steps)
    timed = sum(s.stop_value for s in rotary.steps if s.stop == "time")
    lot = polish_lot(
        replace(rotary, steps=steps),
        150,
        adjust="run-to-run",
        conditioning=False,
        variation=STILL,
        cells=CELLS,
    )
    assert lot.records.time.max() == pytest.approx(longest + timed)
    assert any("run-to-run stands at its limit" in note for note in lot.notes)


def test_a_pad_worn_through_ends_the_lot_with_a_remedy(rotary):
    top = replace(rotary.pad.layers[0], thickness=rotary.pad.grooves.depth + 10e-6)
    thin = replace(rotary, pad=replace(rotary.pad, layers=(top, *rotary.pad.layers[1:])))
    assert polish_lot(thin, 50, cells=CELLS).records.rate[-1] > 0
    with pytest.raises(ModelError, match=r"wafer \d+: the pad is worn through .*change the pad before"):
        polish_lot(thin, 5000, cells=CELLS)
