"""What a finding proposes was run as it is written: obeyed to the letter, it gives what it says."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

import planish
from planish.explain.advice import advise, edge_figure_of, spread_of
from planish.explain.findings import Finding, findings
from planish.explain.retracing import retracing_steps
from planish.setup.changes import change_lines, read_changes
from planish.tuning.course import Course, Settings
from planish.tuning.movers import NUDGE_PSI, movers
from planish.units import PSI

EXAMPLES = Path(__file__).parents[2] / "examples"
NAMES = sorted(file.stem for file in EXAMPLES.glob("*.toml"))
MOTIONS = ("rotary", "linear", "orbital")
SIGN = r"([+−]?[\d.]+)"


def number(text: str) -> float:
    return float(text.replace("−", "-"))


def pair(words: str, text: str) -> tuple[float, float]:
    found = re.search(rf"{words} {SIGN} → {SIGN}", text)
    assert found is not None, (words, text)
    return number(found[1]), number(found[2])


def advised(setup: planish.Setup) -> list[Finding]:
    found = findings(planish.polish(setup))
    return [one for one in found if one.changes and one.subject in ("edge", "uniformity")]


def psi_by_words(text: str) -> dict[str, list[float]]:
    """Return the pressures that a sentence says to set: zones from the centre out, ring."""
    said = text.split("Set in step ")[1].split(" Run again")[0]
    made = {}
    for what in ("zones from the centre out", "pressure", "ring"):
        found = re.search(rf"{what} [\d./ ]+ → ([\d./ ]+) psi", said)
        if found:
            made[what] = [float(each) for each in found[1].split(" / ")]
    return made


def holds(setup: planish.Setup, item: Finding) -> None:
    """Hold a sentence to a wafer polished with what it says."""
    before = planish.polish(setup)
    obeyed = setup.replace(item.changes)
    assert obeyed == setup.replace(read_changes(change_lines(item.changes)))
    after = planish.polish(obeyed)
    was, now = before.summary(), after.summary()
    for key, (promised_before, promised_after) in item.promised.items():
        assert (was[key], now[key]) == (promised_before, promised_after)
    digits = {"edge": ("edge_extreme_percent", 1), "whole wafer": ("wiwnu_sigma_percent", 2),
              "rate": ("mean_removal_rate_nm_per_min", 1), "time": ("time_s", 1)}  # fmt: skip
    ran = item.text.split("Run again as written: ")[1]
    for words, (key, places) in digits.items():
        for told, figure in zip(pair(words, ran), (was[key], now[key]), strict=True):
            assert told == pytest.approx(figure, abs=0.5001 * 10**-places), (words, ran)
    if "what is left" in ran.split(" Worse")[0]:
        for told, one in zip(pair("what is left", ran), (before, after), strict=True):
            assert told == pytest.approx(1e9 * one.sigma(one.remaining.sum(axis=0)), abs=0.0501)
    step = item.text.split("Set in step ")[1].split(":")[0]
    (index,) = [at for at, one in enumerate(setup.rig.steps) if one.name == step]
    settings = obeyed.rig.steps[index]
    said = psi_by_words(item.text)
    assert said
    for what, values in said.items():
        found = [settings.ring_pressure] if what == "ring" else settings.zone_pressures
        assert np.broadcast_to(values, np.shape(found)) * PSI == pytest.approx(np.asarray(found), rel=1e-9)
    for other in set(range(len(setup.rig.steps))) - {index}:
        for key in ("zone_pressures", "ring_pressure"):
            assert np.array_equal(getattr(obeyed.rig.steps[other], key), getattr(setup.rig.steps[other], key))


def never_worse(setup: planish.Setup, item: Finding) -> None:
    """What was amiss is less amiss: the edge, and what is left; the thickness stays."""
    before, after = planish.polish(setup), planish.polish(setup.replace(item.changes))

    def amiss(wafer: planish.WaferResult) -> float:
        left = wafer.sigma(wafer.remaining.sum(axis=0)) / wafer.mean(wafer.removed)
        return max(abs(wafer.edge()["edge_extreme_percent"]) / 2.0, 100 * left / 3.0)

    assert amiss(after) <= max(1.0, 0.5 * amiss(before))
    assert amiss(after) < amiss(before)
    more = after.mean(after.remaining.sum(axis=0)) - before.mean(before.remaining.sum(axis=0))
    assert abs(more) < 0.005 * before.mean(before.removed) or "what is left, " in item.text
    for one, other in zip(before.rig.steps, after.rig.steps, strict=True):
        assert (one.stop, one.max_time) == (other.stop, other.max_time) or one.stop == "time"
        if one.stop != "time":
            assert one.stop_value == other.stop_value


@pytest.mark.parametrize("name", NAMES)
def test_what_a_shipped_example_is_advised_comes_true(name):
    setup = planish.load(EXAMPLES / f"{name}.toml")
    steps = range(1, len(setup.rig.steps) + 1)
    starts = [setup] + [setup.replace({f"recipe.step.{at}.ring_pressure": ring for at in steps})
                        for ring in ("1 psi", "6 psi")]  # fmt: skip
    for start in starts:
        for item in advised(start):
            holds(start, item)
            never_worse(start, item)


@pytest.mark.parametrize("name", ["orbital", "three-zone-copper"])
def test_an_uneven_example_has_a_remedy(name):
    (item,) = advised(planish.load(EXAMPLES / f"{name}.toml"))
    assert item.subject == "edge"
    assert list(item.changes) == [f"recipe.step.{'main' if name == 'orbital' else 'bulk'}.ring_pressure"]
    assert abs(item.promised["edge_extreme_percent"][1]) < 2.0


BASES = {motion: planish.loads(planish.new_setup(motion)) for motion in MOTIONS}


def drawn(rng: np.random.Generator) -> planish.Setup:
    """Return a setup with other pressures, another end of its main step, perhaps an uneven film."""
    base = BASES[str(rng.choice(MOTIONS))]
    zones = base.rig.steps[0].zone_pressures.size
    changes: dict[str, object] = {}
    for at in (1, 2, 3):
        level = rng.uniform(1, 5)
        ring = 0.0 if rng.random() < 0.15 else rng.uniform(0.5, 9)
        changes[f"recipe.step.{at}.ring_pressure"] = f"{ring:.2f} psi"
        changes[f"recipe.step.{at}.zone_pressures"] = [
            f"{level * rng.uniform(0.85, 1.15):.3f} psi" for _ in range(zones)
        ]
    end = rng.integers(4)
    if end in (1, 2):
        changes["recipe.step.main.stop_on_removed"] = None
    if end == 1:
        changes |= {
            "recipe.step.main.max_time": None,
            "recipe.step.main.time": f"{rng.uniform(30, 70):.1f} s",
        }
    if end == 2:
        changes["recipe.step.main.stop_on_remaining"] = f"{rng.uniform(100, 500):.0f} nm"
    if rng.random() < 0.35:
        profile = [[f"{r} mm", f"{1000 + rng.uniform(-40, 40):.0f} nm"] for r in (0, 60, 110, 135, 150)]
        changes |= {"wafer.film.1.thickness": None, "wafer.film.1.profile": profile}
    return base.replace(changes)


def test_advice_obeyed_to_the_letter_gives_what_it_says_on_any_setup():
    rng = np.random.default_rng(20)
    remedies = 0
    for _ in range(40):
        setup = drawn(rng)
        items = advised(setup)
        assert len(items) <= 1  # two remedies would be for one or the other
        for item in items:
            remedies += 1
            holds(setup, item)
            never_worse(setup, item)
    assert remedies > 25


@pytest.mark.parametrize("motion", MOTIONS)
def test_what_moves_the_edge_is_what_a_run_shows(motion):
    """The solver's derivative and the figure told, against runs a small step to either side, for every zone and ring."""
    setup = BASES[motion].replace({"recipe.step.main.ring_pressure": "6 psi"})
    wafer = planish.polish(setup)
    figure = edge_figure_of(1e-3 * wafer.edge()["edge_extreme_from_edge_mm"])
    assert figure(wafer, wafer.removed) == pytest.approx(wafer.edge()["edge_extreme_percent"], abs=0.01)
    steps = setup.rig.steps
    course = Course(setup.rig)
    settings = Settings(np.stack([one.zone_pressures for one in steps]),
                        np.array([one.ring_pressure for one in steps]),
                        np.array([one.duration for one in wafer.steps]))  # fmt: skip
    found = movers(setup, wafer, course, course.run(settings), figure)

    def by_runs(step: int, which: int, psi: float) -> float:
        zones = settings.zones[step].copy()
        ends = []
        for sign in (1, -1):
            moved, ring = zones.copy(), settings.ring[step]
            if which == zones.size:
                ring += sign * psi * PSI
            else:
                moved[which] += sign * psi * PSI
            base = f"recipe.step.{step + 1}"
            run = planish.polish(setup.replace({f"{base}.zone_pressures": [f"{p!r} Pa" for p in moved.tolist()],
                                                f"{base}.ring_pressure": f"{float(ring)!r} Pa"}))  # fmt: skip
            ends.append(figure(wafer, run.removed))
        return (ends[0] - ends[1]) / (2 * psi * PSI)

    every = {(step, which): by_runs(step, which, 0.02) for step in range(3) for which in range(6)}
    most = max(every, key=lambda at: abs(every[at]))
    assert (found[0].step, found[0].which) == most
    for one in found:
        assert one.agrees
        assert one.slope == pytest.approx(every[one.step, one.which], rel=0.1)
        assert one.tried == pytest.approx(every[one.step, one.which], rel=0.1)
    (told,) = [item for item in findings(wafer) if item.subject == "edge"]
    said = re.search(rf"{NUDGE_PSI:g} psi more there makes it ([\d.]+) points (faster|slower)", told.text)
    assert said is not None
    by = NUDGE_PSI * PSI * found[0].tried
    assert float(said[1]) == pytest.approx(abs(by), rel=0.05)
    assert (said[2] == "faster") == (by > 0)
    assert f"{found[0].name} in step main" in told.text


