"""A die process from outside, as docs/guide/add_process.md shows it, added for one session."""

from __future__ import annotations

import importlib.util
import math
import re
import sys
from pathlib import Path

import numpy as np
import pytest

import planish
from planish.errors import PluginError, SetupError
from planish.measure.layout.make import make_maps
from planish.predict.die.levels import default_level, process_of
from planish.setup.fields import keys
from planish.setup.load import loads
from planish.setup.processes import PROCESSES, Process, Standing, key
from planish.setup.quantity import Quantity
from planish.setup.schema import json_schema

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "guide" / "add_process.md").read_text(encoding="utf-8")
(CODE,) = re.findall(r"^```python\n(.*?)^```", PAGE, re.M | re.S)
_, USE = re.findall(r"^```toml\n(.*?)^```", PAGE, re.M | re.S)
SETUP = planish.new_setup("rotary").partition("[die]")[0] + USE


@pytest.fixture
def added(tmp_path, monkeypatch):
    path = tmp_path / "polymer_fill.py"
    path.write_text(CODE, encoding="utf-8")
    spec = importlib.util.spec_from_file_location("polymer_fill", path)
    module = importlib.util.module_from_spec(spec)
    monkeypatch.setitem(sys.modules, "polymer_fill", module)
    spec.loader.exec_module(module)
    yield PROCESSES.add(module.POLYMER_FILL)
    PROCESSES.remove("polymer-fill")


def maps():
    return make_maps("density-blocks", 2e-4, size=1.2e-2, pitch=4e-6)


def test_a_setup_with_it_is_read_checked_and_polished(added, tmp_path):
    setup = loads(SETUP)
    assert setup.rig.die.given == {"coat": pytest.approx(350e-9)}
    got = planish.polish_die(setup, maps(), place="centre")
    assert isinstance(got.level, type(added.level))
    assert (got.process, got.level.coat) == ("polymer-fill", pytest.approx(350e-9))
    summary = got.document()
    assert summary["sag_max_nm"] > 0
    assert summary["wall_loss_max_nm"] >= summary["wall_loss_mean_nm"] >= 0
    assert summary["window_set_by"] in ("wall_loss", "sag")
    assert {spot["what"] for spot in summary["hot_spots"]} <= {"wall_loss", "sag", "polymer_left"}
    assert any("gap step 200 nm" in note and "invented for the example" in note for note in got.notes)
    assert got.data["sag"].attrs["long_name"] == "polymer below the walls"
    again = planish.open_result(got.save(tmp_path / "die.nc"))
    assert again.summary()["sag_max_nm"] == pytest.approx(summary["sag_max_nm"])


