"""Wear stepping: what must hold whatever the surface, and how steps choose themselves."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from planish.errors import ModelError
from planish.physics.contact import AsperityLayer, ContactProblem
from planish.physics.wear import wear_steps

PRESSURE, RATE, CELL, MODULUS = 20e3, 2e-13, 1e-5, 100e6
SHAPE = (48, 50)


def _die(seed: int = 2) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return 0.8e-6 * (rng.random((12, 10)).repeat(4, 0).repeat(5, 1) < 0.5)


def _problem(asperity: AsperityLayer | None = None, **more: object) -> ContactProblem:
    return ContactProblem(SHAPE, CELL, MODULUS, asperity=asperity, workers=1, **more)  # type: ignore[arg-type]


LAYER = AsperityLayer(1e6, 5e-7)


@pytest.mark.parametrize("asperity", [None, LAYER])
def test_surface_never_grows_and_gets_flatter(asperity: AsperityLayer | None) -> None:
    worn = wear_steps(_die(), RATE, PRESSURE, 120.0, _problem(asperity), n_steps=12, keep_every=1)
    assert len(worn.times) == len(worn.surfaces) == 13
    assert worn.times[0] == 0.0
    assert worn.times[-1] == 120.0
    np.testing.assert_allclose(worn.times, np.linspace(0, 120, 13))
    spreads = [float(z.std()) for z in worn.surfaces]
    for before, after in itertools.pairwise(worn.surfaces):
        assert np.all(after <= before)
    assert all(b < a for a, b in itertools.pairwise(spreads))


def test_huge_bare_step_stays_stable() -> None:
    # explicit steps would blow up beyond 2/(k E* pi/(2 cell)), here about 0.6 s
    worn = wear_steps(_die(), RATE, PRESSURE, 3000.0, _problem(), n_steps=3)
    assert np.ptp(worn.surface) < 0.02 * 0.8e-6


def test_unpolishable_cells_keep_their_height() -> None:
    rate = np.full(SHAPE, RATE)
    rate[10:20, 10:30] = 0.0
    z = _die()
    worn = wear_steps(z, rate, PRESSURE, 60.0, _problem(LAYER), n_steps=6)
    np.testing.assert_array_equal(worn.surface[10:20, 10:30], z[10:20, 10:30])
    assert np.all(worn.surface[30:] < z[30:])


def test_material_below_an_interface_slows_the_removal() -> None:
    def rate(surface: np.ndarray) -> np.ndarray:
        return np.where(surface > 0.0, RATE, RATE / 50)

    z = _die() + 0.2e-6
    stopped = wear_steps(z, rate, PRESSURE, 400.0, _problem(LAYER), n_steps=80).surface
    through = wear_steps(z, RATE, PRESSURE, 400.0, _problem(LAYER), n_steps=80).surface
    assert stopped.min() > -0.1e-6  # the stop holds
    assert through.mean() < -0.5e-6


def test_tolerance_sets_the_error() -> None:
    z = _die()
    exact = wear_steps(z, RATE, PRESSURE, 120.0, _problem(LAYER), n_steps=256, contact_tol=1e-9).surface
    errors, steps = [], []
    for tolerance in (1e-9, 1e-10, 1e-11):
        worn = wear_steps(z, RATE, PRESSURE, 120.0, _problem(LAYER), tolerance=tolerance, contact_tol=1e-8)
        assert worn.largest_error <= tolerance
        errors.append(float(np.abs(worn.surface - exact).max()))
        steps.append(worn.steps)
    assert steps == sorted(steps)
    assert steps[0] < steps[-1]
    for tolerance, error, count in zip((1e-9, 1e-10, 1e-11), errors, steps, strict=True):
        assert error < 2 * count * tolerance


def test_fixed_steps_converge_at_second_order() -> None:
    z = _die()
    exact = wear_steps(z, RATE, PRESSURE, 120.0, _problem(LAYER), n_steps=128, contact_tol=1e-9).surface
    errors = [
        np.abs(
            wear_steps(z, RATE, PRESSURE, 120.0, _problem(LAYER), n_steps=n, contact_tol=1e-9).surface - exact
        ).max()
        for n in (4, 8, 16)
    ]
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert np.all(orders > 1.7), orders


def test_single_precision_follows_double() -> None:
    z = _die()
    double = wear_steps(z, RATE, PRESSURE, 60.0, _problem(LAYER), n_steps=10).surface
    single = wear_steps(z, RATE, PRESSURE, 60.0, _problem(LAYER, dtype=np.float32), n_steps=10).surface
    assert np.abs(single - double).max() < 1e-5 * 0.8e-6


def test_progress_is_told() -> None:
    seen: list[float] = []
    wear_steps(_die(), RATE, PRESSURE, 10.0, _problem(LAYER), n_steps=4, on_step=lambda t, z: seen.append(t))
    np.testing.assert_allclose(seen, [2.5, 5.0, 7.5, 10.0])


def test_harder_pad_leaves_a_flatter_die() -> None:
    # a dense and a sparse half, 10 mm apart: the pad's stiffness must carry load from one to the other
    rng = np.random.default_rng(4)
    density = np.repeat([0.2, 0.7], 64)[None, :]
    z = 0.8e-6 * (rng.random((32, 128)) < density)
    left, right = np.s_[:, 16:48], np.s_[:, 80:112]
    steps = []
    for modulus in (3e6, 30e6, 300e6):
        problem = ContactProblem(z.shape, 1e-4, modulus, asperity=LAYER, workers=1)
        worn = wear_steps(z, RATE, PRESSURE, 240.0, problem, n_steps=12).surface
        steps.append(float(worn[right].mean() - worn[left].mean()))
    assert steps[0] > steps[1] > steps[2] > 0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"n_steps": None}, "one of the two"),
        ({"tolerance": 1e-9}, "one of the two"),
        ({"n_steps": 0}, "n_steps"),
        ({"n_steps": None, "tolerance": -1.0}, "tolerance"),
        ({"total_time": 0.0}, "total time"),
        ({"rate": -1e-13}, "rate"),
        ({"rate": np.ones((3, 3))}, "rate shape"),
        ({"surface": np.zeros((3, 3))}, "surface shape"),
    ],
)
def test_bad_values_are_refused(change: dict[str, object], words: str) -> None:
    given: dict[str, object] = {
        "surface": _die(), "rate": RATE, "mean_pressure": PRESSURE, "total_time": 1.0,
        "problem": _problem(LAYER), "n_steps": 1,
    }  # fmt: skip
    given.update(change)
    with pytest.raises(ModelError, match=words):
        wear_steps(**given)  # type: ignore[arg-type]
