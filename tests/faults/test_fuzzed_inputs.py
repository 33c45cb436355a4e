"""A small seeded share of ``benchmarks/fuzz_inputs.py``: odd setups, options and data files, nothing escapes."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))

from fuzz_inputs import Outcome, complaints, run_case
from fuzz_verbs import QUICK, Case, draw

SEED = 23


@pytest.mark.parametrize("start", range(0, 200, 20))
def test_nothing_escapes(start: int) -> None:
    told = {}
    for number in range(start, start + 20):
        case = draw(SEED, number, QUICK)
        _, found = run_case(case)
        if found:
            told[number, *case.words] = found
    assert told == {}


def test_cases_repeat_and_cover_both_ends() -> None:
    assert draw(SEED, 7, QUICK) == draw(SEED, 7, QUICK)
    cases = [draw(SEED, number, QUICK) for number in range(200)]
    assert {case.verb for case in cases} >= {"check", "polish", "lot", "dwell", "measure", "fit"}
    codes = {run_case(case)[0].code for case in cases[:6]}
    assert codes >= {0, 2}


@pytest.mark.parametrize(
    "got, words",
    [
        (Outcome(None, "", "", 'File "/planish/x.py"\nKeyError: 1', 0.1), "escaped"),
        (Outcome(70, "", "planish: a defect", "", 0.1), "exit code 70"),
        (Outcome(2, "", "planish: one\nand another", "", 0.1), "refused in 2 lines"),
        (Outcome(0, '{"a": NaN}', "", "", 0.1), "holds NaN"),
        (Outcome(0, "{}", "x.py:1: RuntimeWarning: overflow", "", 0.1), "warning"),
    ],
)
def test_what_escapes_would_be_seen(got: Outcome, words: str, tmp_path: Path) -> None:
    [said] = complaints(Case("polish", ["polish", "a.toml", "--json"]), got, tmp_path)
    assert words in said


def test_half_a_file_would_be_seen(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "wafer.nc").touch()
    (tmp_path / "out" / ".profile.csv.x.part").write_text("half")
    said = complaints(Case("polish", ["polish"]), Outcome(0, "", "", "", 0.1), tmp_path)
    assert sorted(said) == ["left behind: .profile.csv.x.part", "left behind: wafer.nc"]
