"""The pressure under one wafer: time, grid, balance, and a general-purpose solver on the same equations."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np
from scipy.optimize import root

from planish.physics.pressure.layers import ElasticLayer, rigid_base
from planish.physics.pressure.plate import plate_operator, zone_load
from planish.physics.pressure.radial_grid import pressure_grid
from planish.physics.pressure.ring_influence import build_pad_operator
from planish.physics.pressure.solve import solve_pressure

RADIUS = 0.150
MEAN = 3 * 6894.757
STACK = (ElasticLayer(100e6, 0.3, 1.3e-3), ElasticLayer(5e6, 0.3, 1.3e-3))
SUMMITS = {"asperity_length": 5e-6, "asperity_pressure": 2e6}
RATIOS = (0.5, 1.0, 1.5, 2.0, 3.0)


def median_ms(work: Callable[[], object], repeats: int = 41) -> float:
    """Return the median time [ms] of ``work`` after one call to warm up."""
    work()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return 1e3 * statistics.median(times)


def wafer(cells: int):
    grid = pressure_grid(RADIUS, RADIUS + 0.75e-3, RADIUS + 25.75e-3, cells=cells)
    pad = build_pad_operator(grid, STACK, rigid_base())
    plate = plate_operator(grid, 130e9, 0.28, 775e-6)
    return grid, pad, plate, zone_load(grid.r, [0.05, 0.10, 0.13, RADIUS], [MEAN] * 4, 2e-3)


def general_purpose(grid, pad, plate, load, ring: float) -> np.ndarray:
    """The same equations in ln p handed to scipy.optimize.root."""
    n, m = grid.r.size, grid.ring_r.size
    length, scale = SUMMITS["asperity_length"], SUMMITS["asperity_pressure"]
    bend = plate.flexibility * plate.areas

    def residual(x: np.ndarray) -> np.ndarray:
        p, pr = MEAN * np.exp(x[:n]), ring * np.exp(x[n:-2])
        down = pad.compliance @ np.concatenate([p, pr])
        down[:n] += bend @ (p - load)
        down += length * np.log(np.concatenate([p, pr]) / scale)
        heights = length * np.concatenate([np.full(n, x[-2]), np.full(m, x[-1])])
        forces = [
            grid.areas @ p / (grid.areas @ load) - 1,
            grid.ring_areas @ pr / (ring * grid.ring_areas.sum()) - 1,
        ]
        return np.concatenate([(down - heights) / length, forces])

    start = np.concatenate([np.zeros(n + m), [-4.0, -4.0]])
    return MEAN * np.exp(root(residual, start, tol=1e-10).x[:n])


def rows() -> list[tuple[str, str, str]]:
    """Return what was measured beside its bar."""
    out = []
    grid, pad, plate, load = wafer(120)
    fine = wafer(240)
    cold = [median_ms(lambda x=x: solve_pressure(pad, plate, load, x * MEAN, **SUMMITS)) for x in RATIOS]
    out.append(
        (
            "one solve from nothing, 120 cells, five ring pressures",
            f"{min(cold):.2f}-{max(cold):.2f} ms",
            "1 ms",
        )
    )

    def three_steps() -> None:
        found = None
        for part, ring in ((1.0, 2.0), (0.7, 1.4), (0.4, 1.0)):
            stepped = zone_load(grid.r, [0.05, 0.10, 0.13, RADIUS], [part * MEAN] * 4, 2e-3)
            found = solve_pressure(pad, plate, stepped, ring * MEAN, start=found, **SUMMITS)

    out.append(("three recipe steps, loads and solves", f"{median_ms(three_steps):.2f} ms", "part of 5 ms"))

    state = {"last": solve_pressure(pad, plate, load, MEAN, **SUMMITS), "k": 0}
    rng = np.random.default_rng(1)
    wander = 1 + 0.01 * rng.standard_normal((64, grid.r.size))

    def next_wafer() -> None:
        state["k"] += 1
        length = 5e-6 * wander[state["k"] % 64]
        state["last"] = solve_pressure(
            pad, plate, load, MEAN, asperity_length=length, asperity_pressure=2e6, start=state["last"]
        )

    out.append(("next wafer of a lot, summits moved 1 %", f"{median_ms(next_wafer, 201):.2f} ms", "0.4 ms"))
    out.append(("plate", f"{median_ms(lambda: plate_operator(grid, 130e9, 0.28, 775e-6)):.2f} ms", "-"))
    build = median_ms(lambda: build_pad_operator(grid, STACK, rigid_base()), 5)
    out.append(("pad operator, built once a stack", f"{build:.0f} ms", "100-600 ms"))

    slow = median_ms(lambda: general_purpose(grid, pad, plate, load, MEAN), 3)
    theirs = general_purpose(grid, pad, plate, load, MEAN)
    ours = solve_pressure(pad, plate, load, MEAN, **SUMMITS).pressure
    here = median_ms(lambda: solve_pressure(pad, plate, load, MEAN, **SUMMITS))
    out.append(
        ("against scipy.optimize.root, same equations", f"{slow / here:.0f} times as fast", "more than 1")
    )
    out.append(("  largest difference in p", f"{np.abs(theirs / ours - 1).max():.1e}", "1e-6"))

    worst_change, worst_balance = 0.0, 0.0
    for x in RATIOS:
        one = solve_pressure(pad, plate, load, x * MEAN, **SUMMITS)
        two = solve_pressure(fine[1], fine[2], fine[3], x * MEAN, **SUMMITS)
        there = np.interp(np.arcsin(grid.r / RADIUS), np.arcsin(fine[0].r / RADIUS), two.pressure)
        beyond = grid.r < RADIUS - 0.5e-3
        worst_change = max(worst_change, float(np.abs(there - one.pressure)[beyond].max()) / MEAN)
        worst_balance = max(worst_balance, one.balance_error, two.balance_error)
        near = np.flatnonzero((grid.r > RADIUS - 15e-3) & (grid.r < grid.r[-1]))
        text = f"edge {one.pressure[-1] / MEAN:.3f}"
        for word, at in (
            ("trough", near[one.pressure[near].argmin()]),
            ("crest", near[one.pressure[near].argmax()]),
        ):
            text += f", {word} {one.pressure[at] / MEAN:.3f} at {1e3 * (RADIUS - grid.r[at]):.1f} mm"
        out.append((f"ring at {x:g} x wafer pressure", text, "trough about 4, crest 3-4 mm"))
    out.append(("doubling the cells changes p/mean by, 0.5 mm off the edge", f"{worst_change:.1e}", "5e-3"))
    out.append(("force balance", f"{worst_balance:.1e}", "1e-9"))

    half = build_pad_operator(pressure_grid(RADIUS), [ElasticLayer(100e6, 0.3, float("inf"))], rigid_base())
    count = half.grid.r.size
    shape = np.linalg.solve(half.compliance[:count, :count], np.ones(count))
    depth = MEAN * half.grid.areas.sum() / float(half.grid.areas @ shape)
    pressure = shape * depth
    exact = 0.5 * MEAN / np.sqrt(1 - (half.grid.r / RADIUS) ** 2)
    inside = half.grid.r < 0.99 * RADIUS
    out.append(
        ("rigid punch, pressure inside 0.99 a", f"{np.abs(pressure / exact - 1)[inside].max():.1e}", "1e-4")
    )
    deep = MEAN * np.pi * RADIUS * (1 - 0.3**2) / (2 * 100e6)
    out.append(("rigid punch, depth", f"{abs(depth / deep - 1):.1e}", "1e-4"))
    return out


def main() -> None:
    table = rows()
    wide = max(len(row[0]) for row in table)
    middle = max(len(row[1]) for row in table)
    print(f"{'pressure under the wafer':{wide}} | {'measured':{middle}} | bar")
    for what, measured, bar in table:
        print(f"{what:{wide}} | {measured:{middle}} | {bar}")


if __name__ == "__main__":
    main()
