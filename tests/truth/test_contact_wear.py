"""Wear of waves under a pad against closed forms, by the contact route of the die.

Derivation of our own from Westergaard's wave (read as quoted in the ContactMechanics library), Preston's law and
summits of exponential height: a small wave of wave number q feels p = p_mean + z/(C(q) + lambda/p_mean), with the compliance
C = 2/(E* q) of a half-space and that of the bending wafer, 1/(D q^4); so it decays as
exp(-k t/(C + lambda/p_mean)), k the blanket rate over p_mean. The mean falls by the blanket rate in any case.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from planish.predict.die.cells import DieChoices
from planish.predict.die.conditions import LocalConditions, LocalStep, SurfaceState
from planish.predict.die.contact import polish_by_contact
from planish.predict.die.model import DiePad, die_input
from planish.predict.die.processes.oxide import OxideLevel

MODULUS, POINTS, PRESSURE, RIGIDITY = 100e6, 32, 20e3, 5.47
RATE = 240e-9 / 60
MAPS = SimpleNamespace(
    density=np.ones((4, POINTS)), perimeter=np.zeros((4, POINTS)), line_width=np.full((4, POINTS), np.nan),
    space=np.full((4, POINTS), np.nan), origin=(0.0, 0.0),
)  # fmt: skip


def worn(start: np.ndarray, wavelength: float, length: float, time: float, finer: int) -> np.ndarray:
    """Return the surface [m] of a film without pattern that began as ``start``."""
    level = OxideLevel(thickness=1e-3)
    maps = SimpleNamespace(**vars(MAPS), cell=wavelength / POINTS)
    pad = DiePad(lambda q: 2 / (MODULUS * q), SurfaceState(length, 1.1e-5), RIGIDITY)
    local = LocalConditions("here", 0.0, (LocalStep("polish", time, PRESSURE, 1.0, {"oxide": RATE}),))
    fields, _ = polish_by_contact(die_input(maps, level, start), level, local, pad, DieChoices(), finer=finer)
    return fields.level_high


@pytest.mark.parametrize("length", [1e-7, 4e-7])
@pytest.mark.parametrize("wavelength", [1e-3, 1e-2, 4e-2])
def test_small_wave_through_the_summits(length: float, wavelength: float) -> None:
    q = 2 * np.pi / wavelength
    softness = 2 / (MODULUS * q) + 1 / (RIGIDITY * q**4) + length / PRESSURE
    time = softness * PRESSURE / RATE
    small = 0.03 * softness * PRESSURE  # so that pressures vary by 3 %, far above the solver's 1e-4
    wave = np.tile(small * np.cos(2 * np.pi * np.arange(POINTS) / POINTS), (4, 1))
    end = worn(wave, wavelength, length, time, finer=4)
    amplitude = 2 * np.abs(np.fft.rfft(end[0])[1]) / POINTS
    assert amplitude == pytest.approx(small * np.exp(-1.0), rel=1e-2)


def test_mean_removal_is_preston() -> None:
    start = np.random.default_rng(5).random((4, POINTS)) * 1e-6
    end = worn(start, 1e-3, 3e-7, 60.0, finer=1)
    assert start.mean() - end.mean() == pytest.approx(RATE * 60.0, rel=1e-6)
    assert np.all(end <= start)  # a surface never grows
