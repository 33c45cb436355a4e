"""Guesses for wafers without a measured rate: exact against brute force, and blind to what they must not see."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from planish.errors import DataError, FitError
from planish.fit import gaussian_process as gp
from planish.fit import pooled_process as pooled
from planish.fit.unseen import COVERAGE, RatePredictor
from planish.fit.unseen_bands import band_factor, cautious_factor
from planish.fit.unseen_check import check_unseen
from planish.fit.unseen_pools import FIRST
from planish.measure.traces.invented import invented_traces
from planish.measure.traces.wafers import cut_wafers


@pytest.fixture(scope="module")
def sample():
    rng = np.random.default_rng(3)
    x = np.column_stack([np.sort(rng.uniform(0, 40, 60)), rng.normal(size=(60, 2))])
    y = 80 + 2 * np.sin(x[:, 0]) + 3 * x[:, 1] + 0.3 * rng.normal(size=60)
    return x, y, gp.fit_process(x, y)


def brute(process, known, rows):
    """Guess and spread of ``rows`` (scaled) from the ``known`` ones, by solving anew."""
    q = process.log_parameters
    target = process.factor @ process.weighted
    k = gp._covariance(q, process.x[known], process.x[known])
    k += (np.exp(q[-1]) + gp.JITTER) * np.eye(len(known))
    c = gp._covariance(q, process.x[rows], process.x[known])
    return process.mean + process.scale * (c @ np.linalg.solve(k, target[known]))


def test_left_out_guess_is_that_of_solving_without_the_wafer(sample):
    _, _, process = sample
    for i in (0, 17, 59):
        others = np.delete(np.arange(60), i)
        assert process.left_out[i] == pytest.approx(brute(process, others, [i])[0], rel=1e-8)


def test_ahead_guess_is_that_of_solving_with_the_earlier_wafers(sample):
    x, _, process = sample
    guess, _ = process.guess(x[[5, 30, 59]], np.array([5, 30, 59]))
    for i, g in zip((5, 30, 59), guess, strict=True):
        expected = brute(process, np.arange(i), [i])[0]
        assert process.ahead[i] == pytest.approx(expected, rel=1e-8)
        assert g == pytest.approx(expected, rel=1e-6)


def test_with_more_is_as_if_known_from_the_start(sample):
    x, y, process = sample
    part = gp._condition(
        process.log_parameters,
        (process.low, process.high, process.centre, process.spread, process.mean, process.scale),
        process.x[:40],
        (process.factor @ process.weighted)[:40],
    )
    again = part.with_more(x[40:], y[40:])
    assert again.guess(x)[0] == pytest.approx(process.guess(x)[0], rel=1e-9)


def test_guess_agrees_with_a_reference_library(sample):
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern

    _, _, process = sample
    q = process.log_parameters
    lengths = np.exp(q[3:-1])
    wide = np.full(3, 1e9)
    wide[0] = np.exp(q[1])
    kernel = ConstantKernel(np.exp(q[0])) * Matern(wide, nu=0.5) + ConstantKernel(np.exp(q[2])) * Matern(
        lengths, nu=1.5
    )
    reference = GaussianProcessRegressor(kernel, alpha=np.exp(q[-1]) + gp.JITTER, optimizer=None)
    reference.fit(process.x, process.factor @ process.weighted)
    z = np.random.default_rng(0).normal(size=(20, 3))
    x = z * process.spread + process.centre
    held = (np.clip(x, process.low, process.high) - process.centre) / process.spread
    mean, sd = reference.predict(held, return_std=True)
    guess, spread = process.guess(x)
    assert guess == pytest.approx(process.mean + process.scale * mean, rel=1e-8)
    assert spread == pytest.approx(process.scale * np.sqrt(sd**2 + np.exp(q[-1])), rel=1e-4)


def test_gradient_of_the_likelihood():
    rng = np.random.default_rng(1)
    z, y = rng.normal(size=(25, 3)), rng.normal(size=25)
    q = np.array([-0.5, -1.0, 0.2, 0.5, 1.0, 0.3, -1.0])
    _, gradient = gp._loss(q, z, y)
    for j in range(len(q)):
        step = np.zeros_like(q)
        step[j] = 1e-5
        slope = (gp._loss(q + step, z, y)[0] - gp._loss(q - step, z, y)[0]) / 2e-5
        assert gradient[j] == pytest.approx(slope, rel=1e-4, abs=1e-6)


def test_band_factor_by_hand():
    assert band_factor(np.arange(1.0, 100.0)) == 95.0  # ceil(0.95 x 100)
    assert band_factor(np.array([3.0, 1.0])) == 3.0


@pytest.fixture(scope="module")
def invented():
    samples, rates = invented_traces(2, wafers=160)
    return cut_wafers(samples, rates, "invented")


def halves(wafers):
    """Every fourth wafer unseen, the others known."""
    table = wafers.table.filter("credible")
    out = (np.arange(table.height) % 4 == 1).tolist()
    keep = [not o for o in out]
    new = table.filter(out)
    return replace(wafers, table=table.filter(keep)), replace(wafers, table=new.drop("rate", "credible")), new


@pytest.fixture(scope="module")
def both(invented):
    known, new, truth = halves(invented)
    predictor = RatePredictor.fit(known)
    return known, new, truth["rate"].to_numpy(), predictor, predictor.predict(new, retrospective=True)


def test_retrospective_guesses_beat_plain_trees_and_say_what_they_are(both, invented):
    _, _, rate, _, found = both
    assert np.sqrt(np.mean((found.rate / rate - 1) ** 2)) < 0.035  # the noise alone is 0.02
    inside = np.mean((rate >= found.low) & (rate <= found.high))
    assert COVERAGE - 0.09 < inside <= 1
    assert "no forecast" in found.summary()["mode"]
    json.dumps(found.summary())
    check = check_unseen(invented, retrospective=True, folds=5, only=1)
    assert check.rmse["guess"] < 0.9 * check.rmse["plain_trees"]  # noise of 2 % bounds both


def test_numbers_do_not_depend_on_workers(both):
    known, new, _, _, found = both
    one = RatePredictor.fit(known, workers=1).predict(new, retrospective=True)
    assert np.array_equal(one.rate, found.rate)
    assert np.array_equal(one.low, found.low)


def test_ahead_never_looks_ahead(both):
    """Spoil every rate after a time: guesses before it must stay as they are, to the last digit."""
    import polars as pl

    known, new, _, predictor, _ = both
    cut = float(known.table["start"].to_numpy()[int(0.6 * known.table.height)])
    later = pl.col("start") >= cut
    spoiled = known.table.with_columns(
        rate=pl.when(later).then(pl.col("rate") * 1.3).otherwise(pl.col("rate"))
    )
    a = predictor.predict(new, retrospective=False)
    b = RatePredictor.fit(replace(known, table=spoiled)).predict(new, retrospective=False)
    before = a.start < cut
    assert np.isfinite(a.rate[before]).sum() > 10
    assert np.array_equal(a.rate[before], b.rate[before], equal_nan=True)
    assert np.array_equal(a.low[before], b.low[before], equal_nan=True)
    assert not np.array_equal(a.rate[~before], b.rate[~before])
    assert not np.isfinite(a.rate[:3]).any(), "nothing is known at the start"
    assert "too few measured wafers before them" in " ".join(a.notes)
    assert np.array_equal(np.isfinite(a.rate), a.known >= FIRST), "from the tenth of a regime on"
    early = (a.known >= FIRST) & (a.known < 30)
    assert early.sum() >= 8
    assert f"{int((np.isfinite(a.rate) & (a.known < 60)).sum())} of" in " ".join(a.notes)
    assert a.rows()[0]["rate"] is None
    assert "ahead" in a.mode


def test_pooled_gradient_and_left_out_and_ahead_guesses():
    """Against differences of the likelihood, and against solving anew without the wafer or with the earlier ones."""
    rng = np.random.default_rng(4)
    x = np.column_stack([np.sort(rng.uniform(0, 9, 40)), rng.normal(size=(40, 3))])
    regime = rng.integers(0, 2, 40)
    y = np.array([60.0, 90.0])[regime] + 3 * np.sin(x[:, 0]) + 2 * x[:, 1] + 0.3 * rng.normal(size=40)
    process = pooled.fit_pooled(x, regime, y, few=2, regimes=2)
    usual, _ = pooled._start(4, 2, 2)
    q = usual + 0.3 * rng.normal(size=len(usual))
    at = (process.x, regime, process.target, 2, usual)
    _, gradient = pooled._loss(q, *at)
    for j in range(len(q)):
        step = np.zeros_like(q)
        step[j] = 1e-5
        slope = (pooled._loss(q + step, *at)[0] - pooled._loss(q - step, *at)[0]) / 2e-5
        assert gradient[j] == pytest.approx(slope, rel=1e-4, abs=1e-6)

    def anew(rows, i):
        p = process.parameters
        k = pooled._covariance(p, 2, (process.x[rows], regime[rows]), (process.x[rows], regime[rows]))
        k += np.diag(np.exp(p[-2:])[regime[rows]] + gp.JITTER)
        c = pooled._covariance(p, 2, (process.x[[i]], regime[[i]]), (process.x[rows], regime[rows]))
        scaled = (c @ np.linalg.solve(k, process.target[rows]))[0]
        return process.mean[regime[i]] + process.scale[regime[i]] * scaled

    for i in (0, 13, 39):
        assert process.left_out[i] == pytest.approx(anew(np.delete(np.arange(40), i), i), rel=1e-8)
    for i in (5, 39):
        assert process.ahead[i] == pytest.approx(anew(np.arange(i), i), rel=1e-8)
        guess, spread = process.guess(x[[i]], regime[[i]], np.array([i]))
        assert guess[0] == pytest.approx(process.ahead[i], rel=1e-6)
        assert spread[0] == pytest.approx(process.ahead_sd[i], rel=1e-4)
    assert process.mean_guess(x, regime) == pytest.approx(process.guess(x, regime)[0], rel=1e-9)
    part = pooled._condition(
        process.parameters,
        2,
        (process.low, process.high, process.centre, process.spread, process.mean, process.scale),
        process.x[:25],
        regime[:25],
        process.target[:25],
    )
    again = part.with_more(x[25:], regime[25:], y[25:])
    assert again.guess(x, regime)[0] == pytest.approx(process.guess(x, regime)[0], rel=1e-9)


def test_a_regime_learns_from_its_neighbour_on_the_route():
    """Both follow one sine; the second, of which little is known, is guessed better than by its own mean."""
    rng = np.random.default_rng(8)
    t = np.sort(rng.uniform(0, 12, 120))
    regime = (np.arange(120) % 6 == 0).astype(np.int64)
    wave = np.sin(t)
    y = np.array([60.0, 90.0])[regime] + np.array([3.0, 5.0])[regime] * wave + 0.2 * rng.normal(size=120)
    process = pooled.fit_pooled(t[:, None], regime, y, few=1, regimes=2)
    new = np.linspace(1, 11, 60)
    found, _ = process.guess(new[:, None], np.ones(60, dtype=np.int64))
    assert np.sqrt(np.mean((found - 90 - 5 * np.sin(new)) ** 2)) < 1.0  # the wave itself: 3.5


def test_few_errors_make_a_wider_band():
    rng = np.random.default_rng(0)
    wide = [np.mean([cautious_factor(np.abs(rng.normal(size=n))) for _ in range(60)]) for n in (0, 5, 20, 59)]
    assert wide == sorted(wide, reverse=True)
    assert wide[0] > 3.0
    assert wide[-1] > 1.96  # the normal's own, of a known spread
    many = np.abs(rng.normal(size=4000))
    assert cautious_factor(many) == band_factor(many) == pytest.approx(1.96, abs=0.08)


def test_bands_ahead_hold_what_they_say_on_invented_traces():
    """Over three invented polishers, the first wafers too."""
    inside, early = [], []
    for seed in (11, 12, 13):
        samples, rates = invented_traces(seed, wafers=90)
        known, new, truth = halves(cut_wafers(samples, rates, "invented"))
        found = RatePredictor.fit(known).predict(new, retrospective=False)
        rate = truth["rate"].to_numpy()
        guessed = np.isfinite(found.rate)
        assert guessed.mean() > 0.8
        held = (rate >= found.low) & (rate <= found.high)
        inside += held[guessed].tolist()
        early += held[guessed & (found.known < 30)].tolist()
    assert len(early) >= 25
    assert np.mean(inside) > COVERAGE - 0.06
    assert np.mean(early) > COVERAGE - 0.1


def test_what_moves_the_rate_is_told(both):
    """The invented rate goes as (p v)^0.9 and falls as the disk dulls: both must come out with sign and size."""
    *_, found = both
    for name in np.unique(found.regime):
        told = {e.feature: e for e in found.effects if e.regime == name}
        disk = told["use_dresser"]
        rate = found.rate[found.regime == name].mean()
        true = -3e-4 * (disk.high - disk.low) * rate
        assert disk.change == pytest.approx(true, rel=0.5)
        assert "lowers the guessed rate" in disk.sentence()
    json.dumps(found.summary())
    assert any("use_dresser" in line for line in found.document()["told_of_effects"])


def test_a_wafer_unlike_those_learned_from_is_named_with_its_worst_feature(both):
    import polars as pl

    _, new, _, predictor, found = both
    odd = new.table["wafer"][10]
    far = pl.when(pl.col("wafer") == odd).then(pl.lit(5000.0)).otherwise(pl.col("use_dresser"))
    again = predictor.predict(replace(new, table=new.table.with_columns(use_dresser=far)), retrospective=True)
    assert [(o.wafer, o.feature, o.value) for o in again.outside[:2]] == [(odd, "use_dresser", 5000.0)] * len(
        again.outside[:2]
    )
    line = again.warnings()[len(again.moving)]
    assert f"wafer {odd}" in line
    assert "use_dresser is 5000" in line
    assert odd not in {o.wafer for o in found.outside}
    assert again.document()["outside"][0]["value"] == 5000.0


def test_a_level_that_runs_away_at_the_end_is_told(both):
    """The last wafers' rates are made to climb by 60 % a day; before, nothing is told."""
    import polars as pl

    known, new, _, _, found = both
    assert not found.moving
    start = known.table["start"].to_numpy()
    since = np.maximum(start - start[-40], 0.0) / 86400
    climbing = known.table.with_columns(rate=pl.col("rate") * pl.Series(1 + 12.0 * since))
    again = RatePredictor.fit(replace(known, table=climbing)).predict(new, retrospective=True)
    assert again.moving
    one = again.moving[0]
    assert one.lag > 0
    assert one.low > 0
    assert "the level moves faster at the end of the record" in again.warnings()[0]


