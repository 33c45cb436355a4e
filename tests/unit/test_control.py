"""Run-to-run control: what is learned and what is held off, limits, changes, heads and platens, the journal, the trial."""

from __future__ import annotations

import json
import threading
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

import planish
from planish.errors import DataError
from planish.hold.control.ageing import ageing_of, course_of
from planish.hold.control.belief import Spreads
from planish.hold.control.journal import Entry, JournalFile
from planish.hold.control.kalman import AGEING, DISK, MACHINE, PAD, Kalman
from planish.hold.control.loop import Coming, Loop, advise, first_state, learn, ran
from planish.hold.control.moves import Room, best_move
from planish.hold.control.plant import Plant, drawn
from planish.hold.control.replay import replay
from planish.hold.control.steered import output_weights, steered
from planish.hold.control.weighted import Ewma
from planish.predict.lot.advance import advance
from planish.predict.lot.plan import plan_lot
from planish.predict.lot.run import polish_lot
from planish.predict.lot.state import Control
from planish.predict.lot.state import first_state as first_lot
from planish.predict.lot.variation import Variation, draw

EXAMPLES = Path(__file__).parents[2] / "examples"
TIMED = EXAMPLES / "copper-barrier.toml"  # one step, timed
QUICK = {"wafers": 60, "seeds": 2, "pad_every": 25, "disk_every": 40}


def room(most=10.0, change=10.0, moves=1):
    return Room(("time",) * moves, np.full(moves, -most), np.full(moves, most), np.full(moves, change))


def loop_of(estimator=None, **limits):
    return Loop(np.ones((1, 1)), room(**limits), Kalman() if estimator is None else estimator)


def coming(goal=0.0, foretold=0.0, aged=0.0, changed=()):
    return Coming(np.array([goal]), np.array([foretold]), aged, changed)


def after(loop, outputs, changed=None):
    """Return the state after wafers that gave so much with unmoved settings, each measured at once."""
    state, heard = first_state(loop), []
    for wafer, output in enumerate(outputs):
        state = ran(state, f"w{wafer}", np.zeros(1), coming(changed=(changed or {}).get(wafer, ())))
        state, one = learn(loop, state, f"w{wafer}", [output])
        heard.append(one)
    return state, heard


def test_late_metrology_is_held_against_the_settings_of_its_own_wafer():
    loop = loop_of(Ewma(0.5))
    state = first_state(loop)
    for wafer, move in enumerate((0.02, -0.03, 0.01)):
        state = ran(state, f"w{wafer}", np.array([move]), coming())
    for wafer, move in enumerate((0.02, -0.03, 0.01)):
        state, heard = learn(loop, state, f"w{wafer}", [move + 0.004])
        assert heard.learned
    assert state.belief.mean[0, 0] == pytest.approx(0.004 * (1 - 0.5**3))
    assert not state.waiting


def test_missing_out_of_order_and_suspect_measurements_are_held_off_and_told():
    loop = loop_of()
    state, _ = after(loop, [0.0] * 20)
    for wafer in ("a", "b", "c"):
        state = ran(state, wafer, np.zeros(1), coming())
    before = state
    state, heard = learn(loop, state, "a", None)
    assert (heard.learned, heard.why) == (False, "missing")
    assert state == before  # it may yet come
    _, heard = learn(loop, state, "a", [float("nan")])
    assert heard.why == "missing"
    state, heard = learn(loop, state, "b", [0.1])
    assert not heard.learned
    assert heard.why.startswith("suspect")
    assert np.all(state.belief.mean == before.belief.mean)
    again, heard = learn(loop, state, "a", [0.0])
    assert not heard.learned
    assert heard.why.startswith("out of order")
    assert again == state


def test_a_shift_is_believed_at_the_third_wafer_and_a_swing_never():
    loop = loop_of()
    start, _ = after(loop, [0.0] * 30)
    state, heard = after(loop, [0.0] * 30 + [0.08] * 3)
    assert [one.learned for one in heard[-3:]] == [False, False, True]
    assert state.belief.mean[0, 0] + state.belief.mean[1:3, 0].sum() == pytest.approx(0.08, abs=0.01)
    _, heard = after(loop, [0.0] * 30 + [0.08, -0.08, 0.08, -0.08])
    assert not any(one.learned for one in heard[-4:])
    assert start.suspects == ()


