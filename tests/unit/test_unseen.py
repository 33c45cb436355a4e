"""Guesses for wafers without a measured rate: exact against brute force, and blind to what they must not see."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from planish.errors import DataError, FitError
from planish.fit import gaussian_process as gp
from planish.fit.unseen import COVERAGE, RatePredictor, band_factor
from planish.fit.unseen_check import check_unseen
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
    assert a.rows()[0]["rate"] is None
    assert "ahead" in a.mode


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