def test_a_wafer_uneven_from_the_middle_is_mended_by_its_zones():
    uneven = BASES["rotary"].replace(
        {"recipe.step.main.zone_pressures": ["4 psi", "3.5 psi", "3 psi", "3 psi", "3 psi"]}
    )
    (item,) = advised(uneven)
    assert item.subject == "uniformity"
    assert "the centre zone in step main" in item.text
    assert item.promised["wiwnu_sigma_percent"][1] < 0.1 * item.promised["wiwnu_sigma_percent"][0]
    holds(uneven, item)


def test_a_step_that_stops_on_an_amount_still_does():
    setup = BASES["rotary"].replace({"recipe.step.main.ring_pressure": "6 psi"})
    (item,) = advised(setup)
    assert not any("stop" in path or "time" in path for path in item.changes)
    timed = setup.replace({"recipe.step.main.stop_on_removed": None, "recipe.step.main.max_time": None,
                           "recipe.step.main.time": "70 s"})  # fmt: skip
    (item,) = advised(timed)
    assert set(item.changes) == {"recipe.step.main.ring_pressure", "recipe.step.main.time"}
    before, after = item.promised["mean_remaining_nm"]
    assert after == pytest.approx(before, abs=1.0)


def test_a_ring_that_holds_the_wafer_is_not_set_below_it():
    rng = np.random.default_rng(4)
    for _ in range(8):
        setup = drawn(rng).replace({"recipe.step.main.ring_pressure": "8.5 psi"})
        for item in advised(setup):
            after = planish.polish(setup.replace(item.changes))
            ring, presses = after.rig.steps[1].ring_pressure, after.mean(after.steps[1].pressure)
            assert ring > presses or "may not hold it" in item.text


