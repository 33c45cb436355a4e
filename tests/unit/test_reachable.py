"""Everything in the package has a door: a public name, a command, the bench, or the examples lead to it."""

from __future__ import annotations

import importlib.util
import sys
from functools import cache
from pathlib import Path

import pytest

TOOL = Path(__file__).parents[2] / "tools" / "reachable.py"


@pytest.fixture(scope="module")
def tool():
    spec = importlib.util.spec_from_file_location("reachable", TOOL)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["reachable"] = module
    spec.loader.exec_module(module)
    # Two tests ask about the same package, which takes long to go through.
    module.modules, follow = cache(module.modules), module.reached
    known = module.modules(module.SRC)
    kept = cache(lambda: follow(known))
    module.reached = lambda found, *doors, **named: (
        kept() if found is known and not doors and not named else follow(found, *doors, **named)
    )
    return module


def test_nothing_is_out_of_reach(tool):
    assert tool.unreached() == [], "give each a use (a command, a page, a public name) or take it out"


def test_what_is_allowed_is_still_there_and_still_out_of_reach(tool, monkeypatch):
    allowed = set(tool.ALLOWED)
    monkeypatch.setattr(tool, "ALLOWED", {})
    assert allowed <= set(tool.unreached(constants=True))


@pytest.fixture
def made(tool, tmp_path):
    """A small package with each way to reach a thing, and each way not to."""
    home = tmp_path / "planish"
    for name, text in {
        "__init__": '_HOMES = {"a": "given"}\n',
        "a": "from planish.b import called\n\n\ndef given():\n    from planish import c\n\n"
        '    return called() + c.by_attribute() + len("planish.d:in_text") + TABLE[0]()\n\n\n'
        "def alone():\n    return by_alone()\n\n\ndef by_alone():\n    return 1\n\n\n"
        "def listed():\n    return 1\n\n\nTABLE = (listed,)\n",
        "b": "def called():\n    return Made().used()\n\n\nclass Made:\n    def used(self):\n        return 1\n\n"
        "    def unused(self):\n        return 1\n",
        "c": "def by_attribute():\n    return 1\n\n\nOTHER = 1\n",
        "d": "def in_text():\n    return 1\n",
        "e": "import planish.a\n\n\ndef never():\n    return planish.a.given()\n",
    }.items():
        path = home / f"{name}.py"
        path.parent.mkdir(exist_ok=True)
        path.write_text(text)
    found = tool.modules(tmp_path)
    return found, tool.reached(found, doors=())


def test_calls_attributes_tables_and_names_in_text_are_followed(made):
    _, seen = made
    for node in (("b", "called"), ("b", "Made"), ("c", "by_attribute"), ("d", "in_text"), ("a", "listed")):
        assert (f"planish.{node[0]}", node[1]) in seen


def test_what_only_itself_calls_and_modules_nobody_imports_are_out_of_reach(made):
    _, seen = made
    for node in (("a", "alone"), ("a", "by_alone"), ("e", "never"), ("e", "")):
        assert (f"planish.{node[0]}", node[1]) not in seen


def test_a_method_that_nobody_names_is_found(tool, made, tmp_path, monkeypatch):
    monkeypatch.setattr(tool, "DOORS", ())
    monkeypatch.setattr(tool, "reached", lambda found: made[1])
    assert tool.unreached(tmp_path) == [
        "planish.a:alone",
        "planish.a:by_alone",
        "planish.b:Made.unused",
        "planish.e",
    ]
