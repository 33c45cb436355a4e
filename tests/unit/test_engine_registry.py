"""Records by name: own ones, those of installed packages, those of this session; what is wrong is named."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.metadata import EntryPoint
from types import SimpleNamespace

import pytest

from planish.engine import registry as module
from planish.engine.registry import Registry
from planish.errors import PluginError, SetupError


@dataclass(frozen=True)
class Shape:
    name: str


OUTSIDE = Shape("cone")
MANY = [Shape("tube"), Shape("wedge")]
WRONG = "a word"
TAKEN = Shape("ball")


def made(monkeypatch, *points: str) -> Registry[Shape]:
    found = [
        EntryPoint(name, f"{__name__}:{name}", "planish.shapes")._for(
            SimpleNamespace(name="outside-shapes", version="1.2", metadata={"Name": "outside-shapes"})
        )
        for name in points
    ]
    monkeypatch.setattr(module, "installed", lambda group: found if group == "planish.shapes" else [])
    monkeypatch.setattr(EntryPoint, "load", lambda self: globals()[self.name])
    return Registry("shape", "planish.shapes", Shape, lambda: [Shape("ball"), Shape("cube")])


def test_own_records_come_first_and_know_where_they_are_from(monkeypatch):
    shapes = made(monkeypatch, "OUTSIDE", "MANY")
    assert shapes.names()[:2] == ("ball", "cube")
    assert set(shapes.names()[2:]) == {"cone", "tube", "wedge"}
    assert shapes.origin("ball") == "planish"
    assert shapes.origin("wedge") == "outside-shapes"
    assert (shapes.stamp("ball"), shapes.stamp("wedge")) == ("", "outside-shapes 1.2")
    assert [shape.name for shape in shapes] == list(shapes.names())
    assert "cone" in shapes
    assert "disc" not in shapes


def test_an_unknown_name_is_refused_with_the_nearest(monkeypatch):
    with pytest.raises(SetupError, match=r"setup.toml: shape = 'cubes': must be ball, cube .*'cube'"):
        made(monkeypatch).get("cubes", "setup.toml: shape")


@pytest.mark.parametrize(
    ("point", "says"), [("WRONG", "must be a Shape"), ("TAKEN", "planish has not taken")]
)
def test_what_a_package_gives_wrongly_names_the_package(monkeypatch, point, says):
    with pytest.raises(PluginError, match=f"outside-shapes.*{says}"):
        made(monkeypatch, point).names()


def test_a_package_that_fails_to_import_is_named_with_its_reason(monkeypatch):
    shapes = made(monkeypatch, "GONE")
    with pytest.raises(PluginError, match=r"outside-shapes.*mend or uninstall.*KeyError"):
        shapes.get("ball")


def test_added_for_this_session_and_taken_out_again(monkeypatch):
    shapes = made(monkeypatch)
    assert shapes.add(Shape("disc")) is shapes.get("disc")
    assert shapes.origin("disc") == "this session"
    with pytest.raises(PluginError, match="this session has not taken"):
        shapes.add(Shape("disc"))
    shapes.remove("disc")
    assert shapes.names() == ("ball", "cube")
    with pytest.raises(KeyError):
        shapes.remove("ball")
