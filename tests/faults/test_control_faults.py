"""Run-to-run control that cannot be: refused in one line with place, value and remedy, exit 2."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

import planish
from planish.cli.main import run as command
from planish.errors import DataError
from planish.jobs.changed import load_changed

EXAMPLES = Path(__file__).parents[2] / "examples"
TIMED = EXAMPLES / "copper-barrier.toml"
ASK = {"when": "now", "by": "ana"}


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"wafers": 5}, "wafers = 5: must be"),
        ({"wafers": 10.5}, "wafers = 10.5: must be"),
        ({"seeds": 0}, "seeds = 0: must be"),
        ({"seed": -1}, "seed = -1: must be"),
        ({"delay": -1}, "delay [wafers] = -1: must be"),
        ({"delay": 51}, "delay [wafers] = 51: must be"),
        ({"pad_every": 1}, "pad_every [wafers] = 1: must be"),
        ({"disk_every": True}, "disk_every [wafers] = True: must be"),
        ({"slurry_every": 0}, "slurry_every [wafers] = 0: must be"),
        ({"zones": "yes"}, "zones"),
        ({"weight": 0.0}, "weight = 0.0: must be above 0 and at most 1"),
        ({"weight": float("nan")}, "weight = nan: must be above 0 and at most 1"),
        ({"drift_weight": 2}, "drift weight = 2: must be above 0 and at most 1"),
        ({"spreads": {"pads": "2 %"}}, "spreads: name = 'pads': must be one of process"),
        ({"spreads": {"pad": "2"}}, "spread: pad = 2.0: must be 0 to 1"),
        ({"spreads": {"pad": -0.1}}, "spread: pad = -0.1: must be 0 to 1"),
        ({"spreads": {"pad": float("nan")}}, "spreads: pad = nan: must be a number"),
        ({"spreads": "2 %"}, "spreads = '2 %': must be a table"),
        ({"true_spreads": {"disk": 3}}, "spread: disk = 3.0: must be 0 to 1"),
        ({"spreads": {"process": 0, "measurement": 0}}, "above 0, one at least"),
        ({"gain_ratio": 0}, "gain_ratio = 0: must be 0.1 to 3"),
        ({"missing": "95 %"}, "missing = 0.95: must be 0 to 0.9"),
        ({"incoming": "-1 %"}, "incoming = -0.01: must be 0 to 0.2"),
        ({"target": "500 nm"}, "target [nm] = 500.0: must be"),
        ({"target": "soon"}, "target"),
        ({"limits": {"time": "60..70 s"}}, "around the 55 s that are set up"),
        ({"limits": {"time": "70..40 s"}}, "limit of time = '70..40 s': must be a range, the least first"),
        ({"limits": {"time_change": "0 %"}}, "most change of time = 0.0: must be above 0"),
        ({"limits": {"speed": "1..2"}}, "limit = 'speed': must be one of time"),
        ({"limits": {"pressure": "2..3 psi"}, "zones": True}, "limits of pressure of zone 1"),
    ],
)
def test_a_trial_that_cannot_be(options, said):
    with pytest.raises(planish.PlanishError, match=re.escape(said)):
        planish.try_control(TIMED, **{"wafers": 12, "seeds": 1, **options})


def test_a_step_that_time_does_not_move():
    cleared = load_changed(
        EXAMPLES / "rotary.toml",
        ["recipe.step.main.stop_on_removed=", "recipe.step.main.max_time=", "recipe.step.main.time=600 s"],
    )
    with pytest.raises(
        planish.PlanishError, match=re.escape("must be 0.2 % or more to be controlled by its time")
    ):
        planish.try_control(cleared, wafers=12, seeds=1)


@pytest.fixture(scope="module")
def begun(tmp_path_factory):
    folder = tmp_path_factory.mktemp("faults") / "step"
    planish.begin_control(TIMED, folder, pad_life=4, disk_life=4, **ASK)
    return folder


@pytest.fixture
def folder(begun, tmp_path):
    for name in ("plan.json", "journal.jsonl"):
        (tmp_path / name).write_bytes((begun / name).read_bytes())
    return tmp_path


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda held: held.measured("w9", "39 nm", **ASK), "wafer = 'w9': must be one that ran and waits"),
        (lambda held: held.measured("w9", ["39 nm", "40 nm"], **ASK), "removed: amounts = 2: must be 1"),
        (lambda held: held.measured("w9", "39 kg", **ASK), "removed"),
        (lambda held: held.measured("w9", "-39 nm", **ASK), "removed [nm] = -39"),
        (lambda held: held.measured("w9", float("nan"), **ASK), "removed"),
        (lambda held: held.ran("", **ASK), "wafer = '': must be text of one line"),
        (lambda held: held.ran("w\n1", **ASK), "wafer = 'w\\n1': must be text of one line"),
        (lambda held: held.ran("w1", time="-5 s", **ASK), "time [s] = -5.0: must be above 0"),
        (lambda held: held.ran("w1", head="", **ASK), "head = '': must be text"),
        (lambda held: held.ran("w1", by="", when="now"), "by = '': must be text"),
        (lambda held: held.advise(incoming="3 mm", **ASK), "incoming [nm]"),
        (lambda held: held.advise(incoming="1 nm", **ASK), "incoming [nm]"),
        (lambda held: held.approve(1, **ASK), "number of the advice = 1: must be one that waits (none waits now)"),
        (lambda held: held.decline(7, **ASK), "number of the advice = 7"),
        (lambda held: held.changed("belt", **ASK), "changed = 'belt': must be one of pad, disk, slurry"),
        (lambda held: held.switch_on(why="", **ASK), "why = '': must be text"),
        (lambda held: held.switch_on(why="so", mode="fast", **ASK), "mode = 'fast': must be one of advice, automatic"),
        (lambda held: (held.ran("w1", **ASK), held.ran("w1", **ASK)), "must be one that did not run before"),
    ],
)  # fmt: skip
def test_what_a_controlled_step_refuses(folder, ask, said):
    held = planish.ControlledStep.open(folder)
    lines = (folder / "journal.jsonl").read_text().count("\n")
    with pytest.raises(DataError, match=re.escape(said)):
        ask(held)
    added = (folder / "journal.jsonl").read_text().count("\n") - lines
    assert added <= 1  # what is refused is not kept; the last case kept its first wafer


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("plan.json", "", "is no plan of a controlled step"),
        ("plan.json", "[]", "format = 'list': must be 1"),
        ("plan.json", '{"format": 7}', "format = 7: must be 1"),
        ("plan.json", '{"format": 1}', "does not hold what a plan of a controlled step does"),
        ("journal.jsonl", "nothing}\n", "line 1 = 'nothing}': must be an event in JSON"),
        ("journal.jsonl", '{"what": "on"}\n', "line 1: when = None: must be text"),
        ("journal.jsonl", '{"what": "went", "when": "", "who": "", "why": ""}\n', "what = 'went': must be one of"),
        ("journal.jsonl", '{"what": "ran", "when": "", "who": "", "why": ""}\n', "event 1, ran: lacks what it needs"),
        ("journal.jsonl", '{"what": "approved", "when": "", "who": "", "why": "", "number": 3, "head": "1", "platen": "1"}\n',
         ""),
    ],
)  # fmt: skip
def test_files_that_were_changed(folder, name, text, said):
    (folder / name).write_text(text)
    if not said:  # never advised and never switched on: nothing moves
        held = planish.ControlledStep.open(folder)
        assert held.now().switch.mode == "off"
        return
    with pytest.raises(DataError, match=re.escape(said)):
        planish.ControlledStep.open(folder).now()


def test_a_folder_that_holds_one_and_one_that_holds_none(folder, tmp_path):
    with pytest.raises(DataError, match="a step is controlled there already"):
        planish.begin_control(TIMED, folder, **ASK)
    with pytest.raises(DataError, match="no step is controlled"):
        planish.ControlledStep.open(tmp_path / "none")
    with pytest.raises(DataError, match="no step is controlled"):
        planish.stop_control(tmp_path / "none", when="now")
    for options, said in (
        ({"estimator": "magic"}, "estimator = 'magic': must be one of kalman, ewma, double ewma"),
        ({"suspect": 0.5}, "suspect"),
        ({"pad_life": 1}, "pad life"),
    ):
        with pytest.raises(DataError, match=re.escape(said)):
            planish.begin_control(TIMED, tmp_path / "new", **options, **ASK)
        assert not (tmp_path / "new").exists()


@pytest.mark.parametrize(
    "words",
    [
        ["hold", "try", "none.toml"],
        ["hold", "try", str(TIMED), "--wafers", "3"],
        ["hold", "try", str(TIMED), "--spread", "pad"],
        ["hold", "try", str(TIMED), "--time", "1..2 s", "--wafers", "12"],
        ["hold", "advise", "--in", "nowhere"],
        ["hold", "off", "--in", "nowhere"],
        ["hold", "approve", "1", "--by", "ana", "--in", "nowhere"],
        ["hold", "learn", "w1", "--in", "nowhere"],
        ["hold", "begin", str(TIMED), "--by", "ana", "--estimator", "none", "--in", "nowhere"],
    ],
)
def test_commands_end_with_2_and_one_line(words, capsys, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.argv", ["planish", *words])
    with pytest.raises(SystemExit) as ended:
        command()
    assert ended.value.code == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("planish: ")
    assert said.err.count("\n") == 1
    assert not (tmp_path / "nowhere").exists()


def test_numbers_in_a_journal_that_no_step_has(folder):
    path = folder / "journal.jsonl"
    event = {"what": "ran", "when": "t", "who": "a", "why": "", "wafer": "w", "head": "1", "platen": "1"}
    for time, said in (
        (-1, "time [s] = -1.0"),
        ("long", "lacks what it needs"),
        (1e9, "time [s] = 1000000000.0"),
    ):
        path.write_text(json.dumps({**event, "time_s": time}) + "\n")
        with pytest.raises(DataError, match=re.escape(said)):
            planish.ControlledStep.open(folder).now()
