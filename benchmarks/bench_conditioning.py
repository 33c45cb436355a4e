"""Cut of the conditioning disk over the pad: exact areas against a Monte-Carlo of single diamonds.

Both give the mean cut of 24 pad bins for an arm sweep; the Monte-Carlo draws 10,000 diamonds at 400
moments, in the same run.

    python benchmarks/bench_conditioning.py
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np

from planish.physics.motion import sweep
from planish.physics.motion.rotary import Rotary
from planish.physics.surface import conditioning, dwell

RPM = 2 * np.pi / 60
MACHINE = Rotary(centre_offset=0.19, platen_radius=0.385)
ARM = {"pivot_distance": 0.48, "arm_length": 0.43}
EDGES = np.linspace(0.02, 0.38, 25)
FULL = np.concatenate(([0.0], EDGES, [0.385]))
PLATEN, DISK, K, F, RADIUS = 90 * RPM, 95 * RPM, 6e-11, 31.1, 0.05


def exact() -> np.ndarray:
    positions, shares = sweep.dwell_shares("arm", 0.06, 0.335, **ARM, points=160)
    matrix = conditioning.cut_matrix(
        MACHINE, FULL, positions, disk_radius=RADIUS, downforce=F, coefficient=K, disk_speed=DISK,
        drive=PLATEN,
    )  # fmt: skip
    return conditioning.cut_profile(matrix, shares)[1:-1]


def diamonds(count: int = 10_000, moments: int = 400, batches: int = 20) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(7)
    low, high = sweep.swing_angle(np.array([0.06, 0.335]), **ARM)
    found = np.zeros((batches, EDGES.size - 1))
    each = count // batches
    for batch in found:
        r, start = RADIUS * np.sqrt(rng.random(each)), rng.random(each) * 2 * np.pi
        psi, turn = rng.random((moments, 1)) * 2 * np.pi, rng.random((moments, 1)) * 2 * np.pi
        c = sweep.swing_position(0.5 * (low + high) + 0.5 * (high - low) * np.sin(psi), **ARM)
        x, y = c + r * np.cos(start + turn), r * np.sin(start + turn)
        v = np.hypot(-PLATEN * y + DISK * y, PLATEN * x - DISK * (x - c))
        volume, _ = np.histogram(np.hypot(x, y), EDGES, weights=K * F / each * v / moments)
        batch[:] = volume / (np.pi * np.diff(EDGES**2))
    return found.mean(axis=0), found.std(axis=0, ddof=1) / np.sqrt(batches)


def clocked(run: Callable[[], Any], times: int) -> tuple[float, Any]:
    taken, result = [], None
    for _ in range(times):
        begin = time.perf_counter()
        result = run()
        taken.append(time.perf_counter() - begin)
    return float(np.median(taken)), result


def main() -> None:
    fast, profile = clocked(exact, 11)
    slow, (mean, sigma) = clocked(diamonds, 3)
    zones = np.linspace(0.06, 0.335, 12)
    at, _ = sweep.dwell_shares("arm", 0, 1, **ARM, zone_edges=zones, zone_dwell=np.ones(11), points=220)
    matrix = conditioning.cut_matrix(
        MACHINE,
        FULL,
        at,
        disk_radius=RADIUS,
        downforce=F,
        coefficient=K,
        disk_speed=DISK,
        drive=PLATEN,
    )
    wanted = np.ones(FULL.size - 1)
    track = ((FULL[1:] > 0.06) & (FULL[:-1] < 0.34)).astype(float)
    design, found = clocked(lambda: dwell.design_dwell(wanted, dwell.zone_cut(matrix, 11), weights=track), 5)
    rows = [
        ("cut profile by exact areas [ms]", f"{fast * 1e3:.1f}", "no bar"),
        ("the same by 10,000 diamonds [ms]", f"{slow * 1e3:.0f}", "peer"),
        ("times faster", f"{slow / fast:.0f}", "100"),
        ("largest difference [sigma of the sampling]", f"{np.max(np.abs(profile - mean) / sigma):.1f}", "3"),
        ("dwell design, 11 zones [ms]", f"{design * 1e3:.1f}", "no bar"),
        ("spread of pad cut, equal times [%]", f"{100 * found.flatness_before:.1f}", "no bar"),
        ("spread of pad cut, designed times [%]", f"{100 * found.flatness:.1f}", "no bar"),
    ]
    print(f"{'what':46} | {'measured':>9} | bar")
    for what, measured, bar in rows:
        print(f"{what:46} | {measured:>9} | {bar}")


if __name__ == "__main__":
    main()
