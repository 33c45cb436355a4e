"""Every verb gives the figures of the shipped examples that it gave before: 1e-12 on one machine, 1e-9 elsewhere.

Dies, which take as long as all the rest, are in a file of their own, so that two workers share the work.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "tools"))
import shipped_numbers as tool

CASES = [name for name, command in tool.cases().items() if command[0] != "die"]


@pytest.fixture(scope="module")
def then():
    return tool.stored()


@pytest.mark.parametrize("case", CASES)
def test_no_figure_has_moved(case: str, then) -> None:
    assert not tool.moved_of(case, then), "see tools/shipped_numbers.py"


def test_every_verb_and_example_is_there(then):
    run = {command[0] for command in tool.cases().values()}
    assert run == {"polish", "lot", "clean", "die", "compare", "dwell", "measure", "fit"}
    assert then["figures"].keys() == tool.cases().keys()
    assert sum(len(found) for found in then["figures"].values()) > 5000


def test_a_figure_that_moved_is_found():
    then = {"polish": {"rate": 300.0, "cleared": True, "noise": 1e-15}}
    now = {"polish": {"rate": 300.0 * (1 + 3e-12), "cleared": False, "noise": 2e-15, "more": 1}}
    assert [line.split(": ")[1] for line in tool.moved(then, now, 1e-12)] == ["cleared", "more", "rate"]
    assert len(tool.moved(then, now, 1e-9)) == 2


def test_a_share_of_a_band_is_held_to_the_figure_it_is_a_difference_of():
    then = {"polish": {"bands.rate.value": 300.0, "bands.rate.shares.pad": 1e-4}}
    near = {"polish": {"bands.rate.value": 300.0, "bands.rate.shares.pad": 1.002e-4}}
    far = {"polish": {"bands.rate.value": 300.0, "bands.rate.shares.pad": 2e-4}}
    assert not tool.moved(then, near, 1e-9)
    assert tool.moved(then, far, 1e-9)
    assert tool.moved(then, near, 1e-12)
