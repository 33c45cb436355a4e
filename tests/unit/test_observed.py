"""Sets of measured numbers: what the model says of noise-free data is what was measured, for each kind of data."""

from __future__ import annotations

import hashlib
import pickle
from pathlib import Path

import numpy as np
import pytest

import planish
from planish.fit.against import wafer_against
from planish.fit.calibrate.dies import StepsModel, observed_steps
from planish.fit.calibrate.invented import InventedRun, Noise, write_invented_runs
from planish.fit.calibrate.observed import Heading, Observed
from planish.fit.polished import removed_at
from planish.jobs.calibrating import observed_of
from planish.jobs.measured import read_removal
from planish.measure.layout.make import make_maps
from planish.measure.runs.record import RunColumns
from planish.measure.steps import StepTable
from planish.predict.lot.cut import pad_cut_rate
from planish.predict.lot.events import Event
from planish.predict.lot.variation import Variation
from planish.predict.wafer.disk import disk_work
from planish.predict.wafer.polish_time import with_total_time
from planish.units import NM_PER_MIN

ROOT = Path(__file__).parents[2]
DATA = ROOT / "examples" / "data"
SETUP = planish.load(ROOT / "examples" / "rotary.toml")
MAIN = "recipe.step.main."
SLOWER = {f"{MAIN}platen_speed": "60 rpm", f"{MAIN}ring_pressure": "3.5 psi"}
HOUR = 3600.0

#: The runs of each kind of data, and what the sets that come of them are.
KINDS = {
    "sites": ([InventedRun(time=100.0), InventedRun(time=80.0, changes=SLOWER), InventedRun()], ["sites"] * 3, "m"),
    "rate": (
        [InventedRun("rate", time=90.0), InventedRun("rate", SLOWER, 90.0), InventedRun("rate", time=90.0)],
        ["rate", "rate"],
        "m/s",
    ),
    "lot": (
        [InventedRun("rate", time=60.0, pad_wafers=n, lot="P1") for n in (0, 2, 5)]
        + [InventedRun("rate", SLOWER, 60.0, pad_wafers=4)],
        ["lot", "lot"],
        "m/s",
    ),
    "lot of a used disk": (
        [InventedRun("rate", time=60.0, pad_wafers=3, disk_time=40 * HOUR)],
        ["lot"],
        "m/s",
    ),
    "lot of site maps": ([InventedRun(time=60.0, pad_wafers=n) for n in (1, 4)], ["lot"], "m"),
    "cut": (
        [InventedRun("cut", disk_time=h * HOUR) for h in (0.0, 5.0, 120.0)]
        + [InventedRun("cut", {"conditioner.downforce": "4 lbf"}, disk_time=HOUR)],
        ["cut", "cut"],
        "m/s",
    ),
}  # fmt: skip


def off(one: Observed, setup: planish.Setup = SETUP) -> float:
    return float(np.max(np.abs(one.predict(setup) - one.values) / np.abs(one.values)))


@pytest.mark.parametrize("name", KINDS)
def test_what_the_model_says_is_what_was_measured_without_noise(tmp_path, name):
    runs, kinds, unit = KINDS[name]
    table = write_invented_runs(SETUP, runs, tmp_path)
    found = observed_of(SETUP, [table])
    assert [one.kind for one in found] == kinds
    assert sum(one.values.size for one in found) >= len(runs)
    for one in found:
        assert one.unit == unit
        assert one.values.shape == one.sd.shape == one.groups.shape
        assert off(one) < 1e-12
        assert one.slow == (one.kind == "lot")
        again = pickle.loads(pickle.dumps(one.predict))
        assert np.array_equal(again(SETUP), one.predict(SETUP))


@pytest.mark.parametrize("name", KINDS)
def test_another_setup_foretells_other_numbers(tmp_path, name):
    """So that the agreement is no matter of course: a change of what each kind tells moves every set of it."""
    runs, _, _ = KINDS[name]
    table = write_invented_runs(SETUP, runs, tmp_path)
    key, value = (
        ("conditioner.halving_time", "50 h") if name == "cut" else ("removal.oxide.rate", "200 nm/min")
    )
    other = SETUP.replace({key: value})
    moved = [off(one, other) for one in observed_of(SETUP, [table])]
    assert max(moved) > 0.01