def test_a_change_takes_back_what_is_known_of_the_consumable_and_keeps_the_rest():
    loop = loop_of()
    state, _ = after(loop, 0.03 + 0.001 * np.random.default_rng(0).standard_normal(60))
    belief = state.belief
    assert np.all(belief.mean[[MACHINE, PAD]] > 0.005)
    renewed = loop.estimator.later(belief, ("pad",))
    spreads = loop.estimator.spreads
    assert renewed.mean[PAD, 0] == renewed.mean[AGEING, 0] == 0.0
    assert renewed.spread[PAD, PAD] == spreads.pad**2
    assert renewed.spread[AGEING, AGEING] == spreads.ageing**2
    assert renewed.mean[[MACHINE, DISK], 0] == pytest.approx(belief.mean[[MACHINE, DISK], 0])
    assert np.all(renewed.spread[PAD, [MACHINE, DISK, AGEING]] == 0)
    # a wafer far off on a new pad is no suspect, and nothing is moved for before it is measured but what the old pad was
    state, heard = after(loop, [0.0] * 30 + [0.06], {30: ("pad",)})
    assert heard[-1].learned


def test_moves_keep_to_their_limits_and_say_which_holds():
    loop = loop_of(most=0.1, change=0.02)
    state, _ = after(loop, [0.0])
    found = advise(loop, state, coming(goal=1.0))
    assert found.moved[0] == pytest.approx(0.02)
    assert found.limits == ("change of time from wafer to wafer",)
    for wafer in range(10):
        found = advise(loop, state, coming(goal=1.0))
        state = ran(state, f"x{wafer}", found.moved, coming())
    assert found.moved[0] == pytest.approx(0.1)
    assert found.limits == ("most time",)
    state, _ = learn(loop, state, "x9", [0.1])  # what was really moved counts: nothing is wound up
    assert abs(state.belief.mean.sum()) < 1e-12


def test_what_is_to_be_removed_and_what_is_foretold_are_fed_forward():
    state, _ = after(loop_of(), [0.0] * 5)
    plain = advise(loop_of(), state, coming()).moved[0]
    assert advise(loop_of(), state, coming(goal=0.02)).moved[0] == pytest.approx(plain + 0.02)
    assert advise(loop_of(), state, coming(foretold=-0.03)).moved[0] == pytest.approx(plain + 0.03)
    blind = loop_of(Ewma())
    assert advise(blind, first_state(blind), coming(foretold=-0.03)).moved[0] == 0.0


def test_several_moves_come_as_close_as_their_limits_let_them():
    gain = np.array([[1.0, 0.3, 0.0], [1.0, 0.0, 0.3]])
    wanted = np.array([0.02, -0.01])
    free, limits = best_move(gain, wanted, room(moves=3), np.zeros(3))
    assert gain @ free == pytest.approx(wanted, abs=1e-5)
    assert limits == ()
    tight = Room(("a", "b", "c"), np.full(3, -0.01), np.full(3, 0.01), np.full(3, 1.0))
    held, limits = best_move(gain, wanted, tight, np.zeros(3))
    grid = np.stack(np.meshgrid(*[np.linspace(-0.01, 0.01, 41)] * 3, indexing="ij"), -1).reshape(-1, 3)
    best = np.linalg.norm(grid @ gain.T - wanted, axis=1).min()
    assert np.linalg.norm(gain @ held - wanted) <= best + 1e-6
    assert limits


@pytest.fixture(scope="module")
def rig():
    return planish.load(TIMED).rig


@pytest.fixture(scope="module")
def step(rig):
    return steered(rig)


@dataclass(frozen=True, slots=True)
class Given(Control):
    """Times that are set whatever is measured, for the lot's own model."""

    times: tuple[float, ...] = ()

    def durations(self, most):
        return self.times

    def learned(self, measured, times):
        return self


