"""Whatever proposes gives changes that re-enter by replace, and as --set; a written setup keeps its comments."""

from __future__ import annotations

import difflib
import json
import shlex
import tomllib
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import PlanishError, SetupError
from planish.explain.findings import findings
from planish.explain.words import set_options
from planish.fit.against import wafer_against
from planish.fit.planarization import PlanarizationFit, fit_planarization
from planish.measure.sites.read import SiteMap
from planish.measure.steps import read_steps
from planish.predict.dwell import design_sweep
from planish.setup.changes import change_lines, read_changes
from planish.setup.load import loads
from planish.setup.models import Setup
from planish.setup.written import LOST, written

FILES = sorted((Path(__file__).parents[2] / "examples").glob("*.toml"))
DATA = Path(__file__).parents[2] / "examples" / "data"
NAMES = [file.stem for file in FILES]
RUNS = ("polish", "clean", "check", "lot", "dwell")


def example(name: str) -> Setup:
    return planish.load(FILES[NAMES.index(name)])


def by_options(changes: dict[str, object]) -> dict[str, object]:
    """Return the changes as a shell would hand them to --set."""
    words = [shlex.split(line) for line in set_options(changes)]
    assert all(option == "--set" and len(rest) == 1 for option, *rest in words)
    return read_changes([line for _, line in words])


@pytest.mark.parametrize("first", NAMES)
def test_a_comparison_makes_b_of_a(first):
    a = example(first)
    for second in NAMES:
        b = example(second)
        changes = a.changes_to(b)
        assert a.replace(changes).document == b.document
        assert a.replace(by_options(changes)) == b
    assert a.changes_to(a) == {}


def test_compare_gives_the_changes():
    a, b = example("rotary"), example("rotary").replace({"pad.part": "soft-felt"})
    found = planish.compare(a, b)
    assert found.changes == {"pad.part": "soft-felt"} == found.document()["changes"]
    assert planish.compare(a.rig, b.rig).changes is None


@pytest.mark.parametrize("name", NAMES)
def test_a_dwell_table_wears_the_pad_as_promised(name):
    setup = example(name)
    found = design_sweep(setup)
    own = setup.replace(by_options(found.changes))
    assert own == setup.replace(found.changes)
    if not found.better:
        assert own == setup
        return
    # The lot's own sweep model rides over the zones' borders smoothly: not to the last digit the designed one.
    assert design_sweep(own).uneven_before == pytest.approx(found.uneven_after, rel=0.05)


@pytest.mark.parametrize("name", NAMES)
def test_a_finding_that_proposes_keeps_its_promise(name):
    setup = example(name)
    changed = setup.replace({f"recipe.step.{at}.ring_pressure": "1 psi"
                             for at in range(1, len(setup.rig.steps) + 1)})  # fmt: skip
    for start in (setup, changed):
        for item in findings(planish.polish(start)):
            if not item.changes:
                continue
            own = start.replace(by_options(item.changes))
            assert own == start.replace(item.changes)
            after = planish.polish(own).summary()
            assert {key: after[key] for key in item.promised} == {
                key: told for key, (_, told) in item.promised.items()
            }


@pytest.mark.parametrize("name", NAMES)
def test_a_fit_predicts_what_was_measured(name):
    setup = timed(example(name))
    wafer = planish.polish(setup)
    reach = setup.model.wafer.diameter / 2 - setup.model.wafer.edge_exclusion
    r = np.tile(np.linspace(0.1, 0.98, 12) * reach, 8)
    angle = np.repeat(np.arange(8) * np.pi / 4, 12)
    value = 1.1 * np.interp(r, wafer.radius, wafer.removed)
    sites = SiteMap(r * np.cos(angle), r * np.sin(angle), value, [f"s{i}" for i in range(r.size)], "removal",
                    "nm", "made", polish_time=wafer.time)  # fmt: skip
    fit = wafer_against(setup, sites).fitted()
    own = setup.replace(by_options(fit.changes))
    assert own == setup.replace(fit.changes)
    again = wafer_against(own, sites).fitted()
    assert again.scale == pytest.approx(1.0, abs=2e-6)
    assert planish.polish(own).removed == pytest.approx(1.1 * wafer.removed, rel=2e-4)


def timed(setup: Setup) -> Setup:
    """Return a setup of one short timed step, in which no film clears."""
    changes: dict[str, object] = {"recipe.step.1.stop_on_removed": None, "recipe.step.1.max_time": None,
                                  "recipe.step.1.stop_on_remaining": None,
                                  "recipe.step.1.time": "4 s"}  # fmt: skip
    changes |= {f"recipe.step.{at}": None for at in range(2, len(setup.rig.steps) + 1)}
    return setup.replace(changes)


