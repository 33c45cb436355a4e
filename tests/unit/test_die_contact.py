"""The contact route against wear of a resolved surface, against finer steps, and against the density route."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from planish.errors import SetupError
from planish.physics.contact.cell import counted_height, fall_rate
from planish.physics.contact.problem import AsperityLayer, ContactProblem
from planish.physics.pressure.layers import ElasticLayer, rigid_base, surface_compliance
from planish.predict.die.cells import DieChoices
from planish.predict.die.conditions import LocalConditions, LocalStep, SurfaceState
from planish.predict.die.contact import polish_by_contact
from planish.predict.die.model import DiePad, die_input
from planish.predict.die.polish import polish_one
from planish.predict.die.processes.metal import MetalLevel
from planish.predict.die.processes.oxide import OxideLevel
from planish.predict.die.processes.sti import StiLevel

SURFACE = SurfaceState(selectivity_length=2e-7, spot_radius=1.1e-5)
K = 250e-9 / 60
RATES = {
    "oxide": K,
    "nitride": 4e-9 / 60,
    "copper": 400e-9 / 60,
    "tantalum": 60e-9 / 60,
    "dielectric": 20e-9 / 60,
}


def pad(modulus=150e6):
    layers = [ElasticLayer(modulus, 0.3, 2e-3), ElasticLayer(3.5e6, 0.2, 1.3e-3)]
    return DiePad(lambda q: surface_compliance(q, layers, rigid_base()), SURFACE, 5.47)


def layout(density, width, cell=2e-4):
    density, width = np.broadcast_arrays(np.asarray(density, float), np.asarray(width, float))
    with np.errstate(divide="ignore"):
        space = np.where(density > 0, width * (1 - density) / density, np.nan)
    return SimpleNamespace(
        density=density,
        perimeter=2 * density / width,
        line_width=width,
        space=space,
        cell=cell,
        origin=(0, 0),
    )


def blocks(seed=0, low=0.2, high=0.8):
    return np.kron(np.random.default_rng(seed).uniform(low, high, (4, 4)), np.ones((10, 10)))


def local(time=150.0, pressure=20e3, steps=1):
    return LocalConditions(
        "here", 0.0, tuple(LocalStep(f"{i}", time / steps, pressure, 1.0, RATES) for i in range(steps))
    )


def run(level, maps, *, on=None, time=150.0, finer=1, incoming=None):
    cells = die_input(maps, level, incoming)
    return polish_by_contact(cells, level, local(time), on or pad(), DieChoices(), finer=finer)


def test_a_die_of_full_and_empty_cells_wears_as_its_bare_surface_does():
    full = np.kron(np.random.default_rng(3).random((8, 8)) < 0.5, np.ones((5, 5)))
    on, level, time = pad(), OxideLevel(step=400e-9), 60.0
    fields, _ = run(level, layout(full, np.nan), on=on, time=time, finer=2)
    surface = np.where(full > 0, fields.level_high, fields.level_low)

    def compliance(q):
        with np.errstate(divide="ignore"):
            return on.compliance(q) + 1 / (5.47 * q**4)

    problem = ContactProblem(full.shape, 2e-4, compliance, asperity=AsperityLayer(20e3, 2e-7))
    # Preston's law on the bare surface in many explicit steps, each with the pressure at its middle.
    bare, pressed, dt = 400e-9 * (full - 1), None, time / 240
    for _ in range(240):
        pressed = problem.press(bare, 20e3, start=pressed, tol=1e-6).pressure
        half = bare - K / 20e3 * pressed * dt / 2
        bare = bare - K / 20e3 * problem.press(half, 20e3, start=pressed, tol=1e-6).pressure * dt
    # 250 nm are gone on average, from 0 in the low cells to most of the step in the high ones
    np.testing.assert_allclose(surface, bare, atol=1.5e-10)
    assert surface.mean() == pytest.approx(400e-9 * (full.mean() - 1) - K * time, abs=5e-11)


@pytest.mark.parametrize(
    "level, width",
    [(OxideLevel(), 2e-6), (StiLevel(), 1e-6), (MetalLevel(dielectric="dielectric"), 2e-6)],
    ids=["oxide", "sti", "metal"],
)
def test_finer_steps_change_little(level, width):
    coarse, fine = (run(level, layout(blocks(), width), finer=finer)[0] for finer in (1, 3))
    assert np.nanmax(np.abs(coarse.level_high - fine.level_high)) < 2e-9


def test_volume_is_conserved_over_the_die():
    maps = layout(blocks(), 2e-6)
    fields, _ = run(OxideLevel(), maps, time=100)
    left = fields.named["step_height"]
    lost = -maps.density * fields.level_high - (1 - maps.density) * (fields.level_low + 800e-9)
    np.testing.assert_allclose(fields.level_high - fields.level_low, left, rtol=1e-12, atol=1e-21)
    assert lost.mean() == pytest.approx(100 * K, rel=1e-9)


@pytest.mark.parametrize(
    "level", [OxideLevel(), StiLevel(), MetalLevel(dielectric="dielectric")], ids=["oxide", "sti", "metal"]
)
def test_both_routes_agree_in_trend_and_size(level):
    maps = layout(blocks(1), 2e-6)
    cells = die_input(maps, level)
    by_density, by_contact = (
        polish_one(cells, level, local(), pad(), DieChoices(), route=route)
        for route in ("density", "contact")
    )
    a, b = by_density.fields.level_high, by_contact.fields.level_high
    assert np.corrcoef(a.ravel(), b.ravel())[0, 1] > 0.9
    assert 0.5 < by_contact.thickness_range / by_density.thickness_range < 1.5
    assert a.mean() == pytest.approx(b.mean(), abs=0.05 * 150 * K)
    assert by_contact.clear_time == pytest.approx(by_density.clear_time, rel=0.25)


def test_harder_pad_gives_a_smaller_range_by_contact_too():
    maps = layout(blocks(2), 2e-6)
    ranges = [np.ptp(run(OxideLevel(), maps, on=pad(e), time=200)[0].level_high) for e in (20e6, 75e6, 300e6)]
    assert ranges[0] > ranges[1] > ranges[2]


def test_topography_from_below_is_taken_off_where_it_is_short():
    maps = layout(np.full((60, 60), 0.5), 2e-6)
    x = np.arange(60) * 2e-4

    def kept(waves):
        wave = 20e-9 * np.sin(2 * np.pi * waves * x / 12e-3) * np.ones((60, 1))
        return np.ptp(run(OxideLevel(), maps, time=200, incoming=wave)[0].level_high) / np.ptp(wave)

    assert kept(12) < kept(4) < kept(1)
    assert kept(12) < 0.2


def test_window_and_clear_times_are_where_the_recipe_meets_them():
    maps, level = layout(blocks(4), 2e-6), StiLevel(nitride_limit=5e-9, dishing_limit=1e-6)
    _, window = run(level, maps, time=100)
    assert window.set_by == "nitride_loss"
    late, _ = run(level, maps, time=window.latest)
    assert np.nanmax(late.named["nitride_loss"]) == pytest.approx(5e-9, abs=3e-10)
    early, _ = run(level, maps, time=0.98 * window.earliest)
    assert np.nanmax(early.named["oxide_on_nitride"]) > 0
    on_time, _ = run(level, maps, time=1.01 * window.earliest)
    assert np.nanmax(on_time.named["oxide_on_nitride"]) == 0


def test_counted_height_falls_as_its_rate_says():
    rng = np.random.default_rng(5)
    h, phi = rng.uniform(0, 3e-7, 50), rng.uniform(0.1, 1, 50)
    length = rng.uniform(1e-7, 2e-7, 50)
    mean = phi + (1 - phi) * np.exp(-h / length)
    high, low, dt = 3e-9 / mean, 5e-9 * np.exp(-h / length) / mean, 1e-4
    ahead = counted_height(-high * dt, h + (low - high) * dt, phi, 2e-7, length)
    slope = (counted_height(np.zeros(50), h, phi, 2e-7, length) - ahead) / dt
    np.testing.assert_allclose(
        fall_rate(h, phi, 2e-7, length, 3e-9, 5e-9), np.maximum(slope, 0), rtol=1e-3, atol=1e-13
    )


def test_a_field_alone_is_refused():
    cells = die_input(layout(blocks(), 2e-6), OxideLevel())
    with pytest.raises(SetupError, match="contact route"):
        polish_by_contact(cells, OxideLevel(), local(), pad(), replace(DieChoices(), edges="alone"))


def test_islands_in_a_wide_plain_clear_about_when_the_contact_says():
    # 100 um islands, 4 mm apart: the bulk has to bend around the island, not along the plain
    density = np.zeros((60, 60))
    density[10::20, 10::20] = 0.25
    maps = layout(density, 1e-4)
    maps.space = np.where(density > 0, 4e-3, np.nan)
    cells = die_input(maps, OxideLevel())
    by_density, by_contact = (
        polish_one(cells, OxideLevel(), local(), pad(), DieChoices(), route=route)
        for route in ("density", "contact")
    )
    assert by_contact.clear_time < by_density.clear_time < 2 * by_contact.clear_time
    # What density left of the islands the density law keeps; the pad goes on to take it off.
    assert by_contact.topography < by_density.topography
