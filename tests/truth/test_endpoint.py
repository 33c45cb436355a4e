"""Endpoint detectors against what is known without them.

Sources: run lengths of cumulative sums as published tables have them (335 and 8.38 for h = 4, 930 and 10.4 for h = 5, at
k = 1/2; the two-sided 168 and 465 are half of them), and a simulation here; over-polish against a simulation; films whose
true thickness the synthesizer knows; fringes by lambda/(2 n cos theta).
"""

from __future__ import annotations

import numpy as np
import pytest

import planish
from planish.hold.endpoint.chain import false_share, mean_run, threshold_for
from planish.hold.endpoint.view import SeenTable

VIEW = planish.FilmView.of("silica", "632.8 nm", angle="8 deg")
TARGET = 500e-9
NEAR = 10e-9  # of the target, within which a call has found it


def film(rng, view, signal_to_noise, interval=0.2):
    """An invented trace with its truth, by the stack alone: start, rate, wander, gain and offset are drawn."""
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


def called_at(view, times, signals, **options):
    following = planish.FilmFollower(
        view, target=TARGET, start=("930 nm", "1070 nm"), rate=("150 nm/min", "250 nm/min"), **options
    )
    for at, (time, sample) in enumerate(zip(times, signals, strict=True)):
        if following.feed(time, sample).stage == "reached":
            return at, following
    return None, following


@pytest.mark.parametrize(("signal_to_noise", "median"), [(10, 1.5), (20, 1.0), (40, 0.7)])
def test_films_are_found_within_a_nanometre_or_so(signal_to_noise, median):
    off, errors = [], []
    for seed in range(40):
        times, left, signals = film(np.random.default_rng([7, seed]), VIEW, signal_to_noise)
        at, following = called_at(VIEW, times, signals)
        assert at is not None
        off.append(left[at] - TARGET)
        errors.append((left[at] - following.state.thickness) / following.state.thickness_sd)
    assert np.all(np.abs(off) < NEAR)
    assert 1e9 * np.median(np.abs(off)) < median
    assert 0.2 < np.sqrt(np.mean(np.square(errors))) < 1.6  # what it says of its error is so


def test_white_light_needs_no_narrow_start():
    """A start known to 250 nm, wider than a fringe of any of its colours."""
    view = planish.FilmView.of("silica", "450..750 nm/16")
    for seed in range(6):
        times, left, signals = film(np.random.default_rng([8, seed]), view, 20)
        following = planish.FilmFollower(
            view, target=TARGET, start=("900 nm", "1150 nm"), rate=("150 nm/min", "250 nm/min")
        )
        at = next(
            i
            for i, (t, y) in enumerate(zip(times, signals, strict=True))
            if following.feed(t, y).stage == "reached"
        )
        assert abs(left[at] - TARGET) < 2e-9


def test_without_noise_the_film_is_followed_to_a_tenth_of_a_nanometre():
    rng = np.random.default_rng(3)
    times = 0.1 * np.arange(1600)
    left = 1000e-9 - 200e-9 / 60 * times
    signals = VIEW.reflected(left) + 1e-9 * rng.normal(size=(1600, 1))
    at, following = called_at(VIEW, times, signals)
    assert abs(left[at] - TARGET) < 200e-9 / 60 * 0.1
    assert abs(following.reached - 150.0) < 0.02
    assert abs(following.state.rate - 200e-9 / 60) < 1e-4 * 200e-9 / 60


def test_a_lead_calls_earlier_by_what_is_removed_meanwhile():
    times, _, signals = film(np.random.default_rng(5), VIEW, 40)
    plain, _ = called_at(VIEW, times, signals)
    early, _ = called_at(VIEW, times, signals, lead="3 s")
    assert times[plain] - times[early] == pytest.approx(3.0, abs=0.7)


def test_a_film_that_jumps_is_lost_and_found_again():
    """A third of a fringe goes by between two samples."""
    times, left, _ = film(np.random.default_rng(6), VIEW, 40)
    moved = left.copy()
    moved[times > 60] -= 70e-9
    rng = np.random.default_rng(1)
    jumped = VIEW.reflected(moved) + 0.001 * rng.normal(size=(left.size, 1))
    kept = moved > 400e-9
    at, following = called_at(VIEW, times[kept], jumped[kept])
    assert following.lost > 0
    assert at is not None
    assert abs(moved[at] - TARGET) < 5e-9


def test_an_index_off_by_a_percent_is_a_thickness_off_by_a_percent(tmp_path):
    """What no error that is told knows of: the light counts n d, not d."""
    n = 1.01 * float(planish.optical_index("silica", 632.8).real)
    (tmp_path / "film.csv").write_text(f"wavelength_nm,n\n600,{n}\n700,{n}\n", encoding="utf-8")
    real = planish.FilmView.of(str(tmp_path / "film.csv"), "632.8 nm", angle="8 deg")
    times, left, signals = film(np.random.default_rng(12), real, 40)
    at, _ = called_at(VIEW, times, signals)
    assert left[at] == pytest.approx(TARGET / 1.01, abs=1.5e-9)


def test_a_coarse_reading_is_followed_too():
    times = 0.2 * np.arange(800)
    left = 1000e-9 - 200e-9 / 60 * times
    at, _ = called_at(VIEW, times, np.round(64 * VIEW.reflected(left)) / 64)
    assert abs(left[at] - TARGET) < 5e-9


