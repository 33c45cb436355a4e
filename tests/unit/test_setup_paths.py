"""Dotted paths: names, places from 1, quoting as in TOML, and what is refused."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planish.errors import SetupError
from planish.setup import paths
from planish.setup.load import loads
from planish.setup.models import Setup
from planish.setup.new import new_setup

ODD = ["2", "a.b", "touch down", 'say "so"', "it's", "back\\slash", "größe", "-", "0", "a=b", "#"]


@pytest.fixture(scope="module")
def rotary() -> Setup:
    return loads(new_setup("rotary"))


def named(*names: str) -> Setup:
    setup = loads(new_setup("rotary"))
    return setup.replace({f"recipe.step.{at}.name": name for at, name in enumerate(names, start=1)})


def test_names_and_places_lead_to_the_same(rotary):
    for by_name, by_place in (
        ("recipe.step.main.ring_pressure", "recipe.step.2.ring_pressure"),
        ('recipe.step."touch down".flow', "recipe.step.1.flow"),
        ("recipe.step.'touch down'.flow", "recipe.step.1.flow"),
        ("head.zone.edge.outer_radius", "head.zone.5.outer_radius"),
        ('wafer.film."field oxide".thickness', "wafer.film.1.thickness"),
        ("recipe.step.main.zone_pressures.edge", "recipe.step.2.zone_pressures.5"),
    ):
        assert rotary.get(by_name) == rotary.get(by_place)
        assert rotary.si(by_name) == rotary.si(by_place)
        value = rotary.get(by_name).replace("1", "2").replace("3", "2")
        if not by_name.startswith("head"):
            changed = rotary.replace({by_name: value})
            assert changed == rotary.replace({by_place: value})
            assert changed.get(by_name) == value


def test_what_is_shown_is_what_is_taken(rotary):
    for path in (*rotary.origins, *(f.place for f in rotary.unlikely)):
        assert paths.show(paths.resolve(path, rotary.tree), rotary.tree) == path
        rotary.get(path)
    assert "recipe.step.main.flow" in rotary.origins


@pytest.mark.parametrize("path", ["recipe.step.0.flow", "head.zone.0", "recipe.step.main.zone_pressures.0"])
def test_places_count_from_one(rotary, path):
    for ask in (rotary.get, rotary.si, lambda path: rotary.replace({path: "1 psi"})):
        with pytest.raises(SetupError, match="places count from 1"):
            ask(path)


@pytest.mark.parametrize(
    ("path", "told"),
    [
        ("recipe.step.mian.flow", "did you mean 'main'"),
        ("recipe.step.4.flow", r"from 1 to 3 or a name \(touch down, main, buff\)"),
        ("recipe.step.99999999999999999999.flow", "from 1 to 3"),
        ("head.zone.centr.outer_radius", "no zone 'centr' there .did you mean 'centre'"),
        ("wafer.film.oxyde.thickness", "no film 'oxyde'"),
        ("recipe.step.main.zone_pressures.rim", "no zone 'rim'"),
        ("recipe.step.touch down.flow", 'write recipe.step."touch down".flow'),
        ("recipe..flow", "joined by dots"),
        ("recipe.step.", "joined by dots"),
        ('recipe.step."main.flow', "joined by dots"),
        ('recipe.step."\\x".flow', "joined by dots"),
        (" ", "is empty"),
        ("title.x", "holds no table"),
        ("conditioner.sweep.zone_dwell.1", "no list at conditioner.sweep.zone_dwell yet"),
    ],
)
def test_a_path_that_leads_nowhere_is_refused(rotary, path, told):
    with pytest.raises(SetupError, match=told):
        rotary.replace({path: "1 ml/min"})


def test_a_path_that_is_no_text_is_refused(rotary):
    with pytest.raises(SetupError, match="must be text"):
        rotary.replace({3: "1 ml/min"})


def test_a_number_for_a_name_stands_in_quotes():
    setup = named("2", "1", "3")
    assert setup.get('recipe.step."2".time') == setup.get("recipe.step.1.time") == "10 s"
    assert paths.show(("recipe", "step", 0, "time"), setup.tree) == 'recipe.step."2".time'


def test_a_doubled_name_goes_by_place():
    setup = named("main", "main", "buff")
    with pytest.raises(SetupError, match="'main' is the name of places 1 and 2"):
        setup.get("recipe.step.main.flow")
    assert paths.show(("recipe", "step", 1, "flow"), setup.tree) == "recipe.step.2.flow"
    assert paths.show(("recipe", "step", 2, "flow"), setup.tree) == "recipe.step.buff.flow"


@pytest.mark.parametrize("name", ODD)
def test_odd_names_go_there_and_back(name):
    setup = named("first", name, "last")
    path = paths.show(("recipe", "step", 1, "flow"), setup.tree)
    assert setup.replace({path: "123 ml/min"}).get("recipe.step.2.flow") == "123 ml/min"


@given(st.lists(st.text(min_size=1, max_size=12), min_size=1, max_size=4))
def test_quoting_is_that_of_toml(names):
    """The standard library's TOML reader reads the same keys out of a path as we do."""
    path = ""
    for name in names:
        path = paths.join(path, name)
    here = tomllib.loads(f"{path} = 0")
    for piece in paths.parse(path):
        assert list(here) == [piece.text]
        here = here[piece.text]
    assert [piece.text for piece in paths.parse(path)] == names


def test_names_are_those_before_the_changes(rotary):
    changed = rotary.replace({"recipe.step.main.name": "bulk", "recipe.step.main.flow": "222 ml/min"})
    assert changed.get("recipe.step.bulk.flow") == "222 ml/min"
    left = rotary.replace({"recipe.step.main": None, "recipe.step.3": None})
    assert [step.name for step in left.model.recipe.step] == ["touch down"]
    more = rotary.replace({"recipe.step.4": {**rotary.get("recipe.step.buff"), "name": "rinse"},
                           "recipe.step.rinse.time": "7 s"})  # fmt: skip
    assert more.get("recipe.step.4.time") == "7 s"


def test_a_zone_of_a_step_with_one_pressure_for_all(rotary):
    changed = rotary.replace({"recipe.step.buff.zone_pressures.edge": "1.2 psi"})
    assert changed.get("recipe.step.buff.zone_pressures") == ["1 psi"] * 4 + ["1.2 psi"]
    table = dict(zip([zone.name for zone in rotary.model.head.zone], ["1 psi"] * 5, strict=True))
    held = rotary.replace({"recipe.step.buff.zone_pressures": table})
    assert held.replace({"recipe.step.buff.zone_pressures.5": "1.2 psi"}).get(
        "recipe.step.buff.zone_pressures"
    ) == {**table, "edge": "1.2 psi"}


def test_materials_with_dots():
    setup = loads(new_setup("rotary")).replace({'removal."a.b"': {"law": "preston", "rate": "10 nm/min"}})
    assert setup.get('removal."a.b".rate') == "10 nm/min"
    assert 'removal."a.b".rate' in setup.origins
    with pytest.raises(SetupError, match=r'removal\."a\.b"\.rate'):
        setup.replace({'removal."a.b".rate': "10 psi"})