LAWS = [
    {"law": "offset", "coefficients": {"k_p": "1e-13 1/Pa", "b": 1e-14, "c": "5 nm/min"}},
    {"law": "power", "coefficients": {"k": 1e-13, "alpha": 0.9, "beta": 0.8}},
    {"law": "preston", "coefficients": {"k_p": "1.4e-13 1/Pa"}},
]


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law["law"])
def test_a_fit_scales_coefficients_where_no_rate_is_given(law):
    from planish.fit.rate_change import rate_change

    setup = timed(example("rotary")).replace({"removal.oxide": law})
    own = setup.replace(rate_change(setup, "oxide", 1.25))
    assert planish.polish(own).removed == pytest.approx(1.25 * planish.polish(setup).removed, rel=0.03)


def test_a_fit_keeps_the_abrasive_that_a_parts_rate_was_measured_with():
    from planish.fit.rate_change import rate_change

    setup = timed(example("rotary")).replace({"slurry.abrasive_fraction": "5 %"})
    own = setup.replace(rate_change(setup, "oxide", 1.25))
    assert planish.polish(own).removed == pytest.approx(1.25 * planish.polish(setup).removed, rel=0.03)


@pytest.mark.parametrize("name", NAMES)
def test_a_measured_length_goes_into_the_die(name):
    changes = length_fit().changes
    if example(name).rig.die is None:
        with pytest.raises(SetupError, match=r"die\.process"):
            example(name).replace(changes)
        return
    die = example(name).replace(by_options(changes)).rig.die
    assert die is not None
    assert die.planarization_length == pytest.approx(length_fit().length.value, rel=1e-5)


@cache
def length_fit() -> PlanarizationFit:
    steps = read_steps(DATA / "steps.csv")
    maps = planish.read_layout_maps(DATA / "test-blocks.gds", 1, 0, "40 um")
    assert steps.step_before is not None
    return fit_planarization(maps, steps, step=steps.step_before)


VALUES = st.recursive(
    st.text(max_size=12) | st.booleans() | st.integers(-(10**6), 10**6) | st.floats(-1e6, 1e6) | st.none(),
    lambda inner: (
        st.lists(inner.filter(lambda v: v is not None), max_size=3)
        | st.dictionaries(st.text(min_size=1, max_size=6), inner.filter(lambda v: v is not None), max_size=3)
    ),
    max_leaves=6,
)


@given(st.dictionaries(st.text(min_size=1, max_size=10), VALUES, max_size=4))
def test_lines_read_back(named):
    from planish.setup.paths import join

    changes = {join("recipe.step", name): value for name, value in named.items()}
    assert read_changes(change_lines(changes)) == changes
    assert by_options(changes) == changes


def test_how_values_are_read():
    assert read_changes(["a.b=90 s", "c=true", "d=0.5", 'e=["1 psi", "2 psi"]', 'f="2"', "g=", "h=2020-01-01"]) == {
        "a.b": "90 s", "c": True, "d": 0.5, "e": ["1 psi", "2 psi"], "f": "2", "g": None, "h": "2020-01-01",
    }  # fmt: skip
    assert read_changes(['recipe.step."a=b".time = 3 s']) == {'recipe.step."a=b".time': "3 s"}
    for wrong in ("no sign", "=3", "a b=3", 'a."b=3'):
        with pytest.raises(SetupError):
            read_changes([wrong])
    with pytest.raises(SetupError, match="given twice"):
        read_changes(["a=1", "a=2"])


# Comments, order and blank lines.


@pytest.mark.parametrize("name", NAMES)
def test_a_replaced_value_changes_its_line_alone(name):
    setup, text = example(name), FILES[NAMES.index(name)].read_text(encoding="utf-8")
    assert setup.to_toml() == text
    leaves = [path for path, origin in setup.origins.items() if origin.origin == "setup"]
    assert len(leaves) > 10
    for path in leaves:
        new = other(setup.get(path))
        try:
            changed = setup.replace({path: new})
        except PlanishError:
            continue
        if changed == setup:  # 0 of anything stays 0
            continue
        lines = list(difflib.ndiff(text.splitlines(), changed.to_toml().splitlines()))
        gone, come = ([line[2:] for line in lines if line[0] == sign] for sign in "-+")
        assert len(gone) == len(come) == 1, path
        assert gone[0].split("=")[0] == come[0].split("=")[0]
        assert gone[0].partition(" #")[1:] == come[0].partition(" #")[1:]
        assert tomllib.loads(changed.to_toml()) == changed.document