def test_what_a_move_does_is_what_the_lot_model_does(rig, step):
    """The reduced step against the lot itself: other times, wafer by wafer."""
    times = step.time * np.exp(np.random.default_rng(2).uniform(-0.06, 0.06, 25))
    plan = plan_lot(rig, 25, adjust=True)
    draws = draw(Variation.none(), 25, 0)
    state, removed = first_lot(plan), []
    for wafer in range(25):
        state = replace(state, control=Given(times=(float(times[wafer]),)))
        state, row = advance(state, plan, draws.of(wafer))
        removed.append(row.mean_removed)
    lot = polish_lot(rig, 25, variation=Variation.none(), adjust="run-to-run")
    course = course_of(lot, step, output_weights(rig, zones=False))[:, 0]
    found = np.log(np.array(removed) / step.wanted[0])
    assert found == pytest.approx(course + step.gain[0, 0] * np.log(times / step.time), abs=1e-3)


def test_one_average_without_delay_is_the_lots_own_run_to_run(rig, step):
    """The small control inside the lot is one case: an average of the rate, weight 0.3, known at once."""
    wafers, variation = 40, Variation()
    lot = polish_lot(rig, wafers, seed=4, adjust="run-to-run", variation=variation)
    errors = draw(variation, wafers, 4).measurement
    target = float(lot.records.mean_removed[0] * errors[0])
    loop = Loop(np.ones((1, 1)), room(), Ewma(0.3), suspect=np.inf)
    state, times = first_state(loop), []
    for wafer in range(wafers):
        move = np.log(lot.records.time[wafer] / lot.records.time[0])
        times.append(float(lot.records.time[0] * np.exp(advise(loop, state, coming()).moved[0])))
        state = ran(state, str(wafer), np.array([move]), coming())
        measured = float(lot.records.mean_removed[wafer] * errors[wafer])
        state, _ = learn(loop, state, str(wafer), [np.log(measured / target)])
    # an average of logarithms against one of rates: the same to second order in what they scatter by
    assert np.array(times) == pytest.approx(lot.records.time, rel=3e-4)


def test_the_foretold_course_is_that_of_a_lot_with_other_changes(rig, step):
    """The kept lines against a lot whose disk was changed between two of them."""
    weights = output_weights(rig, zones=False)
    ageing = ageing_of(rig, step, weights, 60, 60)
    lot = polish_lot(rig, 40, variation=Variation.none(), adjust="run-to-run", events=["21 disk"])
    course = course_of(lot, step, weights)[:, 0]
    read = [float(ageing.at(wafer, wafer if wafer < 20 else wafer - 20)[0]) for wafer in range(40)]
    assert read == pytest.approx(course, abs=1e-3)
    assert np.ptp(course) > 4e-3


def test_chance_has_the_spreads_that_are_stated():
    spreads = Spreads(0.003, 0.002, 0.0, 0.0, 0.02, 0.0, 0.0, 0.0)
    changed = tuple(("pad",) if wafer and wafer % 10 == 0 else () for wafer in range(2000))
    plant = Plant(np.zeros((2000, 1)), np.zeros(2000), changed, np.ones((1, 1)), spreads)
    one = drawn(plant, 3, 0)
    lives = one.outputs.reshape(200, 10)
    assert lives.mean(axis=1).std() == pytest.approx(0.02, rel=0.15)
    assert (lives - lives.mean(axis=1, keepdims=True)).std() == pytest.approx(0.003 * np.sqrt(0.9), rel=0.05)
    assert one.errors.std() == pytest.approx(0.002, rel=0.05)
    assert np.array_equal(drawn(plant, 3, 0).outputs, one.outputs)
    assert not np.array_equal(drawn(plant, 3, 1).outputs, one.outputs)


def test_a_trial_ranks_controls_and_is_the_same_again():
    trial = planish.try_control(TIMED, **QUICK, spreads={"wander": "0.05 %"})
    spread = {row.name: row.sigma for row in trial.rows}
    assert spread["kalman"] < spread["ewma"] < spread["fixed time"]
    assert spread["kalman"] < spread["double ewma"]
    assert trial.least > trial.true.process
    again = planish.try_control(TIMED, **QUICK, spreads=Spreads(wander=0.0005))
    assert again.document() == trial.document()
    assert planish.try_control(TIMED, **QUICK, seed=1).row("kalman").sigma != spread["kalman"]


