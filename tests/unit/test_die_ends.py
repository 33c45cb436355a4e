"""What a die says at its ends: nothing past its films, clear times of their own, ranges that cells do not make."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

import planish
from planish.physics.pressure.layers import ElasticLayer, rigid_base, surface_compliance
from planish.predict.die.bands import die_band
from planish.predict.die.cells import DieChoices
from planish.predict.die.conditions import LocalConditions, LocalStep, SurfaceState
from planish.predict.die.model import DiePad, bridged_width, die_input
from planish.predict.die.polish import polish_die, polish_one
from planish.predict.die.processes.metal import MetalLevel
from planish.predict.die.processes.oxide import OxideLevel
from planish.predict.die.processes.sti import StiLevel

EXAMPLES = Path(__file__).parents[2] / "examples"
BLOCKS = EXAMPLES / "data" / "test-blocks.gds"
RATES = {
    "oxide": 250e-9 / 60,
    "nitride": 8e-9 / 60,
    "copper": 400e-9 / 60,
    "tantalum": 60e-9 / 60,
    "dielectric": 30e-9 / 60,
}
LEVELS = [OxideLevel(), StiLevel(), MetalLevel(dielectric="dielectric")]


def maps(width=2e-6):
    density = np.kron(np.random.default_rng(2).uniform(0.2, 0.8, (4, 4)), np.ones((10, 10)))
    space = width * (1 - density) / density
    return SimpleNamespace(
        density=density, perimeter=2 * density / width, line_width=np.full_like(density, width), space=space,
        cell=2e-4, origin=(0.0, 0.0),
    )  # fmt: skip


def die(level, *steps, route="density", incoming=None):
    layers = [ElasticLayer(150e6, 0.3, 2e-3), ElasticLayer(3.5e6, 0.2, 1.3e-3)]
    pad = DiePad(lambda q: surface_compliance(q, layers, rigid_base()), SurfaceState(4e-8, 1.1e-5), 5.47)
    recipe = tuple(LocalStep(f"{i}", time, pressure, 1.0, RATES) for i, (time, pressure) in enumerate(steps))
    cells = die_input(maps(), level, incoming)
    return polish_one(cells, level, LocalConditions("here", 0.0, recipe), pad, DieChoices(), route=route)


@pytest.mark.parametrize("route", ["density", "contact"])
def test_nothing_is_polished_past_what_stands_there(route):
    oxide = die(replace(LEVELS[0], step=300e-9, thickness=400e-9), (130.0, 2e4), route=route)
    assert np.nanmin(oxide.fields.named["oxide_over_lines"]) == pytest.approx(0.0, abs=1e-15)
    assert oxide.fields.end.mean() > 0.9
    sti = die(replace(LEVELS[1], nitride=10e-9), (250.0, 2e4), route=route)
    assert np.nanmax(sti.fields.named["nitride_loss"]) == pytest.approx(10e-9, rel=1e-9)
    metal = die(replace(LEVELS[2], trench_depth=60e-9), (220.0, 2e4), route=route)
    assert metal.fields.end.any()
    gone = metal.fields.named["erosion"] + metal.fields.named["dishing"]
    assert np.nanmax(gone) <= 60e-9 * (1 + 1e-9)


def test_a_cell_that_stopped_is_told():
    setup = planish.load(EXAMPLES / "rotary.toml").replace({"die.thickness": "500 nm"})
    found = polish_die(setup, planish.read_layout_maps(BLOCKS, 1, 0, 200e-6), place="centre")
    assert any("the oxide over the lines is gone in" in note for note in found.notes)
    assert found.summary()["oxide_over_lines_min_nm"] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("level", LEVELS, ids=["oxide", "sti", "metal"])
@pytest.mark.parametrize("bumpy", [False, True])
def test_when_a_cell_is_clear_does_not_hang_on_what_comes_after(level, bumpy):
    bumps = 20e-9 * np.random.default_rng(0).random((40, 40)) if bumpy else None
    first = (220.0, 2e4)
    alone = die(level, first, incoming=bumps).fields.clear
    followed = die(level, first, (500.0, 1e4), incoming=bumps).fields.clear
    cleared = np.isfinite(alone) & (alone <= 220.0)
    assert cleared.mean() > 0.5
    np.testing.assert_allclose(followed[cleared], alone[cleared], rtol=1e-9)


@pytest.mark.parametrize("name", ["rotary", "sti"])
def test_the_range_within_the_die_does_not_hang_on_the_cell(name):
    setup = planish.load(EXAMPLES / f"{name}.toml")
    found = [
        polish_die(setup, planish.read_layout_maps(BLOCKS, 1, 0, cell), place="centre")
        .dies[0]
        .thickness_range
        for cell in (40e-6, 60e-6, 100e-6, 200e-6)
    ]
    assert max(found) / min(found) < 1.02


def test_squares_are_bridged_like_lines_of_half_their_width():
    share = np.full((20, 20), 0.25)
    width = np.full((20, 20), 2e-6)
    np.testing.assert_allclose(bridged_width(width, share, 4 * share / width, 2e-5), width / 2)
    np.testing.assert_allclose(bridged_width(width, share, 2 * share / width, 2e-5), width)
    np.testing.assert_allclose(bridged_width(width, share, 0 * share, 2e-5), width)  # not known


def test_the_sliding_share_has_its_part_in_the_bands():
    setup = planish.load(EXAMPLES / "copper-barrier.toml")  # its rates are in proportion to pressure
    layout = planish.read_layout_maps(BLOCKS, 1, 0, 400e-6)
    bands = die_band([setup], layout, place="centre")
    name = "sliding share of the summits' reach"
    dishing = bands["topography_nm"]
    assert dishing.shares[name] != 0
    assert dishing.sd == pytest.approx(sum(one**2 for one in dishing.shares.values()) ** 0.5)
