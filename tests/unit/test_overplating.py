"""Copper that stands higher over dense fine lines: when it clears, what is left, and that 0 moves nothing."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from planish.errors import SetupError
from planish.physics.pattern.metal import overplated_share
from planish.physics.pressure.layers import ElasticLayer, rigid_base, surface_compliance
from planish.predict.die.cells import DieChoices
from planish.predict.die.conditions import LocalConditions, LocalStep, SurfaceState
from planish.predict.die.model import DiePad, die_input
from planish.predict.die.polish import polish_one
from planish.predict.die.processes.copper import CopperLevel
from planish.predict.die.processes.metal import MetalLevel
from planish.setup.load import loads
from planish.setup.new import new_setup

CELL, SIDE = 100e-6, 60
RATES = {"copper": 400e-9 / 60, "tantalum": 60e-9 / 60, "oxide": 20e-9 / 60}
DEPTH = DEPOSITED = 600e-9


def maps(width: float = 0.2e-6, density: float = 0.5) -> SimpleNamespace:
    """A block of lines in the middle of a field without any."""
    lines = np.zeros((SIDE, SIDE))
    lines[20:40, 20:40] = density
    widths = np.where(lines > 0, width, np.nan)
    return SimpleNamespace(
        density=lines,
        perimeter=np.where(lines > 0, 2 * lines / width, 0.0),
        line_width=widths,
        space=np.where(lines > 0, width * (1 - density) / density, np.nan),
        cell=CELL,
        origin=(0.0, 0.0),
    )


def polished(level, layout, time=60.0, route="density"):
    layers = [ElasticLayer(200e6, 0.3, 2e-3), ElasticLayer(3.5e6, 0.2, 1.3e-3)]
    pad = DiePad(lambda q: surface_compliance(q, layers, rigid_base()), SurfaceState(50e-9, 11e-6), 5.47)
    local = LocalConditions("here", 0.0, (LocalStep("one", time, 20e3, 1.0, RATES),))
    return polish_one(die_input(layout, level), level, local, pad, DieChoices(), route=route)


BLOCK = (slice(28, 32), slice(28, 32))


def test_walls_that_vanish_make_the_hill():
    # Lines as wide as deep at half density: as much wall as area. Finer ones no more, wider or sparser ones less.
    width = np.array([0.3, 0.1, 0.6, 0.3]) * 1e-6
    walls = 2 * np.array([0.5, 0.5, 0.5, 0.1]) / width
    share = overplated_share(width, walls, 0.3e-6, 10e-6)
    assert share == pytest.approx([1.0, 1.0, 0.5, 0.2], rel=0.02)  # but for the cusps
    assert float(overplated_share(5e-6, 2e5, 0.3e-6, 0.6e-6)) == 0.0  # a line that stays open


@pytest.mark.parametrize("route", ["density", "contact"])
def test_nothing_moves_at_none(route):
    metal, copper = (polished(level, maps(), route=route) for level in (MetalLevel(), CopperLevel()))
    np.testing.assert_array_equal(metal.fields.level_high, copper.fields.level_high)
    np.testing.assert_array_equal(metal.fields.named["metal_left"], copper.fields.named["metal_left"])


def test_a_hill_of_copper_clears_later_and_a_hollow_sooner():
    clear = [
        float(np.mean(polished(CopperLevel(overplating=hill), maps(), 150.0).fields.clear[BLOCK]))
        for hill in (-200e-9, 0.0, 200e-9, 400e-9)
    ]
    assert np.all(np.diff(clear) > 0)
    # The pad takes part of the hill beforehand: no later than by the whole of it at the blanket rate.
    assert 0.02 < (clear[2] - clear[1]) * RATES["copper"] / 200e-9 < 1.0


def test_a_small_hill_is_taken_by_the_pad_a_large_one_is_followed():
    late = []
    for cell in (10e-6, 100e-6, 1e-3):  # blocks of 0.2, 2 and 20 mm
        layout = maps()
        layout.cell = cell
        with_hill, flat = (
            polished(CopperLevel(overplating=hill), layout, 150.0).fields.clear[BLOCK].mean()
            for hill in (300e-9, 0.0)
        )
        late.append(float((with_hill - flat) * RATES["copper"] / 300e-9))
    assert late[0] < late[1] < late[2]
    assert late[2] > 0.8


def test_before_polish_the_film_is_as_thick_as_plated():
    level = CopperLevel(overplating=300e-9)
    got = polished(level, maps(), 1e-6)
    left = got.fields.named["metal_left"]
    np.testing.assert_allclose(
        left[BLOCK], level.overburden + 300e-9, rtol=0.01
    )  # but for the cusps over the lines
    np.testing.assert_allclose(left[:5, :5], level.overburden, rtol=1e-3)
    assert float(np.ptp(got.incoming)) == pytest.approx(300e-9, rel=0.03)


def test_where_all_is_cleared_the_hill_is_gone_and_dielectric_is_counted_from_its_own_top():
    level = CopperLevel(overplating=300e-9)
    got = polished(level, maps(), 200.0)
    high = got.fields.level_high[BLOCK]
    erosion = got.fields.named["erosion"][BLOCK]
    # Surface of the dielectric: its own level less what it lost.
    np.testing.assert_allclose(high, -level.overburden - level.barrier - erosion, atol=1e-12)


def test_both_routes_clear_a_hill_later_the_contact_route_less_so():
    """The pad pressed on the hill as it is takes more of it than the one decay of the density route (see the theory)."""
    later = {}
    for route in ("density", "contact"):
        hill, flat = (
            float(polished(CopperLevel(overplating=h), maps(), 150.0, route).fields.clear[BLOCK].mean())
            for h in (300e-9, 0.0)
        )
        later[route] = hill - flat
    assert 1.0 < later["contact"] < later["density"]


def test_wide_lines_are_not_raised():
    level = CopperLevel(overplating=300e-9)
    cells = die_input(maps(width=20e-6), level)
    assert float(np.max(np.abs(cells.incoming))) == 0.0


def test_how_high_it_stands_is_told():
    for width, hill, told in (
        (0.2e-6, 300e-9, "stands up to 292 nm higher over lines"),
        (0.2e-6, -200e-9, "stands up to 194 nm lower over lines"),
        (20e-6, 300e-9, "no line of this layout closes"),
    ):
        level = CopperLevel(overplating=hill)
        (line,) = level.remarks(die_input(maps(width), level))
        assert told in line
    assert CopperLevel().remarks(die_input(maps(), CopperLevel())) == []


def test_no_copper_left_to_polish_is_refused():
    with pytest.raises(SetupError, match=r"die\.overplating \[m\] = -6e-07: must be above -5e-07"):
        die_input(maps(), CopperLevel(overburden=500e-9, overplating=-600e-9))


def test_the_setup_says_it_and_doubts_it():
    base = loads(new_setup("rotary")).with_part("slurry", "copper-bulk")
    film = {"wafer.film": [{"material": "copper", "thickness": "1 um"}]}
    setup = base.replace({**film, "die": {"process": "copper", "overplating": "300 nm"}})
    assert setup.rig.die is not None
    assert setup.rig.die.given["overplating"] == pytest.approx(300e-9)
    doubtful = base.replace({**film, "die": {"process": "copper", "overplating": "900 nm"}})
    assert any("more than the film is thick as deposited" in warning for warning in doubtful.warnings)
    with pytest.raises(SetupError, match=r"die\.overplating = '5 um': must be from -2 µm to 2 µm"):
        base.replace({**film, "die": {"process": "copper", "overplating": "5 um"}})
    with pytest.raises(SetupError, match="left out for oxide"):
        base.replace({"die": {"process": "oxide", "overplating": "300 nm"}})
    assert replace(CopperLevel(), overplating=1e-7).overplating == 1e-7