def test_files_that_do_not_fit_are_refused(both, invented):
    known, new, _, predictor, _ = both
    with pytest.raises(DataError, match="no column for 'use_dresser'"):
        predictor.predict(replace(new, table=new.table.drop("use_dresser")), retrospective=True)
    samples, _ = invented_traces(2, wafers=4)
    with pytest.raises(DataError, match="chamber 'X'"):
        cut_wafers(samples.with_columns(chamber=samples["chamber"].replace("1", "X")), like=known)
    with pytest.raises(DataError, match="'pressure_edge'"):
        cut_wafers(samples.drop("pressure_edge"), like=known)
    with pytest.raises(FitError, match="no measured rates"):
        RatePredictor.fit(new)
    with pytest.raises(FitError, match="no figures by phase"):
        RatePredictor.fit(replace(invented, phases=None))


def test_wafers_that_were_learned_from_are_told(both):
    known, _, _, predictor, _ = both
    same = replace(known, table=known.table.head(5).drop("rate", "credible"))
    found = predictor.predict(same, retrospective=True)
    assert "5 polishes are among those learned from" in " ".join(found.notes)


def test_saved_rows_can_be_read_back(both, tmp_path):
    import polars as pl

    found = both[4]
    table = pl.read_csv(found.save_table(tmp_path / "rates.csv"), comment_prefix="#")
    assert table["rate"].to_numpy() == pytest.approx(found.rate)
    assert set(table["mode"]) == {"retrospective"}