def test_a_trial_meets_gain_errors_gross_errors_and_missing_values():
    far = {"wafers": 100, "seeds": 2, "pad_every": 45, "disk_every": 70}
    plain = planish.try_control(TIMED, **far).row("kalman")
    trial = planish.try_control(
        TIMED, **far, gain_ratio=1.1, missing="10 %", wrong="3 %", incoming="0.1 %", slurry_every=60
    )
    kalman = trial.row("kalman")
    assert kalman.sigma < 0.6 * trial.row("fixed time").sigma
    assert kalman.sigma < 1.5 * plain.sigma  # a tenth off, swallowed, would show as more
    assert kalman.held_off >= 1
    assert np.ptp(trial.goal) > 0.05


def test_zones_hold_the_profile_too():
    trial = planish.try_control(EXAMPLES / "rotary.toml", **{**QUICK, "wafers": 40, "seeds": 1}, zones=True)
    assert len(trial.step.outputs) == 5
    assert trial.step.gain.shape == (5, 6)
    kalman, fixed = trial.row("kalman"), trial.row("fixed time")
    assert kalman.uneven < 0.5 * fixed.uneven
    assert kalman.sigma < 0.5 * fixed.sigma
    assert "mean_spread_percent" in trial.document()["controls"][0]
    assert any("stops on an amount in the setup" in note for note in trial.notes)


ASK = {"when": "2026-01-01T00:00:00+00:00", "by": "ana"}


@pytest.fixture(scope="module")
def begun(tmp_path_factory):
    folder = tmp_path_factory.mktemp("begun") / "control"
    planish.begin_control(TIMED, folder, pad_life=20, disk_life=20, **ASK)
    return folder


@pytest.fixture
def folder(begun, tmp_path):
    made = tmp_path / "control"
    made.mkdir()
    for name in ("plan.json", "journal.jsonl"):
        (made / name).write_bytes((begun / name).read_bytes())
    return made


def test_a_person_approves_and_all_of_it_is_kept(folder):
    held = planish.ControlledStep.open(folder)
    held.ran("w1", **ASK)
    told = held.measured("w1", "39.6 nm", **ASK)
    assert told.figures["learned"]
    advice = held.advise(**ASK)
    assert not advice.approved
    assert advice.settings.time < advice.now.time
    assert held.now().at(("1", "1")).settings.time == pytest.approx(55.0)
    held.approve(advice.number, why="as seen", **ASK)
    assert held.now().at(("1", "1")).settings.time == pytest.approx(advice.settings.time)
    other = held.advise(**ASK)
    held.decline(other.number, **ASK)
    assert held.now().at(("1", "1")).settings.time == pytest.approx(advice.settings.time)
    lines = [json.loads(line) for line in (folder / "journal.jsonl").read_text().splitlines()]
    assert [line["what"] for line in lines] == [
        "begun", "ran", "measured", "advised", "approved", "advised", "declined",
    ]  # fmt: skip
    assert all(line["who"] == "ana" and line["when"] for line in lines)
    assert lines[4]["why"] == "as seen"
    with pytest.raises(DataError, match="number of the advice = 1: must be one that waits"):
        held.approve(1, **ASK)


def test_off_stops_all_of_it_and_on_begins_again(folder):
    held = planish.ControlledStep.open(folder)
    number = held.advise(**ASK).number
    planish.stop_control(folder, when="now")
    advice = held.advise(**ASK)
    assert advice.off
    assert "switched off since now" in advice.why
    assert advice.document()["number"] is None
    with pytest.raises(DataError, match="no move is made"):
        held.approve(number, **ASK)
    held.ran("w1", **ASK)  # what happens is learned all the same
    held.switch_on(why="checked", **ASK)
    with pytest.raises(DataError, match="must be one that waits"):
        held.approve(number, **ASK)
    held.switch_on(why="trusted", mode="automatic", **ASK)
    assert held.advise(**ASK).approved


def test_off_needs_neither_a_plan_nor_a_whole_journal(folder):
    (folder / "plan.json").write_text("no plan")
    with (folder / "journal.jsonl").open("a") as out:
        out.write('{"what": "adv')  # killed while writing
    planish.stop_control(folder, when="now")
    entries = list((journal := JournalFile(folder / "journal.jsonl")).entries())
    assert entries[-1].what == "off"
    assert journal.torn == [2]


