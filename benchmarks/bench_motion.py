"""Sliding speed and time shares: how exact, how fast, against sampling the motion itself."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from statistics import median

import numpy as np

from planish.physics.motion.linear import Linear
from planish.physics.motion.orbital import Orbital
from planish.physics.motion.rotary import Rotary

ROWS = json.loads((Path(__file__).parents[1] / "tests/truth/motion_values.json").read_text(encoding="utf-8"))
RPM = 2 * np.pi / 60
MACHINE = Rotary(centre_offset=0.19, platen_radius=0.36)


def seconds(run: Callable[[], object], repeat: int = 9) -> float:
    """Median time of a call, after one to warm up."""
    run()
    times = []
    for _ in range(repeat):
        start = time.perf_counter()
        run()
        times.append(time.perf_counter() - start)
    return median(times)


def worst_error() -> float:
    """Largest relative error of the closed forms against 30-digit quadrature."""
    worst = 0.0
    for row in ROWS:
        kind, *numbers = row["case"]
        n = [float(x) for x in numbers]
        machine, drive = {
            "rotary": (Rotary(centre_offset=n[0], platen_radius=1.0), n[1] * RPM),
            "linear": (Linear(belt_width=1.0, belt_length=4.0), n[0]),
            "orbital": (Orbital(orbit_radius=n[0], pad_radius=1.0), n[1] * RPM),
        }[kind]
        mean = float(row["mean"])
        worst = max(worst, abs(float(machine.mean_speed(n[-1], drive, n[-2] * RPM)) / mean - 1))
    return worst


def sampled_speed(r: np.ndarray, steps: int) -> np.ndarray:
    """The peer: mean over a turn of the velocity, sampled: the carrier's axis moves past, the wafer turns."""
    turned = np.arange(steps) * (2 * np.pi / steps)
    x, y = r[:, None] * np.cos(turned), r[:, None] * np.sin(turned)
    vx, vy = -(9.4 - 9.0) * y, 9.4 * 0.19 + (9.4 - 9.0) * x
    return np.hypot(vx, vy).mean(axis=1)


def sampled_shares(r: np.ndarray, edges: np.ndarray, steps: int) -> np.ndarray:
    """The peer: histogram of the pad radii along each wafer point's path."""
    t = np.arange(steps) * (2 * np.pi / 9.0 / steps)
    rows = []
    for radius in r:
        x, y = MACHINE.path(radius, 0.0, t, 9.4, 9.0)
        rows.append(np.histogram(np.hypot(x, y), edges)[0] / steps)
    return np.array(rows)


def main() -> None:
    """Print the table."""
    r, edges = np.linspace(0, 0.15, 120), np.linspace(0, 0.36, 121)
    closed = seconds(lambda: MACHINE.mean_speed(r, 9.4, 9.0))
    sampled = seconds(lambda: sampled_speed(r, 360))
    shares = seconds(lambda: MACHINE.wafer_to_pad_weights(r, edges))
    swung = seconds(lambda: replace(MACHINE, oscillation_amplitude=0.01).wafer_to_pad_weights(r, edges))
    counted = seconds(lambda: sampled_shares(r, edges, 3600), repeat=3)
    exact = MACHINE.wafer_to_pad_weights(r, edges)
    off = np.abs(sampled_shares(r, edges, 3600) - exact).max()
    view = MACHINE.pad_to_wafer_weights(np.linspace(0, 0.15, 121), edges, 9.4, 9.0)
    area = np.pi * np.diff(edges**2)
    balance = abs((view.duty * area).sum() / (np.pi * 0.15**2) - 1)
    print(f"{'what':58} | {'measured':>22} | bar")
    for what, measured, bar in [
        ("mean speed, worst relative error of 14 cases", f"{worst_error():.1e}", "1e-6"),
        ("mean speed at 120 radii, closed form", f"{closed * 1e6:.0f} us", "-"),
        ("  times faster than sampling 360 angles", f"{sampled / closed:.0f}", "-"),
        ("time shares 120 x 120, rows sum to 1 within", f"{np.abs(exact.sum(axis=1) - 1).max():.0e}", "-"),
        ("  closed form", f"{shares * 1e3:.1f} ms", "-"),
        ("  times faster than a path of 3600 points", f"{counted / shares:.0f}", "-"),
        ("  largest error of that path's shares", f"{off:.0e}", "-"),
        ("  with an oscillating carrier, exact", f"{swung * 1e3:.0f} ms", "-"),
        ("pad duty adds up to the wafer's area within", f"{balance:.0e}", "-"),
    ]:
        print(f"{what:58} | {measured:>22} | {bar}")


if __name__ == "__main__":
    main()
