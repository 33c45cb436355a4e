"""Wear of a whole reticle field under an elastic pad on one graphics card.

26 x 33 mm at 10 um (2600 x 3300 cells), a patterned surface of our own invention, 200 wear steps with
elastic contact through an asperity layer. Prints device times, and how far the device's surface is from
the host's in float64 on a smaller field. The host's part needs Numba and no device, the device's part a
device and no Numba, so they may run on two machines (without arguments both run here):

    PYTHONPATH=src python benchmarks/bench_contact_gpu.py host out/host_wear.npz
    PYTHONPATH=src python benchmarks/bench_contact_gpu.py device out/host_wear.npz [result.json]

Compilation, transform plans and the first touch of the memory pool are taken by a short run beforehand.
"""

from __future__ import annotations

import json
import platform
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from bench_contact import worn

from planish.engine.backend import get_backend
from planish.physics.contact.problem import AsperityLayer, ContactProblem

CELL = 10e-6  # m
MODULUS = 100e6  # Pa, plane modulus of a hard pad
PRESSURE = 3 * 6894.757  # Pa
RATE = 250e-9 / 60 / PRESSURE  # m/(Pa s): 250 nm/min at 3 psi
SECONDS = 120.0
DEPTH = 0.8e-6  # m
FIELD, SMALL = (2600, 3300), (416, 528)