@pytest.mark.parametrize(("rate", "sign"), [(400e-9, 1), (90e-9, 1), (200e-9, -1)])
def test_a_rate_or_sign_that_was_not_told_is_not_taken_for_another(rate, sign):
    """Twice or half the rate, light that comes back the wrong way round: never called, whatever the noise."""
    times = 0.2 * np.arange(int(440e-9 / rate * 300))
    for seed in range(3):
        noise = 0.0025 * np.random.default_rng(seed).normal(size=(times.size, 1))
        at, following = called_at(VIEW, times, sign * VIEW.reflected(1000e-9 - rate / 60 * times) + noise)
        assert at is None
        assert following.state.stage == "looking"


def test_the_table_between_its_nodes_is_the_stack():
    view = planish.FilmView.of("silica", "450..750 nm/5", share="70 %", below=[("silicon nitride", "120 nm")])
    table = SeenTable.of(view, 1200e-9)
    thick = np.random.default_rng(0).uniform(0, 1200e-9, 500)
    seen, slope = table.look(thick)
    assert np.abs(seen - view.reflected(thick)).max() < 1e-6
    across = (view.reflected(thick + 1e-12) - view.reflected(thick - 1e-12)) / 2e-12
    assert np.abs(slope - across).max() < 1e-3 * np.abs(across).max()


def test_fringes_of_the_view():
    for angle in (0.0, 0.2, 0.6):
        view = planish.FilmView.of("silica", 632.8e-9, angle=angle)
        n = float(planish.optical_index("silica", 632.8).real)
        n0 = float(planish.optical_index("water", 632.8).real)
        wanted = 632.8e-9 / (2 * n * np.cos(np.arcsin(n0 * np.sin(angle) / n)))
        assert view.fringe == pytest.approx(wanted, rel=1e-12)
        d = np.linspace(100e-9, 900e-9, 50)
        assert np.abs(view.reflected(d) - view.reflected(d + wanted)).max() < 1e-12


@pytest.mark.parametrize(
    ("threshold", "shift", "run"), [(4, 0, 335.4), (4, 1, 8.38), (5, 0, 930.9), (5, 1, 10.38)]
)
def test_run_lengths_of_published_tables(threshold, shift, run):
    assert mean_run(threshold, 0.5, shift, 200) == pytest.approx(run, rel=2e-3)


def test_false_calls_over_a_learned_baseline_as_simulated():
    rng, count, learned, values, k = np.random.default_rng(0), 20000, 20, 200, 1.0
    threshold = threshold_for(k, values, learned, 0.02)
    base = rng.normal(size=(count, learned))
    mean, sd = base.mean(axis=1), base.std(axis=1, ddof=1)
    sums, called = np.zeros(count), np.zeros(count, dtype=bool)
    for _ in range(values):
        sums = np.maximum(0.0, sums + (rng.normal(size=count) - mean) / sd - k)
        called |= sums > threshold
    assert called.mean() == pytest.approx(0.02, abs=0.004)  # 4 standard errors of the simulation
    assert false_share(threshold, k, values, learned) <= 0.02


def test_a_watcher_keeps_what_it_promises():
    """Of 500 traces without a change at most the promised share is called; with one, all are, as late as promised."""
    rng, still, delays = np.random.default_rng(11), 0, []
    for _ in range(500):
        watcher = planish.ChangeWatcher(baseline="30 s", block="1 s", false_alarms="2 %", longest="200 s")
        for time in range(231):
            state = watcher.feed(float(time), 5.0 + 0.1 * rng.normal())
        still += state.found is not None
    assert still <= 0.02 * 500 + 3 * np.sqrt(0.02 * 500)
    for _ in range(150):
        watcher = planish.ChangeWatcher(baseline="30 s", block="1 s", false_alarms="2 %", longest="200 s")
        for time in range(200):
            sure = watcher.plan is not None and time >= 100
            state = watcher.feed(
                float(time), 5.0 + 0.1 * rng.normal() + (4 * watcher.plan.sd if sure else 0.0)
            )
            if state.found is not None:
                break
        if state.found < 100:  # one of the false calls that are allowed
            continue
        assert state.direction == "up"
        delays.append(state.found - 99.0)
        promised = watcher.plan.delay
    assert np.mean(delays) == pytest.approx(promised, rel=0.15)


@pytest.mark.parametrize(
    ("rate", "film_", "share"), [(0.03, 0.0, 0.999), (0.05, 0.04, 0.99), (0.0, 0.05, 0.9)]
)
def test_over_polish_clears_the_share_that_was_asked_for(rate, film_, share):
    found = planish.over_polish(100.0, share, rate_spread=rate, film_spread=film_)
    rng = np.random.default_rng(4)
    thick, pace = 1 + film_ * rng.normal(size=2_000_000), 1 + rate * rng.normal(size=2_000_000)
    clear = np.mean(thick <= pace * found.time / 100.0)
    assert clear == pytest.approx(share, abs=4 * np.sqrt(share * (1 - share) / 2e6))
    assert np.mean(thick <= pace * found.first / 100.0) == pytest.approx(1 - share, abs=1e-3)
    assert found.over == pytest.approx(found.time - 100.0)
