"""Each script of the gallery runs, says something, keeps its promise, and has a picture; it imports planish alone."""

from __future__ import annotations

import ast
import importlib.util
from pathlib import Path

import pytest

GALLERY = Path(__file__).parents[2] / "examples" / "gallery"


@pytest.fixture(scope="module")
def show():
    spec = importlib.util.spec_from_file_location("gallery_show", GALLERY / "show.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


SCRIPTS = sorted(path.stem for path in GALLERY.glob("*.py") if path.stem != "show")


def test_there_are_enough_and_each_is_short_and_imports_planish_alone():
    assert len(SCRIPTS) >= 24
    for name in SCRIPTS:
        text = (GALLERY / f"{name}.py").read_text(encoding="utf-8")
        tree = ast.parse(text)
        imported = [node for node in ast.walk(tree) if isinstance(node, ast.Import | ast.ImportFrom)]
        assert [ast.unparse(node) for node in imported] == ["import planish"], name
        assert len(text.splitlines()) <= 30, name
        assert ast.get_docstring(tree), name


@pytest.mark.parametrize("name", SCRIPTS)
def test_script(show, name, capsys, monkeypatch):
    monkeypatch.setenv("MPLBACKEND", "agg")
    picture = show.run(name)
    assert capsys.readouterr().out.strip()
    drawn = [axes for axes in picture.axes if axes.has_data()]
    assert drawn
    assert any(axes.get_xlabel() or axes.get_title() for axes in drawn)