def test_steps_are_foretold_by_the_dies_own_law(tmp_path):
    maps = make_maps("density-blocks", 100e-6, size=6e-3, pitch=100e-6)
    rng = np.random.default_rng(5)
    at = rng.integers(2, 58, (7, 2))
    x, y = ((at[:, axis] + 0.5) * maps.cell + maps.origin[1 - axis] for axis in (1, 0))
    time = np.repeat([60.0, 110.0], [4, 3])
    bare = StepTable(x, y, time, np.ones(7), np.ones(7), 700e-9)
    model = observed_steps(SETUP, maps, bare, Heading("steps")).predict
    assert isinstance(model, StepsModel)
    loss, left = np.split(model(SETUP), 2)
    left[2] = np.nan
    one = observed_steps(SETUP, maps, StepTable(x, y, time, loss, left, 700e-9), Heading("steps"), sd=2e-9)
    assert one.kind == "steps"
    assert one.slow
    assert one.values.size == 13
    assert off(one) < 1e-12
    assert len(set(one.groups.tolist())) == 7
    assert one.groups[7] == one.groups[0]  # loss and step of one structure err together
    assert off(one, SETUP.replace({"die.planarization_length": "1 mm"})) > 1e-3
    # A die polished for one of the times holds the same numbers in its cells.
    die = planish.polish_die(
        with_total_time(SETUP.replace({"die.step": "700 nm"}).rig, 60.0)[0], maps, place="centre"
    )
    fields = die.dies[0].fields
    cell = fields.named["step_height"][at[:4, 0], at[:4, 1]]
    assert np.allclose(np.delete(cell, 2), one.values[7:10], rtol=1e-12)


def test_site_maps_are_those_of_the_fit_of_one_wafer():
    """The job of the short form, and a fit of one wafer, hold the same numbers of the same sites."""
    before, after = DATA / "wafer-before.csv", DATA / "wafer-after.csv"
    (one,) = observed_of(SETUP, [before, after])
    against = wafer_against(SETUP, read_removal(before, after))
    assert against.fit is not None
    flagged = {flag.row for flag in against.fit.flags}
    good = [i for i in range(len(against.paired.removal)) if i not in flagged]
    assert np.array_equal(one.values, against.paired.removal.value[good])
    assert np.array_equal(one.predict(SETUP), removed_at(against.wafer, against.paired.removal.r[good], 99.0))
    names = [name for name, _ in one.files]
    assert names == ["wafer-before.csv", "wafer-after.csv"]
    assert one.files[0][1] == hashlib.sha256(before.read_bytes()).hexdigest()
    # rings of the 49-site plan: centre, 8, 16 and 24 sites
    assert sorted(np.bincount(one.groups).tolist()) == [1, 8, 16, 24]


def test_a_rate_is_the_rate_of_the_wafers_own_answer(tmp_path):
    table = tmp_path / "runs.csv"
    table.write_text("rate_nm_per_min,rate sd [nm/min],lot\n300,2,A\n310,2,A\n305,3,B\n", encoding="utf-8")
    (one,) = observed_of(SETUP, [table])
    answer = planish.polish(SETUP).summary()["mean_removal_rate_nm_per_min"]
    assert NM_PER_MIN * one.predict(SETUP) == pytest.approx([answer] * 3, rel=1e-12)
    assert one.groups.tolist() == [0, 0, 1]
    assert (NM_PER_MIN * one.sd).tolist() == pytest.approx([2, 2, 3])
    assert any("is taken to end on its amount" in line for line in one.understood)
    assert not any("says little of the rate" in line for line in one.understood)


def test_a_wafer_of_a_pads_life_is_that_of_a_lot(tmp_path):
    table = tmp_path / "runs.csv"
    table.write_text("rate_nm_per_min,pad wafers,time_s\n300,0,60\n310,4,60\n", encoding="utf-8")
    (one,) = observed_of(SETUP, [table])
    lot = planish.polish_lot(with_total_time(SETUP.rig, 60.0)[0], 5, variation=Variation.none())
    assert one.predict(SETUP).tolist() == lot.records.rate[[0, 4]].tolist()


def test_hours_of_a_pad_are_wafers_of_its_recipe(tmp_path):
    hours, count = tmp_path / "hours.csv", tmp_path / "count.csv"
    hours.write_text("rate_nm_per_min,pad hours,time_s\n300,0.1,60\n", encoding="utf-8")  # 6 wafers of 60 s
    count.write_text("rate_nm_per_min,pad wafers,time_s\n300,6,60\n", encoding="utf-8")
    by_hours, by_count = (observed_of(SETUP, [path])[0] for path in (hours, count))
    assert by_hours.predict(SETUP).tolist() == by_count.predict(SETUP).tolist()
    assert any("hours of the pad are counted as polishing time" in line for line in by_hours.understood)


def test_an_older_disk_cuts_less_and_its_age_is_that_stated(tmp_path):
    table = tmp_path / "runs.csv"
    table.write_text(
        "rate_nm_per_min,pad wafers,disk_h,time_s,lot\n300,4,1,60,A\n300,4,150,60,B\n", encoding="utf-8"
    )
    young, old = observed_of(SETUP, [table])
    assert old.predict(SETUP)[0] < young.predict(SETUP)[0]
    lot = planish.polish_lot(
        SETUP, 3, variation=Variation.none(), events=["2 disk 20 h", Event(3, "disk")], cells=30
    )
    work = disk_work(SETUP.rig)
    assert work is not None
    assert lot.records.sharpness[1] == pytest.approx(
        work.sharpness(20 * HOUR + float(lot.records.time[1])), rel=1e-3
    )
    assert lot.records.sharpness[2] > lot.records.sharpness[1]


