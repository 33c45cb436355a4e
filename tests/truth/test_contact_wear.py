"""Wear of waves under a pad against closed forms.

Derivation of our own from Johnson 1985, Contact Mechanics, sec. 13.2 (from memory) and Preston's law:
in full contact a wave of amplitude A and wave number q feels p = p_mean + (E* q/2) A cos(q x), so it
decays as exp(-k E* q t/2); through an asperity layer, small waves decay as
exp(-k t/(2/(E* q) + lambda/p_mean)). The mean falls by k p_mean t in any case.
"""

from __future__ import annotations

import numpy as np
import pytest

from planish.physics.contact import AsperityLayer, ContactProblem
from planish.physics.wear import wear_steps

MODULUS, WAVELENGTH, POINTS = 100e6, 1e-3, 32
Q = 2 * np.pi / WAVELENGTH
PRESSURE = 20e3
RATE = 2e-13  # m/(Pa s): about 240 nm/min at 20 kPa
AMPLITUDE = 0.5 * PRESSURE / (MODULUS * Q / 2)  # full contact


def _wave(amplitude: float) -> np.ndarray:
    return np.tile(amplitude * np.cos(Q * np.arange(POINTS) * WAVELENGTH / POINTS), (4, 1))


def _amplitude(z: np.ndarray) -> float:
    return float(2 * np.abs(np.fft.rfft(z[0])[1]) / POINTS)


def _problem(asperity: AsperityLayer | None = None) -> ContactProblem:
    return ContactProblem((4, POINTS), WAVELENGTH / POINTS, MODULUS, asperity=asperity, workers=1)


def test_bare_wave_decays_exponentially_to_second_order() -> None:
    decay = RATE * MODULUS * Q / 2
    seconds = 1.5 / decay
    errors = []
    for steps in (4, 8, 16):
        worn = wear_steps(
            _wave(AMPLITUDE), RATE, PRESSURE, seconds, _problem(), n_steps=steps, contact_tol=1e-9
        )
        errors.append(abs(_amplitude(worn.surface) / (AMPLITUDE * np.exp(-1.5)) - 1))
    assert errors[-1] < 1e-3
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert np.all(orders > 1.8), (errors, orders)


@pytest.mark.parametrize("length", [1e-7, 1e-6])
def test_small_wave_through_a_layer(length: float) -> None:
    small = 1e-4 * length
    decay = RATE / (2 / (MODULUS * Q) + length / PRESSURE)
    asperity = AsperityLayer(1e6, length)
    worn = wear_steps(
        _wave(small), RATE, PRESSURE, 1.0 / decay, _problem(asperity), n_steps=40, contact_tol=1e-11
    )
    assert _amplitude(worn.surface) == pytest.approx(small * np.exp(-1.0), rel=1e-3)


@pytest.mark.parametrize("asperity", [None, AsperityLayer(1e6, 3e-7)])
def test_mean_removal_is_preston(asperity: AsperityLayer | None) -> None:
    z = np.random.default_rng(5).random((4, POINTS)) * 1e-6
    worn = wear_steps(z, RATE, PRESSURE, 60.0, _problem(asperity), n_steps=7)
    removed = z.mean() - worn.surface.mean()
    assert removed == pytest.approx(RATE * PRESSURE * 60.0, rel=1e-10)