def patterned(shape: tuple[int, int], seed: int = 1) -> np.ndarray:
    """Blocks of 0.64 mm with densities 0.1 to 0.9, features of 40 um, 0.8 um tall."""
    rng = np.random.default_rng(seed)
    block, feature = 64, 4
    rows, columns = -(-shape[0] // block), -(-shape[1] // block)
    density = rng.uniform(0.1, 0.9, (rows, columns)).repeat(block, 0).repeat(block, 1)
    draw = rng.random((rows * block // feature, columns * block // feature))
    up = draw.repeat(feature, 0).repeat(feature, 1) < density
    return DEPTH * up[: shape[0], : shape[1]]


def contact_tol(length: float | None) -> float:
    """Through a layer: relative error of pressure. Bare: gap error over the surface's rms height."""
    return 1e-4 if length is None else 1e-5


def problem(shape: tuple[int, int], length: float | None, dtype: Any, backend: str) -> ContactProblem:
    asperity = None if length is None else AsperityLayer(1e6, length)
    return ContactProblem(shape, CELL, MODULUS, asperity=asperity, dtype=dtype, backend=backend)


def cases() -> dict[str, tuple[float | None, Any, int]]:
    """Layer length [m], rate, steps of each comparison with the host."""
    rate_map = RATE * np.where(patterned(SMALL, 7) > 0, 1.0, 0.5)
    return {
        "layer 1 um": (1e-6, RATE, 50),
        "layer 0.2 um": (2e-7, RATE, 50),
        "layer 1 um, rate map": (1e-6, rate_map, 50),
        "bare": (None, RATE, 10),
    }


def host(path: str) -> None:
    """Wear the small field on the host in float64 with tight contact, for the device to be held against."""
    kept = {}
    for name, (length, rate, steps) in cases().items():
        ready = problem(SMALL, length, np.float64, "numpy")
        surface, pressure, iterations = worn(patterned(SMALL), rate, PRESSURE, SECONDS, ready, steps, 1e-7)
        kept[name + " surface"], kept[name + " pressure"] = surface, pressure
        print(name, steps, iterations, flush=True)
    Path(path).parent.mkdir(parents=True, exist_ok=True)
    np.savez(path, **kept)


def compare(name: str, reference: Any) -> dict[str, float]:
    """Largest difference of device and host surfaces over the pattern's depth, and of pressure (L2)."""
    length, rate, steps = cases()[name]
    surface, pressure = reference[name + " surface"], reference[name + " pressure"]
    found: dict[str, float] = {}
    for dtype in (np.float32, np.float64):
        ready = problem(SMALL, length, dtype, "cupy")
        tol = contact_tol(length)
        z, q, _ = worn(patterned(SMALL), rate, PRESSURE, SECONDS, ready, steps, tol)
        p, s = (ready.backend.to_host(a).astype(float) for a in (q, z))
        kind = np.dtype(dtype).name
        found[f"{kind}_surface_max_over_depth"] = float(np.abs(s - surface).max() / DEPTH)
        found[f"{kind}_pressure_l2"] = float(np.linalg.norm(p - pressure) / np.linalg.norm(pressure))
    return found


def timed(shape: tuple[int, int], length: float | None, dtype: Any, rate: Any, steps: int) -> dict[str, Any]:
    backend = get_backend("cupy")
    ready = problem(shape, length, dtype, "cupy")
    z = backend.asarray(patterned(shape), dtype)
    if not np.isscalar(rate):
        rate = backend.asarray(rate, dtype)
    # warm-up covers kernels, plans and the pool, not the numbers themselves
    worn(z, rate, PRESSURE, SECONDS / 100, ready, 2)
    backend.sync()
    seconds = []
    for _ in range(3):
        begin = time.perf_counter()
        found, _, iterations = worn(z, rate, PRESSURE, SECONDS, ready, steps, contact_tol(length))
        backend.sync()
        seconds.append(time.perf_counter() - begin)
    end = backend.to_host(found).astype(float)
    removed = float(patterned(shape).mean() - end.mean())
    return {
        "cells": list(shape), "steps": steps, "layer_um": None if length is None else length * 1e6,
        "dtype": np.dtype(dtype).name, "rate": "one number" if np.isscalar(rate) else "map",
        "contact_tol": contact_tol(length),
        "seconds_median_of_3": sorted(seconds)[1], "seconds": seconds,
        "contact_iterations": iterations,
        "mean_removal_error": removed / (RATE * PRESSURE * SECONDS) - 1 if np.isscalar(rate) else None,
        "range_end_nm": float(np.ptp(end)) * 1e9,
    }  # fmt: skip


def device(reference_path: str, path: str | None = None) -> None:
    import cupy

    name = cupy.cuda.runtime.getDeviceProperties(0)["name"].decode()
    rate_map = RATE * np.where(patterned(FIELD, 7) > 0, 1.0, 0.5)
    report: dict[str, Any] = {
        "device": name, "cupy": cupy.__version__, "numpy": np.__version__, "python": platform.python_version(),
        "commands": [
            "PYTHONPATH=src python benchmarks/bench_contact_gpu.py host out/host_wear.npz",
            "PYTHONPATH=src python benchmarks/bench_contact_gpu.py device out/host_wear.npz "
            "benchmarks/results/gpu_contact.json",
        ],
        "agreement_with_host_float64": {}, "runs": [],
    }  # fmt: skip
    with np.load(reference_path) as reference:
        for case in cases():
            found = compare(case, reference)
            report["agreement_with_host_float64"][case] = {"cells": list(SMALL), **found}
            print(case, found, flush=True)
    for length, dtype, rate, steps in (
        (1e-6, np.float32, RATE, 200),
        (1e-6, np.float64, RATE, 200),
        (2e-7, np.float32, RATE, 200),
        (1e-6, np.float32, rate_map, 200),
        (None, np.float32, RATE, 200),
    ):
        run = timed(FIELD, length, dtype, rate, steps)
        report["runs"].append(run)
        print(json.dumps(run), flush=True)
        if path:
            with open(path, "w", encoding="utf-8") as file:
                json.dump(report, file, indent=1)
    first = report["runs"][0]
    print(f"\n{'what':58} | {'measured':>10} | bar")
    print(
        f"{'200 wear steps, 2600 x 3300, layer, float32, ' + name:58} | "
        f"{first['seconds_median_of_3']:8.2f} s | <= 3 s"
    )
    bare = report["runs"][-1]
    print(f"{'the same in bare contact':58} | {bare['seconds_median_of_3']:8.2f} s | <= 5 s")
    worst = report["agreement_with_host_float64"]["layer 1 um"]["float32_surface_max_over_depth"]
    print(f"{'surface against host float64, max over depth':58} | {worst:10.1e} | <= 1e-4")


def main() -> None:
    if len(sys.argv) == 1:
        with tempfile.TemporaryDirectory() as folder:
            host(f"{folder}/host.npz")
            device(f"{folder}/host.npz")
        return
    if len(sys.argv) < 3 or sys.argv[1] not in ("host", "device"):
        sys.exit(str(__doc__))
    (host if sys.argv[1] == "host" else device)(*sys.argv[2:])


if __name__ == "__main__":
    main()