def test_what_gets_worse_is_told():
    setup = BASES["rotary"].replace({"recipe.step.main.ring_pressure": "6 psi"})
    (item,) = advised(setup)
    rates = item.promised["mean_removal_rate_nm_per_min"]
    assert rates[1] < 0.995 * rates[0]
    assert re.search(r"Worse by it: .*the rate", item.text)
    low = BASES["rotary"].replace({"recipe.step.main.ring_pressure": "1 psi"})
    (item,) = advised(low)
    warm = item.promised["peak_temperature_C"]
    assert warm[1] > warm[0] + 1
    assert f"the pad at its warmest, {warm[0]:.0f} → {warm[1]:.0f} °C" in item.text


def edge_of(wafer: planish.WaferResult) -> Finding:
    (item,) = [one for one in findings(wafer) if one.subject == "edge"]
    return item


def test_where_there_is_no_remedy_the_sentence_says_why(monkeypatch):
    setup = BASES["rotary"].replace({"recipe.step.main.ring_pressure": "6 psi"})
    from_si = edge_of(planish.polish(setup.rig))
    assert "SI records" in from_si.text
    assert not from_si.changes

    rigid = planish.loads(planish.new_setup("rotary")).replace({"head.part": "one-zone-300", **{
        f"recipe.step.{at}.{key}": value for at in (1, 2, 3)
        for key, value in (("zone_pressures", "3 psi"), ("ring_pressure", "0 psi"))}})  # fmt: skip
    item = edge_of(planish.polish(rigid))
    assert "has no ring and no zones to set apart" in item.text
    assert not item.changes

    def refused(*_: object, **__: object) -> None:
        raise planish.PlanishError("main: 3 psi: must be otherwise")

    monkeypatch.setattr("planish.tuning.remedy.Search.improve", refused)
    item = edge_of(planish.polish(setup))
    assert "No settings are proposed: they were refused: main: 3 psi: must be otherwise." in item.text
    assert not item.changes


