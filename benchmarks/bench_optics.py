"""Thin films: time and exactness against a reference run point by point, on the same machine at the same time.

The reference is the tmm package where it is installed, otherwise Abeles' matrices in plain NumPy, a point a call.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np

import planish

try:
    from tmm import coh_tmm
except ImportError:
    coh_tmm = None

MEDIA = (1.33, 1.46, 2.0 + 0.05j, 3.88 + 0.02j)
SAMPLE = 2000


def median_ms(work: Callable[[], object], repeats: int = 21) -> float:
    """Return the median processor time [ms] after one call to warm up: other work on the machine does not count."""
    work()
    times = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return 1e3 * statistics.median(times)


def abeles(n, d, light, angle) -> tuple[float, float]:
    """One point, s-polarized."""
    n = np.asarray(n, dtype=complex)
    q = np.sqrt(n * n - (n[0] * np.sin(angle)) ** 2)
    whole = np.eye(2, dtype=complex)
    for j in range(1, len(n) - 1):
        b = 2 * np.pi * d[j - 1] * q[j] / light
        whole = whole @ np.array([[np.cos(b), -1j * np.sin(b) / q[j]], [-1j * q[j] * np.sin(b), np.cos(b)]])
    b, c = whole @ np.array([1.0, q[-1]])
    top = q[0] * b + c
    return abs((q[0] * b - c) / top) ** 2, 4 * q[0].real * q[-1].real / abs(top) ** 2


def reference(n, d, light, angle) -> tuple[float, float]:
    """The tmm package or Abeles' matrices."""
    if coh_tmm is None:
        return abeles(n, d, light, angle)
    found = coh_tmm("s", list(n), [np.inf, *d, np.inf], angle, light)
    return found["R"], found["T"]


def main() -> None:
    """Print what was measured beside its bar."""
    light, first = np.linspace(400.0, 800.0, 500)[:, None], np.linspace(0.0, 2000.0, 1000)
    layers, slant = [first, 0.3 * first[::-1]], 20.0
    points = light.size * first.size
    grid = median_ms(lambda: planish.reflectance(MEDIA, layers, light, slant), 9)
    own = np.linspace(400.0, 800.0, 100_000)
    spectrum = median_ms(lambda: planish.reflectance(MEDIA, [500.0, 150.0], own, slant))
    dark = median_ms(lambda: planish.reflectance(MEDIA, [500.0, 150.0], own, slant, "p"))

    # The reference takes one thickness a call: a sample of the points is timed and scaled by their number.
    rng = np.random.default_rng(1)
    at, of = rng.integers(light.size, size=SAMPLE), rng.integers(first.size, size=SAMPLE)
    ours = planish.reflectance(MEDIA, layers, light, slant)
    start = time.process_time()
    theirs = np.array(
        [
            reference(MEDIA, (first[j], 0.3 * first[-1 - j]), light[i, 0], np.radians(slant))
            for i, j in zip(at, of, strict=True)
        ]
    )
    each = 1e3 * (time.process_time() - start) / SAMPLE
    off = max(
        np.abs(ours.reflected[at, of] - theirs[:, 0]).max(),
        np.abs(ours.transmitted[at, of] - theirs[:, 1]).max(),
    )
    name = "Abeles' matrices in NumPy" if coh_tmm is None else "the tmm package"
    print("thin films, 2 layers, oblique, absorbing; processor time | measured | bar")
    print(f"500 wavelengths x 1,000 thicknesses | {grid:.1f} ms | -")
    print(f"each 100,000 of them | {grid * 1e5 / points:.1f} ms | 10 ms")
    print(f"100,000 points, each a wavelength of its own, s | {spectrum:.1f} ms | 10 ms")
    print(f"100,000 points, each a wavelength of its own, p | {dark:.1f} ms | 10 ms")
    print(f"{name}, a point ({SAMPLE} of them timed) | {1e3 * each:.0f} us | -")
    print(
        f"as fast as {name}, its {points:,} points scaled from those | {each * points / grid:.0f} times | 500 times"
    )
    print(f"largest difference from it at those | {off:.1e} | 1e-12")


if __name__ == "__main__":
    main()
