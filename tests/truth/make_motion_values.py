"""Compute the mean sliding speeds of test_motion_values.py to 30 digits.

The mean over a turn of the length of the sum of two velocity vectors, by
direct quadrature in mpmath; no elliptic integral is used, so the closed form
under test is not its own witness. Moments of other powers likewise.
Run: python tests/truth/make_motion_values.py
"""

from __future__ import annotations

import json
from pathlib import Path

import mpmath as mp

VALUES = Path(__file__).with_name("motion_values.json")

# (motion, its numbers): rotary offset [m], platen and carrier [rpm], radius [m]; linear belt [m/s],
# carrier [rpm], radius; orbital orbit radius [m], orbits/min, carrier [rpm], radius.
CASES = [
    ("rotary", "0.190", "90", "90", "0"),
    ("rotary", "0.190", "90", "90", "0.075"),
    ("rotary", "0.190", "90", "90", "0.147"),
    ("rotary", "0.190", "90", "60", "0.147"),
    ("rotary", "0.190", "90", "30", "0.147"),
    ("rotary", "0.190", "90", "0", "0.147"),
    ("rotary", "0.190", "60", "-60", "0.100"),
    ("rotary", "0.190", "60", "-54", "0.100"),
    ("linear", "2.0", "30", "0.147"),
    ("linear", "2.0", "60", "0.147"),
    ("orbital", "0.016", "600", "0", "0.147"),
    ("orbital", "0.016", "600", "20", "0.147"),
    ("orbital", "0.025", "300", "30", "0.147"),
    ("orbital", "0.010", "200", "60", "0.147"),
]
POWERS = ["0.5", "0.8", "1.7", "2", "3"]


def amplitudes(case: tuple[str, ...]) -> tuple[mp.mpf, mp.mpf]:
    motion, *numbers = case
    n = [mp.mpf(x) for x in numbers]
    rpm = 2 * mp.pi / 60
    if motion == "rotary":
        return abs(n[1] * rpm * n[0]), abs((n[1] - n[2]) * rpm * n[3])
    if motion == "linear":
        return abs(n[0]), abs(n[1] * rpm * n[2])
    return abs(n[0] * n[1] * rpm), abs(n[2] * rpm * n[3])


def moment(A: mp.mpf, B: mp.mpf, beta: mp.mpf) -> mp.mpf:
    # Half a turn is enough by symmetry; splitting near pi serves the cases with A close to B.
    cuts = [0, mp.pi / 2, 3 * mp.pi / 4, 15 * mp.pi / 16, mp.pi]
    return mp.quad(lambda u: (A * A + B * B + 2 * A * B * mp.cos(u)) ** (beta / 2), cuts) / mp.pi


def main() -> None:
    mp.mp.dps = 40
    rows = []
    for case in CASES:
        A, B = amplitudes(case)
        row = {"case": list(case), "mean": mp.nstr(moment(A, B, mp.mpf(1)), 20)}
        row["moments"] = {beta: mp.nstr(moment(A, B, mp.mpf(beta)), 20) for beta in POWERS}
        rows.append(row)
    VALUES.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
