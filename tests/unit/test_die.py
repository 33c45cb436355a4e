"""A die end to end: conservation, limits, places, hand-over, and the trade's sayings as they come out.

Trends: planarization length and surface layer, Chang et al., MRS Proceedings (abstract); the others are
common practice, no source. Nothing in the model is told any of them.
"""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from planish.errors import SetupError
from planish.physics.pattern.effective_density import effective_density
from planish.physics.pressure.layers import ElasticLayer, rigid_base, surface_compliance
from planish.predict.die.cells import DieChoices
from planish.predict.die.conditions import LocalConditions, LocalStep, SurfaceState
from planish.predict.die.hot_spots import hot_spots
from planish.predict.die.levels import default_level
from planish.predict.die.model import DiePad, at_time, die_input
from planish.predict.die.polish import polish_one
from planish.predict.die.processes.metal import MetalLevel
from planish.predict.die.processes.oxide import OxideLevel
from planish.predict.die.processes.sti import StiLevel
from planish.predict.die.result import DieResult
from planish.results.saved import open_result

CELL = 2e-4
SURFACE = SurfaceState(selectivity_length=2e-7, spot_radius=1.1e-5)
OXIDE = {"oxide": 250e-9 / 60}
STI = {"oxide": 250e-9 / 60, "nitride": 4e-9 / 60}
COPPER = {"copper": 400e-9 / 60, "tantalum": 60e-9 / 60, "oxide": 20e-9 / 60}


def layout(density, width):
    density, width = np.broadcast_arrays(np.asarray(density, float), np.asarray(width, float))
    return SimpleNamespace(
        density=density,
        perimeter=2 * density / width,
        line_width=width,
        space=width * (1 - density) / np.maximum(density, 1e-12),
        cell=CELL,
        origin=(0.0, 0.0),
    )


def blocks(seed=0, low=0.15, high=0.85):
    rng = np.random.default_rng(seed)
    return np.kron(rng.uniform(low, high, (5, 6)), np.ones((20, 20)))


def pad(modulus=200e6, *, top=(), surface=SURFACE):
    layers = [*top, ElasticLayer(modulus, 0.3, 2e-3), ElasticLayer(3.5e6, 0.2, 1.3e-3)]
    return DiePad(lambda q: surface_compliance(q, layers, rigid_base()), surface, 5.47)


def conditions(rates, time=150.0, pressure=20e3):
    return LocalConditions("here", 0.0, (LocalStep("one", time, pressure, 1.0, rates),))


def die(level, maps, rates, *, time=150.0, on=None, incoming=None, **choices):
    cells = die_input(maps, level, incoming)
    return polish_one(cells, level, conditions(rates, time), on or pad(), DieChoices(**choices))


def test_density_law_through_the_die_gives_the_closed_range():
    maps = layout(blocks(), 2e-6)
    level = OxideLevel()
    got = die(level, maps, OXIDE, time=220, planarization_length=4e-3, step_law="density")
    rho = effective_density(maps.density, CELL, 4e-3)
    assert got.thickness_range == pytest.approx(800e-9 * np.ptp(rho), rel=1e-10)
    assert got.clear_time == pytest.approx(rho.max() * 800e-9 / OXIDE["oxide"], rel=1e-10)


@pytest.mark.parametrize("law", ["summits", "contact-height", "density"])
def test_oxide_volume_is_conserved_in_every_cell(law):
    maps = layout(blocks(), 2e-6)
    got = die(OxideLevel(), maps, OXIDE, time=100, step_law=law)
    rho, left = got.seen.high, got.fields.named["step_height"]
    up = -got.fields.level_high
    down = up - (800e-9 - left)
    np.testing.assert_allclose(rho * up + (1 - rho) * down, 100 * OXIDE["oxide"], rtol=1e-9)


def test_harder_pad_gives_a_smaller_range_within_the_die():
    fine = np.kron(np.random.default_rng(0).uniform(0.15, 0.85, (12, 12)), np.ones((8, 8)))
    maps = layout(fine, 2e-6)
    found = [die(OxideLevel(), maps, OXIDE, on=pad(e)) for e in (20e6, 75e6, 300e6)]
    ranges = [one.thickness_range for one in found]
    assert ranges[0] > ranges[1] > ranges[2]
    assert found[0].seen.length < found[1].seen.length < found[2].seen.length


def test_wider_lines_dish_more_and_it_saturates():
    width = np.array([0.3e-6, 1e-6, 3e-6, 10e-6, 30e-6, 100e-6, 300e-6])
    got = die(MetalLevel(), layout(np.full((1, 7), 0.5), width[None, :]), COPPER, time=160)
    dishing = got.fields.named["dishing"][0]
    slope = np.diff(dishing) / np.diff(width)
    assert np.all(np.diff(dishing) > 0)
    assert np.all(np.diff(slope) < 0)
    assert dishing[-2] / dishing[-4] > 1.8  # 100 um over 10 um
    assert dishing[-1] / dishing[-2] < 1.4


