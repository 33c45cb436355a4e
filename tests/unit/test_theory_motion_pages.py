"""The examples on the theory pages of motion, removal, slurry, heat, scratches and optics print what they say."""

from __future__ import annotations

import doctest
from pathlib import Path

import pytest

THEORY = Path(__file__).parents[2] / "docs" / "theory"


@pytest.mark.parametrize("page", ["motion", "removal", "slurry_heat", "scratches", "optics"])
def test_page(page):
    result = doctest.testfile(str(THEORY / f"{page}.md"), module_relative=False)
    assert result.attempted > 0
    assert result.failed == 0
