"""Mean sliding speeds against direct quadrature at 30 digits (make_motion_values.py) and known figures.

Source: rigid-body kinematics; numbers from our own mpmath script. That equal
platen and carrier speeds make the speed uniform is common knowledge of the
trade (Patrick et al. 1991, J. Electrochem. Soc. 138, 1778, from memory).
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from planish.physics.motion import motion

ROWS = json.loads(Path(__file__).with_name("motion_values.json").read_text(encoding="utf-8"))
RPM = 2 * np.pi / 60


def split(case):
    kind, *numbers = case
    n = [float(x) for x in numbers]
    if kind == "rotary":
        keys = {"offset": n[0], "platen_speed": n[1] * RPM, "carrier_speed": n[2] * RPM}
    elif kind == "linear":
        keys = {"belt_speed": n[0], "carrier_speed": n[1] * RPM}
    else:
        keys = {"orbit_radius": n[0], "orbit_speed": n[1] * RPM, "carrier_speed": n[2] * RPM}
    return kind, n[-1], keys


@pytest.mark.parametrize("row", ROWS, ids=lambda row: " ".join(row["case"]))
def test_mean_speed_equals_quadrature_of_many_digits(row):
    kind, r, keys = split(row["case"])
    assert float(motion.mean_speed_at(kind, r, **keys)) == pytest.approx(float(row["mean"]), rel=1e-13)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: " ".join(row["case"]))
def test_moments_equal_quadrature_of_many_digits(row):
    kind, r, keys = split(row["case"])
    A, B = motion.speed_amplitudes(kind, r, **keys)
    for beta, value in row["moments"].items():
        assert float(motion.speed_moment(A, B, float(beta))) == pytest.approx(float(value), rel=1e-12)


@pytest.mark.parametrize(
    "value, speed",
    [
        (1.790708, lambda: motion.rotary_mean_speed(0.147, 0.190, 90 * RPM, 90 * RPM)),
        (1.820609, lambda: motion.rotary_mean_speed(0.147, 0.190, 90 * RPM, 60 * RPM)),
        (1.911935, lambda: motion.rotary_mean_speed(0.147, 0.190, 90 * RPM, 30 * RPM)),
        (2.070717, lambda: motion.rotary_mean_speed(0.147, 0.190, 90 * RPM, 0.0)),
        (1.562334, lambda: motion.rotary_mean_speed(0.100, 0.190, 60 * RPM, -60 * RPM)),
        (2.026749, lambda: motion.linear_mean_speed(0.147, 2.0, 30 * RPM)),
        (2.108140, lambda: motion.linear_mean_speed(0.147, 2.0, 60 * RPM)),
        (1.005310, lambda: motion.orbital_mean_speed(0.0, 0.016, 600 * RPM, 20 * RPM)),
        (1.029023, lambda: motion.orbital_mean_speed(0.147, 0.016, 600 * RPM, 20 * RPM)),
        (0.854899, lambda: motion.orbital_mean_speed(0.147, 0.025, 300 * RPM, 30 * RPM)),
    ],
)
def test_seven_digit_figures(value, speed):
    # The figures are rounded to 1e-6 m/s, hence half a unit of that beside the relative bar of 1e-6.
    assert abs(float(speed()) - value) <= 0.5e-6 + 1e-9


def test_equal_speeds_are_uniform():
    speeds = motion.rotary_mean_speed(np.linspace(0, 0.15, 301), 0.190, 90 * RPM, 90 * RPM)
    np.testing.assert_array_equal(speeds, speeds[0])


def speed_along_the_path(kind, r, t, **keys):
    """Speed of a wafer point past the pad [m/s]: how fast its path on the pad grows."""
    h = 1e-4 / max(abs(v) for v in keys.values())
    ahead, behind = (motion.wafer_path_on_pad(kind, r, 0.4, t + s, **keys) for s in (h, -h))
    # Third-order differences: of a smooth path the error is far below what is compared.
    far, back = (motion.wafer_path_on_pad(kind, r, 0.4, t + 2 * s, **keys) for s in (h, -h))
    x, y = ((8 * (a - b) - (c - d)) / (12 * h) for a, b, c, d in zip(ahead, behind, far, back, strict=True))
    return np.hypot(x, y)


@pytest.mark.parametrize("kind", ["rotary", "linear", "orbital"])
def test_mean_of_the_velocity_field_itself(kind):
    # Sampling how fast the path on the pad grows, over incommensurate turnings, must give the closed form.
    keys = {
        "rotary": {"offset": 0.19, "platen_speed": 9.0, "carrier_speed": 7.0},
        "linear": {"belt_speed": 2.0, "carrier_speed": 6.0},
        "orbital": {"orbit_radius": 0.02, "orbit_speed": 40.0, "carrier_speed": 3.0},
    }[kind]
    rate = {"rotary": 7.0, "linear": 6.0, "orbital": 37.0}[kind]
    t = np.arange(512) * (2 * np.pi / rate / 512)
    for r in (0.0, 0.05, 0.147):
        speed = speed_along_the_path(kind, r, t, **keys)
        assert speed.mean() == pytest.approx(float(motion.mean_speed_at(kind, r, **keys)), rel=1e-9)


def test_oscillating_carrier_against_sampled_velocity():
    # Carrier turn and oscillation in the ratio 64 : 1 over one oscillation: dense cover of both phases.
    frequency = 0.2
    keys = {"oscillation_amplitude": 0.02, "oscillation_frequency": frequency}
    t = (np.arange(400_000) + 0.5) * (1 / frequency / 400_000)
    carrier = 2 * np.pi * frequency * 64
    speed = speed_along_the_path(
        "rotary", 0.1, t, offset=0.19, platen_speed=9.0, carrier_speed=carrier, **keys
    )
    closed = motion.rotary_mean_speed(0.1, 0.19, 9.0, carrier, **keys)
    assert speed.mean() == pytest.approx(float(closed), rel=2e-6)