def test_denser_lines_erode_more():
    density = np.linspace(0.1, 0.9, 5)
    found = [
        np.nanmean(
            die(MetalLevel(), layout(np.full((4, 4), d), 1e-6), COPPER, time=180).fields.named["erosion"]
        )
        for d in density
    ]
    assert np.all(np.diff(found) > 0)


def test_smoother_surface_and_stiffer_surface_layer_dish_less():
    maps = layout(np.full((4, 4), 0.5), 2e-5)

    def dishing(on):
        return float(np.nanmean(die(MetalLevel(), maps, COPPER, time=180, on=on).fields.named["dishing"]))

    rough = dishing(pad(surface=replace(SURFACE, selectivity_length=4e-7)))
    smooth = dishing(pad(surface=replace(SURFACE, selectivity_length=1e-7)))
    assert smooth < rough
    soft, stiff = (dishing(pad(top=(ElasticLayer(e, 0.4, 5e-5),))) for e in (1e7, 2e8))
    assert stiff < soft


def test_sti_loses_more_nitride_where_it_is_sparse_and_the_window_closes_by_a_limit():
    density = np.kron([[0.2, 0.5, 0.8]], np.ones((30, 30)))
    got = die(StiLevel(), layout(density, 1e-6), STI, time=150)
    loss = got.fields.named["nitride_loss"]
    assert loss[:, 15].mean() > loss[:, 45].mean() > loss[:, 75].mean() > 0
    assert got.window.set_by in ("nitride_loss", "dishing")
    assert got.window.earliest <= got.clear_time * (1 + 1e-6)


def test_window_times_are_where_the_limits_are_met():
    maps = layout(blocks(3), 3e-7)
    level = StiLevel(dishing_limit=1e-6, nitride_limit=25e-9)
    got = die(level, maps, STI, time=140)
    late = die(level, maps, STI, time=got.window.latest)
    assert np.nanmax(late.fields.named["nitride_loss"]) == pytest.approx(25e-9, rel=1e-3)
    early = die(level, maps, STI, time=got.window.earliest * 0.999)
    assert not np.all(np.isfinite(early.fields.clear))


def test_recipe_can_be_cut_and_drawn_out():
    steps = tuple(LocalStep(n, 50.0, 2e4, 1.0, OXIDE) for n in "ab")
    local = LocalConditions("here", 0.0, steps)
    assert [s.duration for s in at_time(local, 30).steps] == [30]
    assert [s.duration for s in at_time(local, 80).steps] == [50, 30]
    assert [s.duration for s in at_time(local, 170).steps] == [50, 120]


def test_short_topography_from_below_is_taken_off_and_long_is_followed():
    n = 150
    x = np.arange(n) * CELL
    maps = layout(np.full((n, n), 0.5), 2e-6)
    flat = die(OxideLevel(), maps, OXIDE, time=200)

    def kept(wavelength):
        wave = 20e-9 * np.sin(2 * np.pi * x / wavelength) * np.ones((n, 1))
        got = die(OxideLevel(), maps, OXIDE, time=200, incoming=wave)
        height = got.fields.level_high - flat.fields.level_high
        return np.ptp(height) / np.ptp(wave)

    assert kept(1e-3) < 0.2
    assert kept(30e-3) > 0.8
    assert kept(1e-3) < kept(6e-3) < kept(30e-3)


def result(process, level, rates, seed=0):
    maps = layout(blocks(seed), 2e-6)
    one = die(level, maps, rates)
    cells = die_input(maps, level)
    return DieResult(
        process,
        level,
        CELL,
        (0.0, 0.0),
        maps.density,
        cells.high,
        cells.incoming,
        [one],
        111.6e-9,
        [],
        ["own"],
    )


@pytest.mark.parametrize(
    "process, level, rates",
    [("oxide", OxideLevel(), OXIDE), ("sti", StiLevel(), STI), ("copper", MetalLevel(), COPPER)],
)
def test_result_says_what_scripts_rely_on_and_comes_back_from_a_file(tmp_path, process, level, rates):
    got = result(process, level, rates)
    summary = got.document()
    for key in ("within_die_range_nm", "within_die_sigma_nm", "planarization_length_mm", "clear_time_s"):
        assert summary[key] > 0
    assert summary["within_die_sigma_nm"] < summary["within_die_range_nm"] <= summary["topography_nm"] + 1e-6
    assert summary["focus_used_percent"] == pytest.approx(100 * summary["topography_nm"] / 111.6)
    for spot in summary["hot_spots"]:
        assert 0 <= spot["x_mm"] <= 24
        assert 0 <= spot["y_mm"] <= 20
    back = open_result(got.save(tmp_path / "die.nc"))
    np.testing.assert_array_equal(back.data["clear_time"], got.data["clear_time"])
    assert got.data["surface"].attrs["units"] == "m"
    assert abs(float(got.data["surface"].mean())) < 1e-12


