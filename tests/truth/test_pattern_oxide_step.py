"""Oxide step laws against their closed forms.

The density law is derived in docs/theory/derivations.md; the numbers follow from it by hand. Combined law: its ODE integrated by scipy.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from planish.errors import ModelError
from planish.physics.pattern.effective_density import effective_density
from planish.physics.pattern.oxide_step import (
    blanket_removed,
    contact_height_step,
)

RATE = 250e-9 / 60
STEP = 800e-9


def test_worked_example_of_the_density_law():
    # a step of 800 nm at half density and 250 nm/min is gone after 0.5 x 800/250 min = 96 s
    up, left = blanket_removed(0.5, STEP, RATE * np.array([96.0, 120.0]))
    np.testing.assert_allclose(up, [800e-9, 900e-9], rtol=1e-10)
    np.testing.assert_allclose(left, 0, atol=1e-20)
    ends, _ = blanket_removed(np.array([0.2, 0.5, 0.8]), STEP, 2e-6)
    assert np.ptp(ends) == pytest.approx(480e-9, rel=1e-12)  # 0.6 of the step


def test_two_density_checkerboard_under_a_square_window():
    """Squares of side s under a window L < s: the density is bilinear across the borders."""
    cell, side, window = 1e-4, 40, 15
    i = np.arange(4 * side) // side % 2
    density = np.where((i[:, None] + i[None, :]) % 2 == 0, 0.2, 0.8)
    rho = effective_density(density, cell, window * cell, kernel="square")
    x = np.arange(side) + 0.5
    # Mean of the +-1 square wave over the window: linear near each border, +-1 inside.
    wave = np.clip(np.minimum(x, side - x) * 2 / window, -1, 1)
    wave = np.tile(np.concatenate([wave, -wave]), 2)
    want = 0.5 - 0.3 * wave[:, None] * wave[None, :]
    np.testing.assert_allclose(rho, want, atol=1e-10)
    up, left = blanket_removed(rho, STEP, 700e-9)
    assert left.max() == 0
    assert np.ptp(up) == pytest.approx(480e-9, rel=1e-10)
    np.testing.assert_allclose(up, 700e-9 + STEP * (1 - want), rtol=1e-10)


@pytest.mark.parametrize("rho", [0.05, 0.5, 0.95])
def test_contact_height_law_is_its_ode_and_conserves_volume(rho):
    hc = 150e-9

    def slope(_, y):
        h = y[0]
        up = RATE / rho if h > hc else RATE * (1 + (1 - rho) * h / (rho * hc))
        down = 0.0 if h > hc else RATE * (1 - h / hc)
        return [down - up, up, down]

    end = 1.6 * rho * STEP / RATE
    run = solve_ivp(slope, (0, end), [STEP, 0, 0], rtol=1e-10, atol=1e-16, max_step=end / 200)
    up, down, left = contact_height_step(rho, STEP, hc, RATE * end)
    assert left == pytest.approx(run.y[0, -1], abs=1e-12)
    assert up == pytest.approx(run.y[1, -1], rel=1e-4)
    assert rho * up + (1 - rho) * down == pytest.approx(RATE * end, rel=1e-12)
    # Two shorter steps are the same as one.
    up1, down1, mid = contact_height_step(rho, STEP, hc, RATE * end / 3)
    up2, down2, last = contact_height_step(rho, mid, hc, RATE * end * 2 / 3)
    np.testing.assert_allclose([up1 + up2, down1 + down2, last], [up, down, left], rtol=1e-12)


def test_contact_height_law_becomes_the_density_law_as_the_height_goes_to_zero():
    kt = np.linspace(0, 900e-9, 7)
    up, _, left = contact_height_step(0.4, STEP, 1e-15, kt)
    want, want_left = blanket_removed(0.4, STEP, kt)
    np.testing.assert_allclose(up, want, atol=2e-15)
    np.testing.assert_allclose(left, want_left, atol=2e-15)


def test_density_of_zero_is_refused():
    with pytest.raises(ModelError, match="effective density"):
        blanket_removed([0.0, 0.5], STEP, 1e-7)
