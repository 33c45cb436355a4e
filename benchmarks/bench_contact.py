"""Elastic contact on the host: against a general-purpose contact library, and wear of a patterned die.

The peer is tamaas (its Polonsky-Keer solver), timed in the same run on the same 1024 x 1024 self-affine
surface, tolerance 1e-6, two threads, medians of three taken in turns. Loads are mean pressure over
E* times the surface's rms slope.

    python benchmarks/bench_contact.py [short]
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from planish.physics.contact.problem import AsperityLayer, ContactProblem

SIDE, THREADS, TOLERANCE = 1024, 2, 1e-6
BARS = {0.002: (3.0, None), 0.01: (6.0, 14.0), 0.05: (6.0, 14.0)}


def rough(seed: int = 1) -> np.ndarray:
    """Self-affine, Hurst 0.8, waves from 1/8 of the side to 8 cells, rms slope 1 on a unit side."""
    rng = np.random.default_rng(seed)
    q = np.hypot(np.fft.fftfreq(SIDE)[:, None], np.fft.rfftfreq(SIDE)[None, :]) * SIDE
    amplitude = np.where((q >= 8) & (q <= 128), np.maximum(q, 1.0) ** -1.8, 0.0)
    spectrum = amplitude * np.exp(2j * np.pi * rng.random(q.shape))
    z = np.fft.irfft2(spectrum, s=(SIDE, SIDE))
    slopes = [
        np.fft.irfft2(np.fft.rfft2(z) * 2j * np.pi * k, s=z.shape)
        for k in (np.fft.fftfreq(SIDE)[:, None] * SIDE, np.fft.rfftfreq(SIDE)[None, :] * SIDE)
    ]
    return np.asarray(z / np.sqrt(sum((s**2).mean() for s in slopes)))


def clocked(run: Callable[[], Any]) -> tuple[float, Any]:
    begin = time.perf_counter()
    result = run()
    return time.perf_counter() - begin, result


def peer(z: np.ndarray, load: float) -> np.ndarray:
    import tamaas

    model = tamaas.ModelFactory.createModel(tamaas.model_type.basic_2d, [1.0, 1.0], [SIDE, SIDE])
    model.E, model.nu = 1.0, 0.0
    tamaas.PolonskyKeerRey(model, z, TOLERANCE).solve(load)
    return np.array(model.traction)


def line(what: str, measured: str, bar: str) -> None:
    print(f"{what:66} | {measured:>20} | {bar}", flush=True)


def against_peer(repeats: int) -> None:
    import tamaas

    tamaas.set_log_level(tamaas.LogLevel.error)
    tamaas.initialize(THREADS)
    z = rough()
    problems = {d: ContactProblem(z.shape, 1 / SIDE, 1.0, dtype=d, workers=THREADS) for d in ("f8", "f4")}
    for ready in problems.values():
        ready.solve(z, 0.3, tol=1e-3)  # compiles
    for load, bars in BARS.items():
        times: dict[str, list[float]] = {"peer": [], "f8": [], "f4": []}
        for _ in range(repeats):
            seconds, reference = clocked(lambda load=load: peer(z, load))
            times["peer"].append(seconds)
            found = {}
            for kind, ready in problems.items():
                seconds, found[kind] = clocked(lambda r=ready, load=load: r.solve(z, load, tol=TOLERANCE))
                times[kind].append(seconds)
        middle = {k: float(np.median(v)) for k, v in times.items()}
        line(f"load {load:.1%}: peer, area {(reference > 0).mean():.5f}", f"{middle['peer']:.2f} s", "")
        for (kind, result), bar in zip(found.items(), bars, strict=True):
            name = {"f8": "float64", "f4": "float32"}[kind]
            line(
                f"load {load:.1%}: {name}, {result.iterations} iterations, {middle[kind]:.3f} s, times faster",
                f"{middle['peer'] / middle[kind]:.1f}", "" if bar is None else f">= {bar:g}",
            )  # fmt: skip
            line(
                f"load {load:.1%}: {name}, contact area less the peer's",
                f"{result.contact_fraction - (reference > 0).mean():.1e}",
                "1e-5",
            )
            apart = np.linalg.norm(result.pressure - reference) / np.linalg.norm(reference)
            line(f"load {load:.1%}: {name}, pressure against the peer's (L2)", f"{apart:.1e}", "1e-5")
        cold = found["f8"]
        slightly = z - 1e-3 * z.std() * cold.pressure / cold.pressure.max()
        again = problems["f8"].solve(slightly, load, start=cold.pressure, tol=TOLERANCE)
        fresh = problems["f8"].solve(slightly, load, tol=TOLERANCE)
        line(
            f"load {load:.1%}: restart after slight wear, share of the cold iterations",
            f"{again.iterations}/{fresh.iterations} = {again.iterations / fresh.iterations:.2f}",
            "<= 0.5",
        )


def worn(
    surface: Any,
    rate: Any,
    pressure: float,
    seconds: float,
    ready: ContactProblem,
    steps: int,
    tol: float = 1e-5,
) -> tuple[Any, Any, int]:
    """Wear a surface by implicit midpoints, as the contact route of a die does.

    Returns the surface, the last pressures and the iterations; ``rate`` [m/(Pa s)] is a number or a map.
    """
    z = ready.backend.asarray(surface, ready.dtype)
    k = ready.backend.asarray(rate, ready.dtype) * ready.dtype.type(seconds / steps)
    start = last = None
    iterations = 0
    for _ in range(steps):
        found = ready.press(z, pressure, start=start, added=k * ready.dtype.type(0.5), tol=tol)
        iterations += found.iterations
        z = z - k * found.pressure
        start = found.pressure
        if ready.asperity is None and last is not None:  # goes on as it went: a third fewer iterations
            start = ready.backend.xp.maximum(ready.dtype.type(2.0) * found.pressure - last, 0)
        last = found.pressure
    return z, last, iterations


def wear_of_a_die() -> None:
    rng = np.random.default_rng(1)
    density = rng.uniform(0.1, 0.9, (16, 16)).repeat(64, 0).repeat(64, 1)
    die = 0.8e-6 * (rng.random((256, 256)).repeat(4, 0).repeat(4, 1) < density)
    pressure = 3 * 6894.757
    rate = 250e-9 / 60 / pressure
    for length in (1e-6, 2e-7):
        for dtype in ("f8", "f4"):
            ready = ContactProblem(
                die.shape, 10e-6, 100e6, asperity=AsperityLayer(1e6, length), dtype=dtype, workers=THREADS
            )
            worn(die, rate, pressure, 1.0, ready, 1)
            seconds, found = clocked(lambda r=ready: worn(die, rate, pressure, 120.0, r, 200))
            name = {"f8": "float64", "f4": "float32"}[dtype]
            line(
                f"200 wear steps, 1024 x 1024 patterned, layer {length * 1e6:g} um, {name}, {found[2]} its",
                f"{seconds:.1f} s",
                "<= 60 s",
            )


def main() -> None:
    line("what", "measured", "bar")
    try:
        against_peer(1 if "short" in sys.argv[1:] else 3)
    except ImportError:
        print("peer tamaas is not installed: ratios not run (pip install tamaas)")
    wear_of_a_die()


if __name__ == "__main__":
    main()
