"""Mean sliding speeds against direct quadrature at 30 digits (make_motion_values.py) and known figures.

Source: rigid-body kinematics; numbers from our own mpmath script. That equal
platen and carrier speeds make the speed uniform follows from it (docs/theory/motion.md).
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from planish.physics.motion.linear import Linear
from planish.physics.motion.orbital import Orbital
from planish.physics.motion.rotary import Rotary
from planish.physics.motion.speed import speed_moment

ROWS = json.loads(Path(__file__).with_name("motion_values.json").read_text(encoding="utf-8"))
RPM = 2 * np.pi / 60


PLATEN = Rotary(centre_offset=0.19, platen_radius=0.4)
BELT = Linear(belt_width=0.4, belt_length=2.4)


def orbit(radius):
    return Orbital(orbit_radius=radius, pad_radius=0.2)


def split(case):
    """Return the machine, its two speeds and the wafer radius of a case."""
    kind, *numbers = case
    n = [float(x) for x in numbers]
    if kind == "rotary":
        return Rotary(centre_offset=n[0], platen_radius=1.0), (n[1] * RPM, n[2] * RPM), n[-1]
    if kind == "linear":
        return Linear(belt_width=1.0, belt_length=4.0), (n[0], n[1] * RPM), n[-1]
    return Orbital(orbit_radius=n[0], pad_radius=1.0), (n[1] * RPM, n[2] * RPM), n[-1]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: " ".join(row["case"]))
def test_mean_speed_equals_quadrature_of_many_digits(row):
    machine, speeds, r = split(row["case"])
    assert float(machine.mean_speed(r, *speeds)) == pytest.approx(float(row["mean"]), rel=1e-13)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: " ".join(row["case"]))
def test_moments_equal_quadrature_of_many_digits(row):
    machine, speeds, r = split(row["case"])
    A, B = machine.speed_amplitudes(r, *speeds)
    for beta, value in row["moments"].items():
        assert float(speed_moment(A, B, float(beta))) == pytest.approx(float(value), rel=1e-12)


@pytest.mark.parametrize(
    "value, speed",
    [
        (1.790708, lambda: PLATEN.mean_speed(0.147, 90 * RPM, 90 * RPM)),
        (1.820609, lambda: PLATEN.mean_speed(0.147, 90 * RPM, 60 * RPM)),
        (1.911935, lambda: PLATEN.mean_speed(0.147, 90 * RPM, 30 * RPM)),
        (2.070717, lambda: PLATEN.mean_speed(0.147, 90 * RPM, 0.0)),
        (1.562334, lambda: PLATEN.mean_speed(0.100, 60 * RPM, -60 * RPM)),
        (2.026749, lambda: BELT.mean_speed(0.147, 2.0, 30 * RPM)),
        (2.108140, lambda: BELT.mean_speed(0.147, 2.0, 60 * RPM)),
        (1.005310, lambda: orbit(0.016).mean_speed(0.0, 600 * RPM, 20 * RPM)),
        (1.029023, lambda: orbit(0.016).mean_speed(0.147, 600 * RPM, 20 * RPM)),
        (0.854899, lambda: orbit(0.025).mean_speed(0.147, 300 * RPM, 30 * RPM)),
    ],
)
def test_seven_digit_figures(value, speed):
    # The figures are rounded to 1e-6 m/s, hence half a unit of that beside the relative bar of 1e-6.
    assert abs(float(speed()) - value) <= 0.5e-6 + 1e-9


def test_equal_speeds_are_uniform():
    speeds = PLATEN.mean_speed(np.linspace(0, 0.15, 301), 90 * RPM, 90 * RPM)
    np.testing.assert_array_equal(speeds, speeds[0])


def speed_along_the_path(machine, r, t, *speeds):
    """Speed of a wafer point past the pad [m/s]: how fast its path on the pad grows."""
    h = 1e-4 / max(abs(v) for v in speeds)
    ahead, behind = (machine.path(r, 0.4, t + s, *speeds) for s in (h, -h))
    # Third-order differences: of a smooth path the error is far below what is compared.
    far, back = (machine.path(r, 0.4, t + 2 * s, *speeds) for s in (h, -h))
    x, y = ((8 * (a - b) - (c - d)) / (12 * h) for a, b, c, d in zip(ahead, behind, far, back, strict=True))
    return np.hypot(x, y)


@pytest.mark.parametrize(
    "machine, speeds, rate",
    [(PLATEN, (9.0, 7.0), 7.0), (BELT, (2.0, 6.0), 6.0), (orbit(0.02), (40.0, 3.0), 37.0)],
)
def test_mean_of_the_velocity_field_itself(machine, speeds, rate):
    # Sampling how fast the path on the pad grows, over incommensurate turnings, must give the closed form.
    t = np.arange(512) * (2 * np.pi / rate / 512)
    for r in (0.0, 0.05, 0.147):
        speed = speed_along_the_path(machine, r, t, *speeds)
        assert speed.mean() == pytest.approx(float(machine.mean_speed(r, *speeds)), rel=1e-9)


def test_oscillating_carrier_against_sampled_velocity():
    # Carrier turn and oscillation in the ratio 64 : 1 over one oscillation: dense cover of both phases.
    frequency = 0.2
    machine = Rotary(
        centre_offset=0.19, platen_radius=0.4, oscillation_amplitude=0.02, oscillation_frequency=frequency
    )
    t = (np.arange(400_000) + 0.5) * (1 / frequency / 400_000)
    carrier = 2 * np.pi * frequency * 64
    speed = speed_along_the_path(machine, 0.1, t, 9.0, carrier)
    assert speed.mean() == pytest.approx(float(machine.mean_speed(0.1, 9.0, carrier)), rel=2e-6)
