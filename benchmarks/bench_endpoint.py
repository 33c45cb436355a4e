"""Endpoints: 1,000 seeded films at each of three levels of noise, found or not; false alarms and delay of the watcher.

Noise: half the swing of the fringes over the standard deviation of a sample. Found: called within 10 nm of the target; a
false alarm is a call more than 10 nm above it.
"""

from __future__ import annotations

import sys
import time

import numpy as np

import planish

TARGET, NEAR = 500e-9, 10e-9


def film(rng, view, signal_to_noise, interval=0.2):
    """Times, true thickness and signals of an invented film."""
    count = int(260 / interval)
    times = interval * np.arange(count)
    start, rate = rng.uniform(940e-9, 1060e-9), rng.uniform(160e-9, 240e-9) / 60
    pull = np.maximum(1 + np.cumsum(rng.normal(size=count)) * 0.03 * np.sqrt(interval / 60), 0.3)
    left = start - rate * np.concatenate([[0.0], np.cumsum(pull[:-1] * interval)])
    kept = left > 380e-9
    clean = view.reflected(left[kept])
    swing = np.ptp(view.reflected(np.linspace(0, 1.06e-6, 3000)), axis=0).max() / 2
    noisy = clean + rng.normal(size=clean.shape) * swing / signal_to_noise
    return times[kept], left[kept], rng.uniform(-0.3, 0.3) + rng.uniform(0.5, 2.0) * noisy


def follow(view, signal_to_noise, count) -> tuple[float, float, float, float, float]:
    """Shares found and called in vain [%], median and 95th percentile of the error [nm], time of a sample [us]."""
    off, samples, spent = [], 0, 0.0
    for seed in range(count):
        times, left, signals = film(np.random.default_rng([1, signal_to_noise, seed]), view, signal_to_noise)
        following = planish.FilmFollower(
            view, target=TARGET, start=("930 nm", "1070 nm"), rate=("150 nm/min", "250 nm/min")
        )
        begun, at = time.process_time(), None
        for i, (now, sample) in enumerate(zip(times, signals, strict=True)):
            if following.feed(float(now), sample).stage == "reached":
                at = i
                break
        spent += time.process_time() - begun
        samples += i + 1
        off.append(np.nan if at is None else left[at] - TARGET)
    errors = np.array(off)
    found, early = np.abs(errors) < NEAR, errors >= NEAR
    size = 1e9 * np.abs(errors[~np.isnan(errors)])
    return (
        100 * found.mean(),
        100 * early.mean(),
        float(np.median(size)),
        float(np.quantile(size, 0.95)),
        1e6 * spent / samples,
    )


def watch(count) -> tuple[float, float, float]:
    """Share of still traces that were called [%], mean delay and promised delay for 4 standard deviations [s]."""
    rng, called, delays, promised = np.random.default_rng(2), 0, [], 0.0
    for _ in range(count):
        watcher = planish.ChangeWatcher(baseline="30 s", longest="300 s")
        for now in range(331):
            state = watcher.feed(float(now), rng.normal())
        called += state.found is not None
    for _ in range(count // 4):
        watcher = planish.ChangeWatcher(baseline="30 s", longest="300 s")
        for now in range(200):
            changed = now >= 100 and watcher.plan is not None
            state = watcher.feed(float(now), rng.normal() + (4 * watcher.plan.sd if changed else 0.0))
            if state.found is not None:
                break
        if state.found is not None and state.found >= 100:
            delays.append(state.found - 99.0)
        promised = watcher.plan.delay
    return 100 * called / count, float(np.mean(delays)), promised


def main() -> None:
    """Print what was measured beside its bar; a number after the name makes so many films instead of 1,000."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    view = planish.FilmView.of("silica", "632.8 nm")
    print(f"{count} films each, target 500 nm | found | false alarms | median error | 95 % below | a sample")
    for noise in (10, 20, 40):
        found, early, median, most, each = follow(view, noise, count)
        bar = " | bar: 99 %, 0.5 %, 1.5 nm" if noise == 20 else ""
        print(
            f"signal to noise {noise} | {found:.1f} % | {early:.1f} % | {median:.2f} nm | {most:.2f} nm | {each:.0f} us{bar}"
        )
    called, delay, promised = watch(2 * count)
    print(f"still traces called of {2 * count} | {called:.2f} % | promised 0.5 %")
    print(f"delay for a change of 4 standard deviations | {delay:.2f} s | promised {promised:.2f} s")
    n = float(planish.optical_index("silica", 632.8).real)
    print(f"fringe spacing off lambda/(2 n) by | {abs(view.fringe / (632.8e-9 / (2 * n)) - 1):.1e} | 1e-6")


if __name__ == "__main__":
    main()