def other(value: object) -> object:
    """Return another value of the same kind, a hair off where it is a quantity."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, int | float):
        return value * 1.001
    if isinstance(value, list):
        return [other(item) for item in value]
    number, _, unit = str(value).partition(" ")
    try:
        return f"{float(number) * 1.001:.7g} {unit}".strip()
    except ValueError:
        return f"{value} too"


@pytest.mark.parametrize("first", NAMES)
def test_any_setup_can_be_written_over_another(first):
    text = FILES[NAMES.index(first)].read_text(encoding="utf-8")
    for second in NAMES:
        document = example(second).document
        new = written(document, text)
        assert tomllib.loads(new) == document
        if new.startswith(LOST):  # the dotted keys of a sweep
            assert new.splitlines()[0] == LOST + "conditioner"
            assert new.count("#") > 0.6 * text.count("#")


def test_taking_out_and_adding_keeps_the_rest():
    setup = example("rotary")
    head = setup.to_toml().splitlines()[:6]
    for changes in (
        {"recipe.step.main": None},
        {"recipe.step.4": {**setup.get("recipe.step.buff"), "name": "rinse"}},
        {"pad.top.thickness": "2 mm", "head.zone.edge.outer_radius": "150 mm"},
        {"conditioner": None, "recipe.step.1.conditioning": False, "recipe.step.2.conditioning": False},
        {"die": None},
        {"removal.oxide.rate": "250 nm/min"},
    ):
        changed = setup.replace(changes)
        assert loads(changed.to_toml()) == changed
        assert changed.to_toml().splitlines()[:6] == head
        assert changed.to_toml().count("#") > 60


def test_windows_line_ends_are_read_and_setups_without_a_file_are_written():
    text = FILES[NAMES.index("copper")].read_text(encoding="utf-8")
    assert loads(text.replace("\n", "\r\n")).to_toml() == text
    assert loads(Setup(tomllib.loads(text)).to_toml()) == loads(text)


# --set


@pytest.mark.parametrize("verb", RUNS)
def test_set_is_replace(verb, tmp_path):
    source = FILES[NAMES.index("rotary")]
    line = "recipe.step.main.ring_pressure=4.5 psi"
    other_file = tmp_path / "other.toml"
    other_file.write_text(planish.load(source).replace(read_changes([line])).to_toml(), encoding="utf-8")
    more = ["-n", "5"] if verb == "lot" else []
    one, two = (
        json.loads(CliRunner().invoke(app, [verb, str(file), *more, *words, "--json"], catch_exceptions=False).stdout)
        for file, words in ((source, ["--set", line]), (other_file, []))
    )  # fmt: skip
    if verb in ("polish", "lot", "clean"):
        told = [note for note in one["notes"] if note.startswith("set for this run: ")]
        assert told == [f"set for this run: {line}"] if verb != "clean" else True
        one["notes"] = [note for note in one["notes"] if note not in told]
    one.pop("file", None), two.pop("file", None)
    assert one == two


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("recipe.step.0.flow=1 ml/min", "places count from 1"),
        ("recipe.step.main.flow=1 psi", "recipe.step.main.flow"),
        ("pad.prt=x", "pad.prt: unknown key"),
        ("nonsense", "must be path=value"),
    ],
)
def test_what_cannot_be_set_is_refused(line, told):
    with pytest.raises(PlanishError) as caught:
        CliRunner().invoke(app, ["polish", str(FILES[0]), "--set", line], catch_exceptions=False)
    assert told in str(caught.value)


def test_check_tells_what_cannot_be_set():
    done = CliRunner().invoke(app, ["check", str(FILES[0]), "--set", "recipe.step.main.flow=1 psi"])
    assert done.exit_code == 2
    assert "recipe.step.main" in done.stderr


# The schema of the file.


def test_the_schema_is_written_and_read(tmp_path):
    for file in FILES:
        assert "\nschema = 1" in file.read_text(encoding="utf-8")
    text = planish.new_setup("linear")
    assert "\nschema = 1" in text
    bare = tmp_path / "bare.toml"
    bare.write_text(text.replace("\nschema = 1", "\n#"), encoding="utf-8")
    notes = [f.message for f in planish.check(bare) if f.place == "schema"]
    assert notes == ["schema not given: taken as 1, the oldest (write schema = 1 above all tables)"]
    assert planish.load(bare) == loads(text)
    for value, told in (
        ("2", "install a newer planish"),
        ("0", "whole number"),
        ('"1"', "whole number"),
        ("true", "whole"),
    ):
        with pytest.raises(SetupError, match=told):
            loads(text.replace("schema = 1", f"schema = {value}"))
