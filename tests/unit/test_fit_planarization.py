"""Planarization fit: it gives back what synthetic data were made with, and says so when it cannot."""

from types import SimpleNamespace

import numpy as np
import pytest

from planish.errors import FitError
from planish.fit.planarization import fit_planarization
from planish.measure.steps import StepTable
from planish.physics.pattern.effective_density import effective_density
from planish.physics.pattern.oxide_step import contact_height_step

STEP, CELL, LENGTH, RATE, HEIGHT = 800e-9, 2e-4, 4e-3, 4e-9, 150e-9


def layout():
    rng = np.random.default_rng(2)
    density = np.kron(rng.uniform(0.1, 0.9, (6, 6)), np.ones((12, 12)))
    return SimpleNamespace(density=density, cell=CELL, origin=(1e-3, 2e-3))


def measured(noise: float, seed: int = 0):
    maps = layout()
    rng = np.random.default_rng(seed)
    j, i = rng.integers(0, 72, 45), rng.integers(0, 72, 45)
    time = np.tile([50.0, 90.0, 140.0], 15)
    rho = effective_density(maps.density, CELL, LENGTH)[j, i]
    up, _, left = contact_height_step(rho, STEP, HEIGHT, RATE * time)
    x, y = 1e-3 + (i + 0.5) * CELL, 2e-3 + (j + 0.5) * CELL
    up, left = up + noise * rng.standard_normal(45), left + noise * rng.standard_normal(45)
    left[::4] = np.nan
    return maps, StepTable(x, y, time, up, left)


def test_exact_data_give_the_constants_back():
    fit = fit_planarization(*measured(0.0), step=STEP)
    assert fit.length.value == pytest.approx(LENGTH, rel=1e-4)
    assert fit.rate.value == pytest.approx(RATE, rel=1e-5)
    assert fit.contact_height.value == pytest.approx(HEIGHT, rel=1e-3)


def test_bands_hold_the_truth_about_as_often_as_they_say():
    held = []
    for seed in range(12):
        fit = fit_planarization(*measured(5e-9, seed), step=STEP)
        held.append(fit.length.low <= LENGTH <= fit.length.high)
        assert fit.residual_sd == pytest.approx(5e-9, rel=0.35)
    # 12 trials at 95 %: nine or fewer would happen once in fifty.
    assert sum(held) >= 10


def test_resampled_bands_are_near_those_of_the_covariance_and_repeat_with_the_seed():
    given = measured(5e-9)
    plain = fit_planarization(*given, step=STEP)
    one = fit_planarization(*given, step=STEP, resamples=40, seed=3)
    two = fit_planarization(*given, step=STEP, resamples=40, seed=3)
    assert one.length == two.length
    width = np.log(plain.length.high / plain.length.low)
    assert np.log(one.length.high / one.length.low) == pytest.approx(width, rel=0.6)
    assert "seed 3" in one.bands_by


def test_even_layout_cannot_tell_the_length():
    maps, data = measured(1e-9)
    maps.density = np.full_like(maps.density, 0.5)
    with pytest.raises(FitError, match="length"):
        fit_planarization(maps, data, step=STEP)


@pytest.mark.parametrize(
    "change, words",
    [
        ({"x": np.full(45, 1.0)}, "on the layout map"),
        ({"time": np.zeros(45)}, "polish time"),
        ({"up_loss": np.full(45, np.nan), "step_left": np.full(45, np.nan)}, "measured points"),
        ({"time": np.ones(3)}, "one length"),
    ],
)
def test_bad_data_are_refused_in_words(change, words):
    maps, data = measured(1e-9)
    given = {name: getattr(data, name) for name in ("x", "y", "time", "up_loss", "step_left")} | change
    with pytest.raises(FitError, match=words):
        fit_planarization(maps, StepTable(**given), step=STEP)