def test_too_little_is_not_proposed():
    bent = BASES["linear"].replace(
        {
            "recipe.step.main.ring_pressure": "0 psi",
            "wafer.film.1.thickness": None,
            "wafer.film.1.profile": [["0 mm", "1000 nm"], ["135 mm", "1000 nm"], ["148 mm", "1060 nm"]],
        }
    )
    item = edge_of(planish.polish(bent))
    assert "less than 50 % of what is amiss would go. The film comes in uneven" in item.text
    assert not item.changes
    assert not item.promised


def test_films_that_are_gone_advise_nothing():
    setup = planish.load(EXAMPLES / "sti.toml")
    wafer = planish.polish(setup)
    made = advise(wafer, spread_of, faster=False)
    assert "the films are gone" in made.remedy
    assert not made.changes


def test_without_remedies_nothing_is_run(monkeypatch):
    wafer = planish.polish(BASES["rotary"].replace({"recipe.step.main.ring_pressure": "6 psi"}))
    monkeypatch.setattr("planish.explain.findings.advise", None)
    (item,) = [one for one in findings(wafer, remedies=False) if one.subject == "edge"]
    assert item.text.endswith("from the rim.")


def test_a_carrier_speed_told_against_a_retraced_path_does_what_it_says():
    setup = BASES["rotary"].replace(
        {"recipe.step.main.platen_speed": "90 rpm", "recipe.step.main.carrier_speed": "60 rpm"}
    )
    wafer = planish.polish(setup)
    (item,) = [one for one in findings(wafer) if "whole-number ratio" in one.text]
    other = setup.replace(item.changes)
    said = re.search(r"([\d.]+) → ([\d.]+) rpm", item.text)
    assert said is not None
    assert item.changes == {"recipe.step.main.carrier_speed": f"{said[2]} rpm"}
    assert retracing_steps(setup.rig) == [1]
    assert retracing_steps(other.rig) == []
    after = planish.polish(other).summary()
    assert {key: after[key] for key in item.promised} == {key: now for key, (_, now) in item.promised.items()}
    assert pair("whole wafer", item.text)[1] == pytest.approx(after["wiwnu_sigma_percent"], abs=0.00501)
    (bare,) = [one for one in findings(wafer, remedies=False) if "whole-number ratio" in one.text]
    assert not bare.changes
