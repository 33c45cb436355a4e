"""The generated unit table against pint, the authority, entry by entry."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pint
import pytest

from planish._unit_table import TABLE, TEMPERATURES

TOOL = Path(__file__).parents[2] / "tools" / "make_unit_table.py"


@pytest.fixture(scope="module")
def tool():
    spec = importlib.util.spec_from_file_location("make_unit_table", TOOL)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry:
    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


def test_table_agrees_with_pint(tool, registry) -> None:
    entries = 0
    for kind, (si_unit, spellings) in tool.KINDS.items():
        assert TABLE[kind][0] == si_unit
        assert set(TABLE[kind][1]) == set(spellings)
        for spelling, expression in spellings.items():
            factor = float(registry(expression).to(si_unit or "dimensionless").magnitude)
            assert TABLE[kind][1][spelling] == pytest.approx(factor, rel=1e-15, abs=0.0), (kind, spelling)
            entries += 1
    assert entries > 170


def test_temperature_scales_agree_with_pint(tool, registry) -> None:
    for spelling, unit in tool.TEMPERATURES.items():
        factor, offset = TEMPERATURES[spelling]
        for value in (-40.0, 0.0, 22.0, 98.6):
            kelvin = registry.Quantity(value, unit).to("kelvin").magnitude
            assert value * factor + offset == pytest.approx(kelvin, rel=1e-15)


def test_table_is_what_the_tool_writes(tool) -> None:
    path = Path(__file__).parents[2] / "src" / "planish" / "_unit_table.py"
    assert path.read_text(encoding="utf-8") == tool.make()


def test_table_of_the_page_is_what_the_tool_writes(tool) -> None:
    path = Path(__file__).parents[2] / "src" / "planish" / "web" / "static" / "unit-table.js"
    assert path.read_text(encoding="utf-8") == tool.make_page()