def test_a_cut_rate_is_that_of_a_lot_and_falls_by_half():
    lot = planish.polish_lot(SETUP, 1, variation=Variation.none(), cells=30)
    work = disk_work(SETUP.rig)
    assert work is not None
    new, half = pad_cut_rate(SETUP.rig, np.array([0.0, work.halving_time]))
    assert new == pytest.approx(float(lot.cut_rate[lot.under].mean()), rel=5e-3)  # fewer nodes there
    assert half == pytest.approx(new / 2, rel=1e-12)


def test_noise_is_of_the_size_asked_for(tmp_path):
    runs = [InventedRun(time=90.0)] * 12 + [InventedRun("rate", time=90.0)] * 12
    table = write_invented_runs(SETUP, runs, tmp_path, noise=Noise(gauge=1e-9, wafer=0.02, rate=0.02), seed=3)
    found = observed_of(SETUP, [table])
    maps, rates = found[:12], found[12]
    expected = maps[0].predict(SETUP)
    assert np.std([one.values.mean() / expected.mean() for one in maps]) == pytest.approx(0.02, rel=0.6)
    about = np.concatenate([one.values - expected * (one.values.mean() / expected.mean()) for one in maps
                            if one.values.size == expected.size])  # fmt: skip
    assert np.std(about) == pytest.approx(np.sqrt(2) * 1e-9, rel=0.15)
    assert maps[0].sd == pytest.approx(np.sqrt(2) * 1e-9, rel=1e-3)
    assert np.std(rates.values / rates.predict(SETUP)) == pytest.approx(0.02, rel=0.6)
    again = write_invented_runs(
        SETUP, runs, tmp_path / "again", noise=Noise(gauge=1e-9, wafer=0.02, rate=0.02), seed=3
    )
    assert again.read_bytes() == table.read_bytes()
    assert "INVENTED" in table.read_text(encoding="utf-8")


def test_one_file_of_several_wafers_serves_every_row(tmp_path):
    """Each row takes the wafer that it names; one that the file does not hold is refused."""
    for name, film in (("pre", 1000.0), ("post", 800.0)):
        rows = [f"{w},{s},{x},0,{film - 10 * s - 5 * (w == 'W2') * (name == 'post')}"
                for w in ("W1", "W2") for s, x in ((1, 0), (2, 20), (3, 40), (4, 60))]  # fmt: skip
        text = "\n".join(["wafer,site,x_mm,y_mm,thickness_nm", *rows]) + "\n"
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    table = tmp_path / "runs.csv"
    table.write_text(
        "wafer,pre,post,time_s\nW1,pre.csv,post.csv,60\nW2,pre.csv,post.csv,60\n", encoding="utf-8"
    )
    first, second = observed_of(SETUP, [table])
    assert 1e9 * first.values == pytest.approx([200.0] * 4)
    assert 1e9 * second.values == pytest.approx([205.0] * 4)
    assert first.name == "wafer W1 (post.csv)"
    table.write_text("wafer,pre,post,time_s\nW3,pre.csv,post.csv,60\n", encoding="utf-8")
    with pytest.raises(planish.PlanishError, match="holds 2 wafers"):
        observed_of(SETUP, [table])


def test_several_tables_and_what_is_told_of_them(tmp_path):
    one, two = tmp_path / "one.csv", tmp_path / "two.csv"
    one.write_text("result [nm/min],slot\n300,1\n", encoding="utf-8")
    two.write_text("result [nm/min],slot\n310,2\n", encoding="utf-8")
    told = RunColumns(columns={"rate": "Result [nm/min]"}, leave_out=("slot",))
    found = observed_of(SETUP, [one, two, DATA / "wafer-before.csv", DATA / "wafer-after.csv"], told=told)
    assert [item.kind for item in found] == ["sites", "rate", "rate"]
    assert "left out: 'slot'" in found[1].understood[0]


def test_a_rate_beside_site_files_does_not_count_twice(tmp_path):
    table = write_invented_runs(SETUP, [InventedRun(time=90.0)], tmp_path)
    text = (
        table.read_text(encoding="utf-8")
        .replace("time_s", "rate_nm_per_min,time_s")
        .replace(",90.0", ",370,90.0")
    )
    table.write_text(text, encoding="utf-8")
    (found,) = observed_of(SETUP, [table])
    assert found.kind == "sites"
    assert any("would count twice" in line for line in found.understood)
