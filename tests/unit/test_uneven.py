"""What is uneven before polishing, as a setup says it: one wafer, a lot, and what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from planish.errors import SetupError
from planish.jobs.settings import describe
from planish.physics.pressure.bow import bow_curvature, film_curvature
from planish.physics.pressure.flatness import Waves, turning_gap
from planish.physics.pressure.radial_grid import pressure_grid
from planish.predict.lot.plan import plan_lot
from planish.predict.lot.run import polish_lot
from planish.predict.lot.state import first_state
from planish.predict.lot.step import StepOn, pad_under, run_step
from planish.predict.lot.variation import Variation
from planish.predict.wafer.conditions import contact_pressure
from planish.predict.wafer.contact_model import prepare
from planish.predict.wafer.pad_surface import FreshSummits, PadState
from planish.predict.wafer.polish import polish
from planish.predict.wafer.uneven import bow_height, turning_past
from planish.setup.check import check
from planish.setup.fields import keys
from planish.setup.load import loads
from planish.setup.models import Setup
from planish.setup.new import new_setup

CELLS = 40
STILL = Variation.none()
WAVY = {
    "polisher.flatness": "10 um",
    "polisher.flatness_waves": 8,
    "pad.thickness_variation": "20 um",
    "pad.thickness_waves": 8,
}
RIGID = {"head.kind": "rigid", "head.back_film": "2 kPa/um", "head.gimbal_height": "10 mm"}


@pytest.fixture(scope="module")
def rotary() -> Setup:
    return loads(new_setup("rotary"))


def pad_state(rig, summits) -> PadState:
    """A new pad with the given summits; pressure does not ask for its temperature."""
    return PadState(summits, rig.pad.grooves.depth, np.empty(0))


def at_stated_stiffness(rig):
    """The rig with a pad that does not soften: what it is asked then hangs on no temperature."""
    layers = tuple(replace(layer, softening=0.0) for layer in rig.pad.layers)
    return replace(rig, pad=replace(rig.pad, layers=layers))


def test_nothing_said_is_flat_to_the_last_digit(rotary: Setup) -> None:
    rig = rotary.rig
    model = prepare(rig, cells=CELLS)
    assert turning_past(rig, model) is None
    assert bow_height(rig, model, None) == 0.0
    said = {
        "wafer.bow": "0 um",
        "polisher.flatness": "0 um",
        "head.kind": "membrane",
        "head.ring.wear_rate": "0 um/h",
    }
    flat, told = (polish(each, cells=CELLS) for each in (rotary, rotary.replace(said)))
    np.testing.assert_array_equal(told.removed, flat.removed)
    assert told.sources() == flat.sources()


@pytest.mark.parametrize("motion, said", [
    ("rotary", WAVY),
    ("orbital", WAVY),
    ("linear", {key: value for key, value in WAVY.items() if key.startswith("pad")}),
])  # fmt: skip
def test_what_is_not_flat_shows_on_every_machine(motion: str, said: dict[str, object]) -> None:
    setup = loads(new_setup(motion))
    flatness = [key for key in said if key == "polisher.flatness"]
    flat, wavy = polish(setup, cells=CELLS), polish(setup.replace(said), cells=CELLS)
    assert np.abs(wavy.removed / flat.removed - 1).max() > 2e-3
    assert any("swings by" in note for note in wavy.notes)
    assert not any("swings by" in note for note in flat.notes)
    slightly = polish(
        setup.replace({**said, "pad.thickness_variation": "1 nm", **dict.fromkeys(flatness, "1 nm")}),
        cells=CELLS,
    )
    assert not any("swings by" in note for note in slightly.notes)
    assert len(wavy.sources()) > len(flat.sources())


def test_a_belt_has_no_platen_to_be_uneven() -> None:
    with pytest.raises(SetupError, match=r"polisher\.flatness.*unknown key"):
        loads(new_setup("linear")).replace({"polisher.flatness": "5 um"})


def test_height_and_swing_grow_as_they_should(rotary: Setup) -> None:
    """The mean goes with the size, the swing with its square, and a crest turned into a trough turns the mean."""
    rig = rotary.rig
    model = prepare(rig, cells=CELLS)
    length, pressure = np.full(CELLS, 5e-6), np.full(CELLS, 2e4)

    def made(size: float):
        uneven = turning_past(
            replace(rig, polisher=replace(rig.polisher, flatness=size, flatness_waves=8.0)), model
        )
        assert uneven is not None
        return uneven.height, uneven.swing(length, pressure)

    (height, swing), (twice, four), (turned, same) = made(5e-6), made(10e-6), made(-5e-6)
    np.testing.assert_allclose(twice, 2 * height, rtol=1e-12)
    np.testing.assert_allclose(four, 4 * swing, rtol=1e-12)
    np.testing.assert_allclose(turned, -height, rtol=1e-12)
    np.testing.assert_allclose(same, swing, rtol=1e-12)


def test_a_softer_stack_passes_less_of_mean_and_swing(rotary: Setup) -> None:
    heard, swings = [], []
    for shore in (30, 55, 80):
        pressures = []
        for said in ({}, WAVY):
            rig = rotary.replace({**said, "pad.sub.shore_a": shore}).rig
            model = prepare(rig, cells=CELLS)
            state = pad_state(rig, FreshSummits(model.summits))
            pressures.append(contact_pressure(rig, rig.steps[1], model, state).pressure)
        uneven = turning_past(rig, model)
        assert uneven is not None
        heard.append(float(np.std((pressures[1] / pressures[0])[model.grid.r < 0.14])))
        swings.append(float(uneven.swing(np.full(CELLS, 5e-6), np.full(CELLS, 2e4)).mean()))
    assert heard == sorted(heard)
    assert swings == sorted(swings)


def test_a_wafer_that_swings_with_the_carrier_meets_more_of_the_pad() -> None:
    grid = pressure_grid(0.15, cells=CELLS)
    waves = Waves(20e-6, 2 * np.pi * 8 / 0.77)
    still, swung = (turning_gap(grid.r, grid.areas, waves, 0.19, swing) for swing in (0.0, 0.024))
    assert np.ptp(swung.mean) < np.ptp(still.mean)
    assert float(grid.areas @ swung.variance) > float(grid.areas @ still.variance)


def test_too_large_a_swing_is_said(rotary: Setup) -> None:
    notes = polish(rotary.replace({**WAVY, "polisher.flatness": "200 um"}), cells=CELLS).notes
    assert any("lift off" in note for note in notes)
    modest = polish(rotary.replace(WAVY), cells=CELLS).notes
    assert not any("lift off" in note for note in modest)


def test_a_stressed_film_bends_the_wafer_until_it_is_gone(rotary: Setup) -> None:
    """In a step the wafer is bent by what was left as it began: by less in the second than in the first."""
    setup = rotary.replace({"wafer.bow_from_stress": True, "wafer.film.1.stress": "-400 MPa"})
    rig = setup.rig
    wafer, model = rig.wafer, prepare(rig, cells=CELLS)
    whole = film_curvature([(-400e6, 1e-6)], wafer.modulus, wafer.poisson, wafer.thickness)
    assert whole > 0  # in compression: the edge is lifted
    by_hand = replace(rig, wafer=replace(
        wafer, bow=whole * wafer.radius**2 / 2, films=tuple(replace(f, stress=0.0) for f in wafer.films)))  # fmt: skip
    assert bow_curvature(by_hand.wafer.bow, wafer.radius) == pytest.approx(whole)
    bent, fixed = polish(rig, cells=CELLS), polish(by_hand, cells=CELLS)
    np.testing.assert_allclose(bent.steps[0].pressure, fixed.steps[0].pressure, rtol=1e-9)
    half = np.full((1, CELLS), 0.5e-6)
    np.testing.assert_allclose(
        bow_height(rig, model, half), 0.5 * bow_height(by_hand, model, half), rtol=1e-12
    )
    flat = polish(rotary, cells=CELLS)
    away = [np.abs(each.steps[2].pressure / flat.steps[2].pressure - 1).max() for each in (bent, fixed)]
    assert 0.2 * away[1] < away[0] < 0.7 * away[1]  # 580 of 1000 nm have gone by then


@pytest.mark.parametrize("keys", [
    {"wafer.bow": "60 um"},
    {"wafer.bow_from_stress": True, "wafer.film.1.stress": "-400 MPa"},
    WAVY,
    RIGID,
    {**WAVY, **RIGID, "wafer.bow": "-60 um"},
])  # fmt: skip
def test_a_lot_begins_with_the_wafer_that_is_polished_alone(rotary: Setup, keys: dict[str, object]) -> None:
    setup = rotary.replace(keys)
    first = polish_lot(setup, 2, variation=STILL, cells=CELLS).records
    alone = polish(setup, cells=CELLS)
    np.testing.assert_allclose(first.removed[0], alone.removed, rtol=5e-3)
    shape = first.removed[0] / first.removed[0].mean() - alone.removed / alone.removed.mean()
    assert np.abs(shape).max() < 1e-3


def test_the_quick_step_of_a_lot_has_the_pressure_of_one_wafer(rotary: Setup) -> None:
    rig = at_stated_stiffness(rotary.replace({**WAVY, **RIGID, "wafer.bow": "60 um", "wafer.bow_from_stress": True,
                          "wafer.film.1.stress": "150 MPa"}).rig)  # fmt: skip
    lot = plan_lot(rig, 5, cells=CELLS)
    state = first_state(lot)
    model = prepare(rig, cells=CELLS)
    left = 0.4 * lot.incoming
    under = pad_under(lot, state.pad)
    on = StepOn(lot, lot.steps[1], state.steps[1], under, state.temperatures, left, 1.0, 30.0)
    fast = run_step(on, state.pad)
    fresh = pad_state(rig, fast.summits)
    slow = contact_pressure(rig, rig.steps[1], model, fresh, left=left)
    np.testing.assert_allclose(fast.solved.pressure[:CELLS], slow.pressure, rtol=1e-7)


def test_a_worn_ring_presses_as_one_made_with_its_gap(rotary: Setup) -> None:
    """Between the new and the worn gap the matrices are mixed in proportion."""
    keys = {"head.ring.gap_wear_rate": "20 um/h"}
    lot = plan_lot(at_stated_stiffness(rotary.replace(keys).rig), 300, cells=CELLS)
    assert lot.ring is not None
    gained = 0.5 * float(lot.ring.gained[1])
    use = gained / lot.ring.rate
    ring = rotary.rig.head.ring
    wider = replace(at_stated_stiffness(rotary.rig), head=replace(
        rotary.rig.head, ring=replace(ring, gap=ring.gap + gained, width=ring.width - gained)))  # fmt: skip
    state, step = first_state(lot), lot.steps[1]
    outcomes = [
        run_step(
            StepOn(lot, step, state.steps[1], under, state.temperatures, lot.incoming, 1.0, 30.0), state.pad
        )
        for under in (pad_under(lot, state.pad, use), pad_under(lot, state.pad))
    ]  # fmt: skip
    model = prepare(wider, cells=CELLS)
    fresh = pad_state(wider, outcomes[0].summits)
    made = contact_pressure(wider, wider.steps[1], model, fresh).pressure
    worn, new = (found.pressure[:CELLS] for found in outcomes)
    assert np.abs(worn / new - 1).max() > 2e-3
    assert np.abs(worn - made).max() < 0.03 * np.abs(worn - new).max()


def test_a_lot_tells_what_its_ring_lost_and_when_it_is_worn(rotary: Setup) -> None:
    keys = {
        "head.ring.wear_rate": "60 um/h",
        "head.ring.wear_allowance": "0.05 mm",
        "head.ring.gap_wear_rate": "5 um/h",
    }
    lot = polish_lot(rotary.replace(keys), 60, variation=STILL, cells=CELLS)
    told = lot.summary()
    hours = float(lot.records.time.sum()) / 3600
    assert told["last_ring_worn_um"] == pytest.approx(60 * hours)
    assert told["last_ring_gap_um"] == pytest.approx(500 + 5 * hours)
    after = np.cumsum(lot.records.time) * 60 / 3600 > 50
    assert (told["end_of_life_wafer"], told["end_of_life_cause"]) == (int(np.argmax(after)) + 1, "ring worn")
    without = polish_lot(rotary, 5, variation=STILL, cells=CELLS).summary()
    assert not any("ring" in key for key in without)


def test_a_ring_cannot_wear_through_to_its_outside(rotary: Setup) -> None:
    with pytest.raises(Exception, match=r"ring gap gained in the lot.*fewer wafers"):
        polish_lot(rotary.replace({"head.ring.gap_wear_rate": "1000 um/h"}), 5000, cells=CELLS)


def test_a_rigid_head_presses_a_bow_flat_and_hears_the_tilt(rotary: Setup) -> None:
    """Its film takes most of the bow from the pad; friction lifts the pressure at the edge by a share of the tilt."""
    bowed = {"wafer.bow": "100 um"}
    free, held = (
        np.ptp(bow_height(rig, prepare(rig, cells=CELLS), None))
        for rig in (rotary.replace(bowed).rig, rotary.replace({**bowed, **RIGID}).rig)
    )
    assert held < 0.2 * free
    level, tilted = (
        polish(rotary.replace({**RIGID, "head.gimbal_height": height}), cells=CELLS).steps[1].pressure
        for height in ("0 mm", "30 mm")
    )
    rise = tilted / level - 1
    assert rise[-1] > 0 > rise[0]
    assert np.abs(rise).max() < 0.05


@pytest.mark.parametrize("keys, said", [
    ({**RIGID, "recipe.step.main.zone_pressures": ["3 psi", "3 psi", "3 psi", "3 psi", "4 psi"]},
     r"zone_pressures.*one pressure.*everywhere alike"),
    ({"head.kind": "hard"}, r"head\.kind.*membrane, rigid"),
    ({"wafer.bow_from_stress": True}, r"bow_from_stress.*a film with a stress"),
    ({"wafer.bow": "5 mm"}, r"wafer\.bow.*2000 µm"),
    ({"polisher.flatness_waves": 100}, r"flatness_waves.*40"),
    ({"head.ring.wear_rate": "-1 um/h"}, r"head\.ring\.wear_rate"),
])  # fmt: skip
def test_what_cannot_be_is_refused(rotary: Setup, keys: dict[str, object], said: str) -> None:
    with pytest.raises(SetupError, match=said):
        rotary.replace(keys)


def test_check_questions_and_explains(rotary: Setup) -> None:
    setup = rotary.replace({"wafer.bow": "400 um", "head.gimbal_height": "10 mm"})
    assert setup.rig.wafer.bow == pytest.approx(400e-6)
    assert setup.rig.head.gimbal_height == 0.0
    found = {finding.place: finding for finding in check(setup)}
    rigid = check(rotary, {"head.kind": "rigid"})
    assert any("head.back_film not given: used 2 kPa/µm" in finding.message for finding in rigid)
    assert found["wafer.bow"].level == "unlikely"
    assert "says nothing of a head with a membrane" in found["head.gimbal_height"].message


@pytest.mark.parametrize("motion", ["rotary", "orbital", "linear"])
def test_forms_offer_what_no_part_says(motion: str) -> None:
    """Each key that is off unless said stands in the forms with the value that holds, and can be set from there."""
    setup = loads(new_setup(motion))
    tables = setup.tree  # a key of a table that the setup does not have is offered with the table
    off = {
        info.path: info
        for info in keys(motion)
        if info.unsaid is not None and info.path.split(".", 1)[0] in tables
    }
    assert {"wafer.bow", "head.kind", "head.ring.wear_rate", "pad.thickness_variation"} <= set(off)
    assert ("polisher.flatness" in off) == (motion != "linear")
    shown = {field["path"]: field for field in describe(setup) if field["path"] in off}
    assert shown.keys() == off.keys()
    for path, field in shown.items():
        assert field["origin"] == "default"
        told = setup.replace({path: field["text"]})
        assert {each["path"]: each for each in describe(told)}[path]["origin"] == "setup"
        if field["kind"] == "number":
            assert field["low"] <= field["value"] <= field["high"]
            assert told.si(path) == pytest.approx(field["value"])