def test_levels_name_their_materials_and_unknown_processes_are_refused():
    assert default_level("tungsten").materials() == ("tungsten", "titanium-nitride", "oxide")
    assert MetalLevel(barrier=0.0).materials() == ("copper", "oxide")
    with pytest.raises(SetupError, match="process"):
        default_level("gold")
    with pytest.raises(SetupError, match="incoming"):
        die_input(layout(blocks(), 1e-6), OxideLevel(), np.zeros((2, 2)))


def two_platens():
    first = LocalStep("bulk", 95.0, 20e3, 1.0, COPPER)
    second = LocalStep("barrier", 60.0, 10e3, 1.0, {**COPPER, "copper": 60e-9 / 60, "oxide": 55e-9 / 60}, 1)
    return LocalConditions("here", 0.0, (first, second))


@pytest.mark.parametrize("route", ["density", "contact"])
def test_two_platens_of_one_pad_are_one_pad(route):
    maps, level = layout(blocks(5), 2e-6), MetalLevel()
    cells, local = die_input(maps, level), two_platens()
    one_pad = replace(local, steps=tuple(replace(step, platen=0, pressure=15e3) for step in local.steps))
    equal = replace(local, steps=tuple(replace(step, pressure=15e3) for step in local.steps))
    a, b = (
        polish_one(cells, level, at, on, DieChoices(), route=route)
        for at, on in ((one_pad, pad()), (equal, [pad(), pad()]))
    )
    np.testing.assert_allclose(a.fields.level_high, b.fields.level_high, atol=1e-13)
    assert a.window == b.window


def test_a_second_platen_without_selectivity_takes_dishing_back():
    maps, level = layout(blocks(5), 1e-5), MetalLevel()
    cells, local = die_input(maps, level), two_platens()
    pads = [pad(), pad(40e6, surface=replace(SURFACE, selectivity_length=3e-7))]
    after_first = polish_one(cells, level, replace(local, steps=local.steps[:1]), pads, DieChoices())
    after_both = polish_one(cells, level, local, pads, DieChoices())
    assert after_both.seen.shares is not None
    assert np.ptp(after_both.seen.shares[1]) > np.ptp(
        after_both.seen.shares[0]
    )  # the softer pad averages less
    dished, taken_back = (np.nanmean(d.fields.named["dishing"]) for d in (after_first, after_both))
    assert 0 < taken_back < dished


def test_cells_without_a_step_have_none_and_do_not_count_in_the_clear_time():
    density = np.full((30, 30), 0.5)
    density[5:15, 5:15], density[20:25, 20:25] = 1.0, 0.0
    maps = layout(density, 2e-6)
    maps.space[density == 0] = np.nan
    got = die(OxideLevel(), maps, OXIDE, time=200)
    flat = (density == 1) | (density == 0)
    for values in (got.fields.named["step_height"], got.fields.clear):
        assert np.all(np.isnan(values[flat]))
        assert np.all(np.isfinite(values[~flat]))
    assert got.counted == pytest.approx(np.mean(~flat))
    assert got.clear_time == np.max(got.fields.clear[~flat])
    # The range counts the full cells: they are film that stands there.
    assert np.all(np.isfinite(got.fields.level_high[density == 1]))


def test_on_a_map_of_full_and_empty_cells_the_rims_count():
    density = np.zeros((20, 20))
    density[5:15, 5:15] = 1.0
    got = die(OxideLevel(), layout(density, np.nan), OXIDE, time=200)
    counted = ~np.isnan(got.fields.clear)
    assert counted.sum() == 36
    assert not counted[7:13, 7:13].any()


def test_hot_spots_of_a_regular_map_do_not_hang_on_rounding():
    rng = np.random.default_rng(1)
    regular = np.tile(np.array([1.0, 2.0, 5.0, 2.0]), (6, 10)) * 1e-7
    first = hot_spots("centre", "loss", regular, (0.0, 0.0), 1e-4, apart=8e-4)
    for _ in range(5):
        shaken = regular * (1.0 + 1e-13 * rng.standard_normal(regular.shape))
        again = hot_spots("centre", "loss", shaken, (0.0, 0.0), 1e-4, apart=8e-4)
        assert [(spot.x, spot.y) for spot in again] == [(spot.x, spot.y) for spot in first]
    assert [spot.x for spot in first] == pytest.approx([2.5e-4, 14.5e-4, 26.5e-4])
