"""Traces and rates of a real wafer polisher: PHM Society data challenge 2016, training part.

Source: phmsociety.org, PHM Data Challenge 2016 (call for participation: predict the average
removal rate of a wafer polisher as its consumables age). Values are scaled by the publisher, so
everything is relative. The official test and validation parts are not used here. The plain
errors are recomputed in this file in another way; the rest is recorded as it was found.
"""

from __future__ import annotations

import numpy as np
import pytest

pytestmark = pytest.mark.shared_data


@pytest.fixture(scope="module")
def cache():
    return {}


@pytest.fixture
def wafers(shared_data, cache):
    from planish.measure.traces.read import read_rates, read_traces
    from planish.measure.traces.wafers import cut_wafers

    files = shared_data("phm2016/training-traces.parquet"), shared_data("phm2016/training-rates.parquet")
    if "wafers" not in cache:
        cache["wafers"] = cut_wafers(read_traces(files[0]), read_rates(files[1]), "open traces")
    return cache["wafers"]


@pytest.fixture
def law(wafers, cache):
    from planish.fit.traces import fit_rate_law

    if "law" not in cache:
        cache["law"] = fit_rate_law(wafers)
    return cache["law"]


def test_every_polish_is_cut_and_every_oddity_said(wafers):
    assert wafers.table.height == 1981
    assert wafers.table["wafer"].n_unique() == 1699
    odd = [f for f in wafers.flags if "not credible" in f["reason"]]
    assert len(odd) == 4
    assert wafers.table.filter(~wafers.table["credible"])["rate"].min() > 4000
    assert "1819 samples repeat" in " ".join(wafers.notes)
    assert sum("not recorded" in f["reason"] for f in wafers.flags) == 199


def test_regimes_are_two_stages_and_two_routes(law):
    found = {r.name: r for r in law.regimes}
    assert set(found) == {
        "stage A, chambers 1-2-3",
        "stage A, chambers 4-5-6",
        "stage B, chambers 4-5-6",
    }
    for name, r in found.items():
        low, high = (110, 165) if "1-2-3" in name else (53, 110)
        assert low < r.measured.min() <= r.measured.max() < high
    assert sum(len(r.measured) for r in law.regimes) == 1977


def test_plain_errors_recomputed_from_the_files(shared_data, law):
    """Mean of the regime and mean of the last three, by loops over the raw files."""
    import polars as pl

    t = pl.read_parquet(
        shared_data("phm2016/training-traces.parquet"), columns=["WAFER_ID", "STAGE", "TIMESTAMP", "CHAMBER"]
    )
    r = pl.read_parquet(shared_data("phm2016/training-rates.parquet"))
    first = t.group_by("WAFER_ID", "STAGE").agg(pl.col("TIMESTAMP").min(), pl.col("CHAMBER").min())
    first = first.with_columns(pl.col("WAFER_ID").cast(pl.Int64)).join(r, on=["WAFER_ID", "STAGE"])
    rows = sorted(
        x for x in first.select("TIMESTAMP", "STAGE", "CHAMBER", "AVG_REMOVAL_RATE").rows() if x[3] < 4000
    )
    cut = rows[int(0.7 * len(rows))][0]
    for regime in law.regimes:
        stage, high = regime.name.split()[1].strip(","), "1-2-3" in regime.name
        own = [x for x in rows if x[1] == stage and (x[2] <= 3) == high]
        past = [x[3] for x in own if x[0] < cut]
        mean = sum(past) / len(past)
        square_mean, square_three, count = 0.0, 0.0, 0
        for i, x in enumerate(own):
            if x[0] >= cut:
                three = sum(y[3] for y in own[i - 3 : i]) / 3
                square_mean += (x[3] - mean) ** 2
                square_three += (x[3] - three) ** 2
                count += 1
        assert regime.n_left_out == count
        assert regime.rmse["mean"] == pytest.approx((square_mean / count) ** 0.5, rel=1e-9)
        assert regime.rmse["last_three"] == pytest.approx((square_three / count) ** 0.5, rel=1e-9)


def test_left_out_errors_as_found(law):
    """The law halves the error of the mean from traces alone; with the drift followed it beats the last three."""
    assert law.rmse["law"] < 0.6 * law.rmse["mean"]
    assert law.rmse["law_and_drift"] < 0.92 * law.rmse["last_three"]
    assert law.rmse["law_and_drift"] == pytest.approx(3.437, abs=0.01)
    assert law.rmse["last_three"] == pytest.approx(3.833, abs=0.01)
    assert law.rmse["mean"] == pytest.approx(8.644, abs=0.01)


def test_what_production_data_cannot_tell_is_said(law):
    """The recipe is held still, so Preston's exponent cannot come out of these data."""
    for r in law.regimes:
        assert any("not identifiable" in s for s in r.sentences)
        preston = r.rmse["preston"]
        assert preston > r.rmse["law"]


def test_consumables_explain_little_ahead_of_time(wafers):
    from planish.fit.consumables import fit_consumables

    out = fit_consumables(wafers)
    dresser = {name: {a.counter: a for a in ages}["use_dresser"] for name, ages in out.regimes.items()}
    for name in ("stage A, chambers 4-5-6", "stage B, chambers 4-5-6"):
        value, error = dresser[name].steady
        assert value < -2 * error, "an older disk goes with a lower rate once the drift is followed"
        assert dresser[name].skill < 0.1
    assert np.isfinite([a.skill for ages in out.regimes.values() for a in ages]).all()


def test_unseen_wafers_are_guessed_better_than_by_plain_trees(wafers):
    """One regime, one random fifth left out: a plain forest's error in the same fold is the yardstick."""
    from dataclasses import replace

    from planish.fit.unseen_check import check_unseen

    own = replace(wafers, table=wafers.table.filter(wafers.table["stage"] == "B"))
    check = check_unseen(own, retrospective=True, folds=5, only=1, seed=7)
    assert check.rmse["guess"] < 0.9 * check.rmse["plain_trees"]
    assert check.rmse["guess"] < 0.8 * check.rmse["last_three"]
    assert 0.88 < check.coverage < 0.99
