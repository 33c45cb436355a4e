"""Dies of the shipped examples have the figures that they had before: as in ``test_shipped_numbers``."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "tools"))
import shipped_numbers as tool

CASES = [name for name, command in tool.cases().items() if command[0] == "die"]


@pytest.fixture(scope="module")
def then():
    return tool.stored()


@pytest.mark.parametrize("case", CASES)
def test_no_figure_of_a_die_has_moved(case: str, then) -> None:
    assert not tool.moved_of(case, then), "see tools/shipped_numbers.py"
