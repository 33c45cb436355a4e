"""The dwell table of a setup's own disk: even wear on the track, and a lot that stays flat with it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from planish.errors import ModelError, SetupError
from planish.physics.surface.dwell import ratio_of, turns_of
from planish.predict.dwell import design_sweep
from planish.predict.lot.pad import cut_rates
from planish.predict.lot.pad_rings import pad_rings
from planish.predict.lot.run import polish_lot
from planish.predict.lot.variation import Variation
from planish.predict.sweep_design import CARE
from planish.predict.wafer.contact_model import prepare
from planish.setup.check import check
from planish.setup.load import loads
from planish.setup.new import new_setup


@pytest.mark.parametrize("motion", ["rotary", "linear"])
def test_wear_is_evener_than_with_the_plain_sweep(motion: str) -> None:
    found = design_sweep(loads(new_setup(motion)))
    assert found.zone_dwell.sum() == pytest.approx(1.0, abs=1e-9)
    assert np.all(found.zone_dwell >= 0)
    assert found.uneven_after < 0.6 * found.uneven_before


def test_the_table_goes_into_a_setup_and_keeps_wafers_flat() -> None:
    setup = loads(new_setup("rotary"))
    found = design_sweep(setup)
    own = setup.replace(found.changes)
    plain, designed = (
        polish_lot(each, 150, variation=Variation.none()).summary()["last_wiwnu_sigma_percent"]
        for each in (setup, own)
    )
    assert designed < 0.7 * plain


@pytest.mark.parametrize(
    ("motion", "zones", "turns", "ratio"),
    [("rotary", 10, 1, 3.0), ("rotary", 10, 3, 2.0), ("linear", 12, 1, 3.0), ("orbital", 8, 2, 3.0)],
)
def test_an_arm_can_run_the_table(motion: str, zones: int, turns: int, ratio: float) -> None:
    """Neighbours, turns, and a pass in the sweep's own time within the drive's limits, of the table as it is written."""
    setup = loads(new_setup(motion))
    found = design_sweep(setup, zones, turns=turns, ratio=ratio)
    assert ratio_of(found.zone_dwell) <= ratio
    assert turns_of(found.zone_dwell) <= turns
    assert setup.rig.conditioner is not None
    path = setup.rig.conditioner.sweep
    run, stay = found.run, 0.5 / path.frequency * found.zone_dwell / found.zone_dwell.sum()
    assert run.time[-1] == pytest.approx(0.5 / path.frequency, rel=1e-4)
    assert run.speed[0] == run.speed[-1] == 0.0
    assert run.speed.max() <= path.top_speed * (1 + 1e-6)
    slopes = np.abs(np.diff(run.speed) / np.diff(run.time))
    assert slopes.max() <= path.top_acceleration * (1 + 1e-5)
    # it passes the ends of the zones when the table says
    assert np.interp(np.cumsum(stay), run.time, found.run_place) == pytest.approx(
        found.zone_edges[1:], abs=1e-4
    )


def test_the_arm_is_what_stops_more() -> None:
    """A stiffer drive gives a table that is no less even, a slower sweep too; and it says what stops it."""
    setup = loads(new_setup("linear"))
    found = design_sweep(setup)
    fast = setup.replace(
        {"conditioner.sweep.top_speed": "3 m/s", "conditioner.sweep.top_acceleration": "20 m/s^2"}
    )
    slow = setup.replace({"conditioner.sweep.frequency": "5 1/min"})
    for other in (fast, slow):
        assert design_sweep(other).uneven_after < found.uneven_after
    without = dict(found.reached.without)
    assert design_sweep(fast).uneven_after == pytest.approx(
        without["with an arm of any speed and acceleration"], rel=0.1
    )


def test_evenness_that_is_asked_for_is_reached_or_told_why_not() -> None:
    setup = loads(new_setup("rotary"))
    reached = design_sweep(setup, even="8 %")
    assert reached.uneven_after < 0.08
    assert reached.notes == (CARE,)
    note, _ = design_sweep(setup, even=0.04).notes
    assert note.startswith("even: 4 % asked for, ")
    assert "with as many turns as it likes" in note
    note, _ = design_sweep(setup, even="0.1 %").notes
    assert "no table of these zones does" in note


def test_the_wear_told_is_that_of_the_setup_with_the_table() -> None:
    setup = loads(new_setup("rotary"))
    found = design_sweep(setup, 9)
    own = setup.replace(found.changes).rig
    rings = pad_rings(own, prepare(own).grid)
    step = max(own.steps, key=lambda each: each.stop_value if each.stop == "time" else each.max_time)
    np.testing.assert_allclose(cut_rates(own, rings, step), found.cut_after, rtol=1e-9)
    # as the arm really runs, which ramps within zones, it wears about as evenly
    assert found.uneven_run == pytest.approx(found.uneven_after, abs=0.01)
    assert found.uneven_after > found.reached.unlimited


def test_what_cannot_be_designed_is_refused() -> None:
    rig = loads(new_setup("rotary")).rig
    with pytest.raises(SetupError, match="conditioner"):
        design_sweep(replace(rig, conditioner=None))
    with pytest.raises(SetupError, match="zones"):
        design_sweep(rig, zones=1)
    with pytest.raises(SetupError, match="turns = 9: must be 0 to 3"):
        design_sweep(rig, turns=9)
    with pytest.raises(SetupError, match=r"ratio = 0\.5: must be from 1"):
        design_sweep(rig, ratio=0.5)
    with pytest.raises(SetupError, match="even = '120 %': must be above 0 %"):
        design_sweep(rig, even="120 %")
    with pytest.raises(SetupError, match="even = 'much'"):
        design_sweep(rig, even="much")
    with pytest.raises(ModelError, match="none that the arm can run"):
        design_sweep(rig, turns=0)
    often = loads(new_setup("rotary")).replace({"conditioner.sweep.frequency": "60 1/min"})
    with pytest.raises(SetupError, match=r"frequency = '60 1/min': must be at most 19\.78 1/min"):
        design_sweep(often)


@pytest.mark.parametrize("zones", [2, 5, 10])
@pytest.mark.parametrize("motion", ["rotary", "linear", "orbital"])
def test_a_setup_with_the_table_wears_as_the_design_says(motion: str, zones: int) -> None:
    setup = loads(new_setup(motion))
    found = design_sweep(setup, zones)
    if not found.better:
        assert found.changes == {}
        assert "keep it" in found.notes[0]
        return
    *told, care = found.notes
    assert care == CARE
    lost = found.uneven_run - found.uneven_after  # what the arm, which cannot jump between speeds, gives away
    assert bool(told) == (lost > 0.25 * (found.uneven_before - found.uneven_after))
    assert all("the arm wears the pad uneven by" in note for note in told)
    then = design_sweep(setup.replace(found.changes), zones)
    assert then.uneven_before == pytest.approx(found.uneven_after, rel=1e-5)
    np.testing.assert_allclose(then.cut_before, found.cut_after, rtol=1e-4)


def test_a_table_that_is_no_better_is_not_recommended() -> None:
    found = design_sweep(loads(new_setup("orbital")), 40, least=0.02)
    assert found.uneven_after > found.uneven_before
    assert found.changes == {}


def test_a_table_that_the_arm_cannot_run_is_questioned() -> None:
    setup = loads(new_setup("rotary"))
    place = "conditioner.sweep.zone_dwell"

    def questioned(table: list[float], **more: str) -> list[str]:
        edges = [f"{edge:g} mm" for edge in np.linspace(60, 350, len(table) + 1)]
        changes = {"conditioner.sweep.zone_edges": edges, place: table}
        more = {f"conditioner.sweep.{key}": text for key, text in more.items()}
        return [each.message for each in check(setup, changes | more) if each.place == place]

    assert questioned([1, 1, 1]) == []
    (text,) = questioned([1, 1, 1], frequency="17 1/min")
    assert "more than top_acceleration" in text
    (text,) = questioned([9, 1, 9])
    assert "is beyond top_speed, 0.3 m/s" in text
    assert "planish dwell" in text
    assert questioned([9, 1, 9], frequency="2 1/min") == []
    (text,) = questioned([1, 0, 1])
    assert "beyond top_speed" in text
    design = design_sweep(setup)
    assert not [each for each in check(setup, design.changes) if each.place == place]