def test_its_numbers_are_those_of_the_law_of_two_areas(added):
    """Against the law stepped in small times by Runge and Kutta, in cells of three densities."""
    got = planish.polish_die(loads(SETUP), maps(), place="centre").dies[0]
    rates = {name: got.local.rates(name) for name in ("polymer", "oxide")}
    order = np.argsort(got.seen.high, axis=None)
    for cell in (order[0], order[order.size // 2], order[-1]):
        share, step, lost = got.seen.high.flat[cell], 200e-9, 0.0
        for number, one in enumerate(got.local.steps):
            length = got.seen.selectivity[number].flat[cell]
            low = rates["polymer"][number]

            def slope(at, share=share, length=length, low=low, walls=rates["oxide"][number]):
                high = low if at[1] < 350e-9 else walls
                fall = math.exp(-at[0] / length)
                pressed = 1 / (share + (1 - share) * fall)
                return low * pressed * fall - high * pressed, high * pressed

            span = one.duration / 5000
            for _ in range(5000):
                first = slope((step, lost))
                middle = slope((step + 0.5 * span * first[0], lost + 0.5 * span * first[1]))
                step, lost = step + span * middle[0], lost + span * middle[1]
        assert lost > 350e-9, "the walls are bare in the end, so both films have counted"
        for name, want in (("sag", step), ("wall_loss", lost - 350e-9)):
            assert got.fields.named[name].flat[cell] == pytest.approx(want, abs=0.05e-9), name


def test_both_routes_and_all_fields_take_it(added):
    setup = loads(SETUP)
    pressed = planish.polish_die(setup, maps(), place="centre", route="contact")
    flat = planish.polish_die(setup, maps(), place="centre")
    ranges = [one.dies[0].thickness_range for one in (pressed, flat)]
    assert 0 < ranges[0] < 3 * ranges[1]
    fields = planish.polish_fields(setup, maps(), centres=[(0.0, 0.0)], workers=1)
    assert fields.summary()["sag_most_nm"] == pytest.approx(flat.summary()["sag_max_nm"])


def test_every_list_of_keys_learns_of_it_and_forgets_it(added):
    def known() -> tuple[set[str], list[str], dict[str, object]]:
        infos = {info.path: info for info in keys()}
        schema = json_schema()["$defs"]["DieSection"]["properties"]
        return set(infos), list(infos["die.process"].choices), schema

    paths, choices, schema = known()
    assert {"die.coat", "die.gap_step", "die.polymer"} <= paths
    assert choices[-1] == "polymer-fill"
    assert schema["process"]["enum"] == choices
    assert schema["coat"]["description"].startswith("polymer-fill: polymer on the walls")
    PROCESSES.remove("polymer-fill")
    paths, choices, schema = known()
    PROCESSES.add(added)
    assert "die.coat" not in paths
    assert "coat" not in schema
    assert "polymer-fill" not in choices


def test_the_bench_lists_it_and_asks_for_it(added):
    from planish.jobs.settings import describe
    from planish.web.depth import die
    from planish.web.packing import unpack
    from planish.web.schemas import DieAsked

    setup = loads(SETUP)
    fields = [field for field in describe(setup) if field["path"].startswith("die.")]
    told = {field["path"]: field for field in fields}
    assert "polymer-fill" in told["die.process"]["choices"]
    assert told["die.coat"]["about"] == "polymer-fill: polymer on the walls"
    asked = DieAsked(document=setup.document, process="polymer-fill")
    header, _ = unpack(die(asked.document, asked.layout, asked.process))
    assert [one["name"] for one in header["figures"]] == ["wall_loss", "sag", "polymer_left"]
    with pytest.raises(ValueError, match="must be oxide, sti, copper, tungsten, polymer-fill"):
        DieAsked(document=setup.document, process="gold")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('coat = "350 nm"', 'coat = "0 nm"', "die.coat"),
        (
            'coat = "350 nm"',
            'step = "350 nm"',
            "must be left out for polymer-fill (it speaks of oxide or sti)",
        ),
        ('coat = "350 nm"', 'walls = "gold"', "die.walls"),
        ('coat = "350 nm"', 'coats = "350 nm"', "did you mean 'coat'"),
        ('"polymer-fill"', '"polymer-fil"', "did you mean 'polymer-fill'"),
    ],
)
def test_what_does_not_fit_it_is_refused(added, old, new, says):
    assert old in SETUP
    with pytest.raises(SetupError, match=re.escape(says)):
        loads(SETUP.replace(old, new))


def test_its_films_show_it(added):
    bare = planish.new_setup("rotary").partition("[die]")[0]
    films = bare.replace('material = "oxide"', 'material = "polymer"') + USE.partition("[die]")[0]
    assert process_of(loads(films).rig) == "polymer-fill"
    assert process_of(loads(bare).rig) == "oxide"


def test_a_process_that_cannot_be_used_is_named():
    class Other(Standing):
        pass

    PROCESSES.add(Process("empty", "nothing", Other()))
    try:
        with pytest.raises(PluginError, match=r"level of die process 'empty' = 'Other': must be a .*Level"):
            default_level("empty")
    finally:
        PROCESSES.remove("empty")


@pytest.mark.parametrize(
    ("name", "says"), [("step", "of the same limits as where other"), ("aperture", "another than .die. has")]
)
def test_a_key_that_means_something_else_already_is_refused(name, says):
    from dataclasses import make_dataclass

    wide = key(1.0, "something", Quantity("length", low="0 mm", high="1 mm"))
    level = make_dataclass("Odd", [(name, float, wide)], bases=(Standing,), frozen=True)()
    PROCESSES.add(Process("odd", "nothing", level))
    try:
        with pytest.raises(PluginError, match=says):
            keys()
    finally:
        PROCESSES.remove("odd")