def test_what_is_approved_behind_off_moves_nothing(folder):
    held = planish.ControlledStep.open(folder)
    advice = held.advise(**ASK)
    planish.stop_control(folder, when="now")
    held.journal.add(  # as a process would that had read the journal before
        Entry("approved", "now", "automatic", "", {"number": advice.number, "head": "1", "platen": "1"})
    )
    assert held.now().at(("1", "1")).settings.time == held.plan.step.time


def test_heads_and_platens_are_apart_and_pads_belong_to_platens(folder):
    held = planish.ControlledStep.open(folder)
    for wafer in range(6):
        head = "AB"[wafer % 2]
        held.ran(f"w{wafer}", head=head, platen="2", **ASK)
        held.measured(f"w{wafer}", "40 nm" if head == "A" else "38 nm", head=head, platen="2", **ASK)
    held.ran("w0", head="A", platen="3", **ASK)
    now = held.now()
    assert now.ages["2"].pad == 6
    assert now.ages["3"].pad == 1
    first, second = (held.advise(head=head, platen="2", **ASK).settings.time for head in "AB")
    assert first < held.plan.step.time < second
    held.changed("pad", platen="2", **ASK)
    now = held.now()
    assert now.ages["2"].pad == 0
    assert now.ages["2"].disk == 6
    assert now.places["A", "2"].changed == now.places["B", "2"].changed == ("pad",)
    assert now.places["A", "3"].changed == ()
    assert now.places["A", "2"].open is None  # advised for the old pad


def test_the_same_journal_gives_the_same_state(folder):
    held = planish.ControlledStep.open(folder)
    for wafer in range(5):
        held.ran(f"w{wafer}", incoming="1000 nm" if wafer == 9 else None, **ASK)
        if wafer > 1:
            held.measured(f"w{wafer - 2}", f"{39 + 0.1 * wafer} nm", **ASK)
    one, other = held.now(), replay(held.plan, held.journal.entries())
    state, again = one.at(("1", "1")).state, other.at(("1", "1")).state
    assert np.array_equal(state.belief.mean, again.belief.mean)
    assert np.array_equal(state.belief.spread, again.belief.spread)
    assert [wait.wafer for wait in again.waiting] == ["w3", "w4"]


def test_thickness_that_comes_in_moves_the_time(folder):
    held = planish.ControlledStep.open(folder)
    step = held.plan.step
    thicker = float(step.incoming[0] + 0.1 * step.wanted[0])
    plain, more = held.advise(**ASK), held.advise(incoming=thicker, **ASK)
    assert more.settings.time > plain.settings.time
    expected = step.time * 1.1 ** (1 / step.gain[0, 0])
    assert more.settings.time == pytest.approx(min(expected, 1.1 * step.time), abs=0.1)


def test_many_at_once_write_whole_lines(folder):
    journal = JournalFile(folder / "journal.jsonl")

    def add(who):
        for number in range(50):
            journal.add(Entry("off", str(number), who, "x" * 150, {}))

    threads = [threading.Thread(target=add, args=(f"p{one}",)) for one in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(list(journal.entries())) == 201
    assert journal.torn == []


def test_one_who_stands_still_stops_nobody(folder, monkeypatch):
    """A process that holds the journal and does not go on: the line is added all the same."""
    import fcntl

    from planish.engine import files

    monkeypatch.setattr(files, "PATIENCE_S", 0.1)
    path = folder / "journal.jsonl"
    before = path.read_bytes()
    with path.open("ab") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        JournalFile(path).add(Entry("off", "t", "ana", "leak", {}))
    assert len(path.read_bytes()) > len(before)
    assert path.read_bytes().startswith(before)


def test_a_journal_of_another_kind_holds_it_too(begun):
    """Any store that adds and reads back in order."""
    from contextlib import nullcontext

    class Memory:
        def __init__(self):
            self.kept = [Entry("begun", "t", "ana", "", {"mode": "automatic"})]

        def add(self, entry):
            self.kept.append(entry)

        def entries(self):
            return iter(list(self.kept))

        def alone(self):
            return nullcontext()

    held = planish.ControlledStep(planish.ControlledStep.open(begun).plan, Memory())
    assert held.advise(**ASK).approved
    assert [entry.what for entry in held.journal.kept] == ["begun", "advised", "approved"]
