"""The die and all fields of a wafer from a setup file; the same numbers on any number of workers."""

from types import SimpleNamespace

import numpy as np
import pytest

import planish
from planish.engine.execute import Cancel, CancelledError, run_all
from planish.engine.record import same
from planish.errors import PlanishError, SetupError
from planish.predict.die.conditions import pad_state, place_radius
from planish.predict.die.fields import field_centres, polish_fields
from planish.predict.die.pad import pad_after
from planish.predict.die.polish import polish_die
from planish.predict.lot.run import polish_lot
from planish.predict.lot.variation import Variation
from planish.predict.wafer.pad_surface import as_conditioned, summit_curve
from planish.predict.wafer.polish import polish

BARE = {
    "conditioner": None,
    **{f"recipe.step.{name}.conditioning": False for name in (1, 2, 3)},
}


@pytest.fixture(scope="module")
def setup():
    from pathlib import Path

    return planish.load(Path(__file__).parents[2] / "examples" / "rotary.toml")


@pytest.fixture(scope="module")
def maps():
    density = np.kron(np.random.default_rng(1).uniform(0.2, 0.8, (4, 4)), np.ones((20, 20)))
    widths = {
        "line_width": 4e-6 * density,
        "space": 4e-6 * (1 - density),
        "perimeter": np.full((80, 80), 5e5),
    }
    return SimpleNamespace(density=density, cell=1.5e-4, origin=(0.0, 0.0), **widths)


def test_three_places_at_once(setup, maps):
    got = polish_die(setup, maps)
    assert got.places == ["centre", "mid", "edge"]
    assert [die.local.radius for die in got.dies] == sorted(die.local.radius for die in got.dies)
    summary = got.document()
    assert 1 < summary["planarization_length_mm"] < 10
    assert len(summary["places"]) == 3
    assert any("derivation of our own" in line for line in got.sources())
    blanket = got.dies[0].local.rates("oxide") @ [s.duration for s in got.dies[0].local.steps]
    # The mean over high and low areas, weighted as the pad sees them, is the blanket removal.
    share = got.dies[0].seen.high
    up = -got.dies[0].fields.level_high
    down = up - got.level.step + got.dies[0].fields.named["step_height"]
    np.testing.assert_allclose(share * up + (1 - share) * down, blanket, rtol=1e-9)


def test_surface_goes_on_to_the_next_level(setup, maps):
    first = polish_die(setup, maps, place="mid")
    second = polish_die(setup, maps, place="mid", incoming=first.surface())
    assert second.dies[0].thickness_range != first.dies[0].thickness_range
    assert abs(first.surface().mean()) < 1e-15


def test_a_glazed_pad_reaches_less_deep(setup):
    fresh = pad_state(setup.rig, 2e4, sliding_share=0.01)
    half = pad_state(setup.rig, 2e4, sliding_share=0.005)
    assert half.selectivity_length == pytest.approx(fresh.selectivity_length / 2)
    glazed = pad_state(setup.rig, 2e4, sliding_share=0.01, worn=(0.5, 1.0))
    assert glazed.spot_radius < fresh.spot_radius
    assert glazed.selectivity_length < fresh.selectivity_length


def test_fields_are_the_same_on_any_number_of_workers(setup, maps):
    centres = field_centres(setup.rig, 0.05, 0.06)
    assert all(np.hypot(abs(x) + 0.025, abs(y) + 0.03) <= 0.147 + 1e-9 for x, y in centres)
    seen = []
    one = polish_fields(setup, maps, centres=centres, workers=1, progress=lambda i, n: seen.append((i, n)))
    two = polish_fields(setup, maps, centres=centres, workers=2)
    assert same(one.fields, two.fields)
    assert seen[-1] == (len(centres), len(centres))
    assert [(f.x, f.y) for f in one.fields] == centres


def test_fields_run_on_a_scheduler_by_address(setup, maps):
    distributed = pytest.importorskip("distributed")
    centres = [(0.0, 0.0), (0.05, 0.0), (0.0, 0.1)]
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None, scheduler_port=0
    ) as cluster:
        far = polish_fields(setup, maps, centres=centres, address=cluster.scheduler_address)
    assert same(far.fields, polish_fields(setup, maps, centres=centres, workers=1).fields)


@pytest.mark.parametrize("workers", [1, 2])
def test_work_stops_between_two_pieces(workers):
    cancel = Cancel()
    begun = []

    def work(i):
        begun.append(i)
        if len(begun) < 3:
            return i
        # Whichever worker gets here, no other piece may begin from now on but those that already have.
        cancel.stop()
        return i

    done = []
    with pytest.raises(CancelledError, match=r"of 50 pieces"):
        run_all(work, range(50), workers=workers, cancel=cancel, progress=lambda i, n: done.append(i))
    # A worker may have looked at the switch just before it was thrown: one piece for each other worker.
    assert 3 <= len(begun) <= 3 + workers - 1
    assert done == list(range(1, len(done) + 1))
    assert len(done) <= len(begun)


def test_one_worker_keeps_the_order_and_says_how_far_it_came():
    cancel = Cancel()
    begun = []

    def work(i):
        begun.append(i)
        if i == 2:
            cancel.stop()
        return i

    with pytest.raises(CancelledError, match="after 3 of 50 pieces"):
        run_all(work, range(50), workers=1, cancel=cancel)
    assert begun == [0, 1, 2]


def test_errors_of_a_piece_and_bad_workers_come_through():
    def work(i):
        raise PlanishError(f"piece {i} is bad")

    with pytest.raises(PlanishError, match="is bad"):
        run_all(work, [1, 2], workers=2)
    with pytest.raises(PlanishError, match="workers"):
        run_all(work, [1], workers=0)
    with pytest.raises(PlanishError, match="cluster"):
        run_all(len, [[1]], address="nowhere")
    assert run_all(work, []) == []


def test_unknown_places_and_materials_are_refused(setup, maps):
    with pytest.raises(SetupError, match="place"):
        place_radius(setup.rig, "rim")
    with pytest.raises(SetupError, match="removal"):
        polish_die(setup, maps, process="copper", place="centre")


def test_a_pad_that_does_not_change_is_after_many_wafers_the_pad_that_it_was(setup, maps):
    """One decay length for both: before, a worn pad's was the mean excess height of the summits in contact."""
    cold = {"pad.top.softening": "0 %/K", "pad.sub.softening": "0 %/K"}  # a lot keeps its pad warm
    still = setup.replace({"pad.polish_wear_coefficient": "0 1/Pa", **cold, **BARE})
    after = pad_after(still, 3)
    new, worn = polish_die(still, maps), polish_die(still, maps, after=after)
    assert worn.dies[0].seen.length == pytest.approx(new.dies[0].seen.length, rel=1e-6)
    surface = as_conditioned(still.rig)
    pressure = float(polish(still).steps[1].pressure[0])
    fresh = float(summit_curve(surface).at(pressure, "decay_length"))
    assert after.new_decay_length == pytest.approx(fresh, rel=0.02)
    assert after.decay_length == pytest.approx(after.new_decay_length, rel=1e-9)


def test_the_pad_after_some_wafers_is_the_one_that_the_next_wafer_meets(setup):
    bare = setup.replace(BARE)
    lot = polish_lot(bare, 6, variation=Variation.none())
    after = pad_after(bare, 5)
    assert after.decay_length == lot.records.decay_length[5]
    assert after.groove_depth == lot.records.groove_mean[4]
    assert after.decay_length < after.new_decay_length  # it glazes
