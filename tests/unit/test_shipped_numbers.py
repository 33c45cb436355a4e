"""Every verb gives the figures of the shipped examples that it gave before: 1e-12 on one machine, 1e-9 elsewhere."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

TOOL = Path(__file__).parents[2] / "tools" / "shipped_numbers.py"


@pytest.fixture(scope="module")
def tool():
    spec = importlib.util.spec_from_file_location("shipped_numbers", TOOL)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def then(tool):
    return tool.stored()


def test_no_figure_has_moved(tool, then):
    allowed = tool.ON_ONE_MACHINE if then["machine"] == tool.machine() else tool.ACROSS_MACHINES
    lines = tool.moved(then["figures"], tool.all_figures(), allowed)
    assert not lines, "\n".join(lines[:40]) + f"\n{len(lines)} in all: see tools/shipped_numbers.py"


def test_every_verb_and_example_is_there(tool, then):
    run = {command[0] for command in tool.cases().values()}
    assert run == {"polish", "lot", "clean", "die", "compare", "dwell", "measure", "fit"}
    assert then["figures"].keys() == tool.cases().keys()
    assert sum(len(found) for found in then["figures"].values()) > 5000


def test_a_figure_that_moved_is_found(tool):
    then = {"polish": {"rate": 300.0, "cleared": True, "noise": 1e-15}}
    now = {"polish": {"rate": 300.0 * (1 + 3e-12), "cleared": False, "noise": 2e-15, "more": 1}}
    assert [line.split(": ")[1] for line in tool.moved(then, now, 1e-12)] == ["cleared", "more", "rate"]
    assert len(tool.moved(then, now, 1e-9)) == 2
