"""Fits of removal and of traces against data that were made to a known law."""

from __future__ import annotations

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from planish.errors import DataError, FitError
from planish.fit import removal as law
from planish.fit.consumables import fit_consumables
from planish.fit.drift import follow, last_mean
from planish.fit.forest import learn_rates
from planish.fit.log_law import newey_west
from planish.fit.removal import fit_prediction
from planish.fit.traces import fit_rate_law
from planish.measure.sites.read import SiteMap
from planish.measure.sites.site_plan import site_plan
from planish.measure.traces.invented import TRUTH, invented_traces
from planish.measure.traces.wafers import cut_wafers, routes_of

K_P = 2.01441e-13  # 250 nm/min at 3 psi and 1 m/s


def removal(f, plan="49", noise=1e-9, seed=0, quantity="removal"):
    x, y = site_plan(plan, 0.15, 0.003)
    z = f(np.hypot(x, y)) + noise * np.random.default_rng(seed).normal(size=len(x))
    return SiteMap(x, y, z, tuple(str(i + 1) for i in range(len(x))), quantity, "nm", "made")


RADIUS = np.linspace(0, 0.15, 151)
SHAPE = 20684.3 * 60 * (1 + 0.05 * (RADIUS / 0.15) ** 2)  # [m Pa]: 3 psi, 1 m/s, 60 s, a fast edge


def fit_k_p(m, radius, per_k_p, edge_exclusion=0.0):
    """Fit k_p to a profile of removal per unit of it, as fit_prediction does to a predicted one."""
    fit = law._fit(m, radius, per_k_p, radius[-1] - edge_exclusion)
    return law._result(
        fit, k_p=fit.factor, k_p_error=fit.error, k_p_all=fit.factor_all, scale=(np.nan, np.nan)
    )


def truth(r):
    return K_P * np.interp(r, RADIUS, SHAPE)


def test_k_p_is_found_within_its_error():
    z = []
    for seed in range(40):
        fit = fit_k_p(removal(truth, seed=seed), RADIUS, SHAPE)
        z.append((fit.k_p - K_P) / fit.k_p_error)
    assert abs(np.mean(z)) < 1.0
    assert 0.5 < np.std(z) < 2.5
    assert fit.r_squared > 0.5
    assert any("agrees with the sites" in s for s in fit.sentences)
    json.dumps(fit.summary())


def test_a_wrong_shape_is_said_where_it_is_wrong():
    fit = fit_k_p(removal(lambda r: truth(r) * (1 + 0.06 * (r > 0.14))), RADIUS, SHAPE)
    said = [s for s in fit.sentences if "more than the fit" in s]
    assert said
    assert "147 mm" in said[-1]
    assert fit.residual.upper[-1] > fit.residual.lower[-1] > 0


def test_flagged_sites_are_left_out_and_said():
    m = removal(truth)
    m = replace(m, value=np.where(np.arange(len(m)) == 5, 1.5 * m.value, m.value))
    fit = fit_k_p(m, RADIUS, SHAPE)
    assert [f.site for f in fit.flags] == ["6"]
    assert fit.k_p == pytest.approx(K_P, rel=2e-3)
    assert fit.k_p_all > fit.k_p
    assert any("left out of the fit" in s for s in fit.sentences)


def predicted(stopped_by="time", cleared=np.inf):
    """The parts of a predicted wafer that a fit reads."""
    law = SimpleNamespace(law="preston", coefficients={"k_p": K_P})
    film = SimpleNamespace(material="oxide")
    wafer = SimpleNamespace(radius=0.15, edge_exclusion=0.003, films=(film,))
    return SimpleNamespace(
        radius=RADIUS,
        removed=K_P * SHAPE,
        cleared=np.full((1, len(RADIUS)), cleared),
        steps=[SimpleNamespace(name="bulk", stopped_by=stopped_by)],
        time=60.0,
        rig=SimpleNamespace(wafer=wafer, removal={"oxide": law}),
    )


def test_fit_prediction_scales_the_k_p_of_the_setup():
    fit = fit_prediction(predicted(), removal(lambda r: 1.1 * truth(r)))
    assert fit.scale == pytest.approx(1.1, rel=2e-3)
    assert fit.k_p == pytest.approx(1.1 * K_P, rel=2e-3)
    assert "times the predicted one" in fit.sentences[0]


def test_a_longer_polish_is_no_faster_one():
    m = removal(lambda r: 1.5 * truth(r))
    timed = replace(m, polish_time=90.0)
    assert fit_prediction(predicted(), timed).scale == pytest.approx(1.0, rel=2e-3)
    assert fit_prediction(predicted(stopped_by="removed amount"), timed).scale == pytest.approx(1.0, rel=2e-3)
    assert fit_prediction(predicted(), m).scale == pytest.approx(1.5, rel=2e-3)


def test_fit_prediction_refuses_what_says_nothing_of_the_rate():
    with pytest.raises(FitError, match="says nothing"):
        fit_prediction(predicted(stopped_by="removed amount"), removal(truth))
    with pytest.raises(FitError, match="clears before the end"):
        fit_prediction(predicted(cleared=30.0), removal(truth))
    with pytest.raises(DataError, match="pair before and after"):
        fit_prediction(predicted(), removal(truth, quantity="thickness"))
    with pytest.raises(FitError, match="three or more"):
        fit_k_p(removal(truth), RADIUS, SHAPE, edge_exclusion=0.149)
    with pytest.raises(FitError, match="zero or not finite"):
        fit_k_p(removal(truth), RADIUS, 0 * SHAPE)
    with pytest.raises(FitError, match="increase"):
        fit_k_p(removal(truth), RADIUS[::-1], SHAPE)


def test_newey_west_without_lag_is_the_known_sandwich():
    rng = np.random.default_rng(0)
    x = np.column_stack([np.ones(50), rng.normal(size=50)])
    e = rng.normal(size=50)
    bread = np.linalg.inv(x.T @ x)
    assert newey_west(x, e, 0) == pytest.approx(bread @ (x.T * e**2) @ x @ bread * 50 / 48)


def test_drift_filter_equals_least_squares_without_drift():
    rng = np.random.default_rng(4)
    x = rng.normal(size=(80, 2))
    y = 3.0 + x @ [0.5, -0.2] + 0.1 * rng.normal(size=80)
    out = follow(y, x, 0.0, noise=1e6, slope_scale=1e9)  # no clipping, no prior
    a = np.column_stack([np.ones(80), x])
    ahead = np.array([a[i] @ np.linalg.lstsq(a[:i], y[:i], rcond=None)[0] for i in range(60, 80)])
    assert out.ahead[60:] == pytest.approx(ahead, abs=2e-3)


def test_last_mean_by_hand():
    assert last_mean(np.array([1.0, 2.0, 6.0, 4.0, 5.0])) == pytest.approx([1.0, 1.0, 1.5, 3.0, 4.0])


@pytest.fixture(scope="module")
def invented():
    samples, rates = invented_traces(1)
    return cut_wafers(samples, rates, "invented")


def test_wafers_are_cut_and_the_dirt_is_flagged(invented):
    assert invented.table.height == 600
    reasons = " ".join(f["reason"] for f in invented.flags)
    assert "not credible" in reasons
    assert "gap" in reasons
    notes = " ".join(invented.notes)
    assert "40 samples repeat" in notes
    assert "were put in order" in notes
    assert (~invented.table["credible"]).sum() == 1


def test_exposure_is_the_integral(invented):
    """75 s under pressure of 1 each, speed 1, in units of the usual level: exposure about p v x 75 s."""
    seconds = invented.table["seconds"].to_numpy()
    assert np.median(seconds) == pytest.approx(75.0)
    assert np.median(invented.table["exposure"].to_numpy()) == pytest.approx(75.0, rel=0.02)


def test_routes_are_found_from_the_visits():
    samples, _ = invented_traces(3, wafers=10)
    assert set(routes_of(samples).values()) == {"1-2", "3-4"}


def test_same_seed_same_traces():
    a, b = invented_traces(5, wafers=5), invented_traces(5, wafers=5)
    assert a[0].equals(b[0])
    assert a[1].equals(b[1])
    assert not a[0].equals(invented_traces(6, wafers=5)[0])


def test_the_law_that_made_the_rates_is_found(invented):
    law = fit_rate_law(invented)
    assert [r.name for r in law.regimes] == ["stage first, chambers 1-2", "stage second, chambers 3-4"]
    for regime in law.regimes:
        by = {c.name: c for c in regime.coefficients}
        exponent, dresser = by["ln pressure_speed"], by["use_dresser"]
        assert abs(exponent.value - TRUTH["exponent"]) < 3.5 * exponent.error
        assert exponent.error < 0.05
        # The drift moves the plain slope by more than its error says: hence the wide margin.
        assert dresser.value == pytest.approx(TRUTH["per_use"], rel=0.5)
        assert regime.rmse["law"] < regime.rmse["last_three"] < 1.2 * regime.rmse["mean"]
        assert regime.rmse["law_and_drift"] < 1.5 * TRUTH["noise"] * regime.mean_rate
    json.dumps(law.summary())
    assert law.predict(invented.table) == pytest.approx(
        law.predict(invented.table.with_columns(rate=1.0)), rel=1e-12
    ), "a prediction from traces must not look at the rate"


def test_nothing_after_the_cut_reaches_the_law(invented):
    """Spoil every left-out rate: the fitted coefficients must not move."""
    import polars as pl

    law = fit_rate_law(invented)
    late = pl.col("start") >= law.cut_time
    spoiled = invented.table.with_columns(
        rate=pl.when(late).then(pl.col("rate") * 1.7).otherwise(pl.col("rate"))
    )
    again = fit_rate_law(type(invented)(spoiled, invented.flags, invented.notes, invented.source))
    for a, b in zip(law.regimes, again.regimes, strict=True):
        assert [c.value for c in a.coefficients] == [c.value for c in b.coefficients]
        assert a.drift_strength == b.drift_strength
        assert a.rmse["law"] != b.rmse["law"]


def test_drift_guess_never_looks_ahead():
    rng = np.random.default_rng(0)
    y = rng.normal(size=30)
    a = follow(y, np.empty((30, 0)), 0.3, noise=1.0, slope_scale=1.0).ahead
    y[20:] += 5
    b = follow(y, np.empty((30, 0)), 0.3, noise=1.0, slope_scale=1.0).ahead
    assert np.array_equal(a[:21], b[:21])
    assert a[21] != b[21]


def test_the_forest_is_judged_beside_the_law_and_repeats(invented):
    one = learn_rates(invented, trees=40, workers=1)
    two = learn_rates(invented, trees=40, workers=2)
    assert np.array_equal(one.predicted["forest"], two.predicted["forest"])
    law = fit_rate_law(invented)
    assert one.rmse["all"]["forest"] < law.rmse["mean"]
    assert one.rmse["all"]["forest_and_drift"] < one.rmse["all"]["forest"]
    assert "forward chaining" in " ".join(one.notes)


def test_the_age_of_the_disk_is_found(invented):
    out = fit_consumables(invented)
    life = 500.0
    for ages in out.regimes.values():
        age = {a.counter: a for a in ages}["use_dresser"]
        assert age.skill > 0.1
        assert age.changes >= 1
        value, error = age.steady
        assert abs(value - 100 * TRUTH["per_use"] * life) < 3 * error + 2.0
    json.dumps(out.summary())


def test_too_little_to_fit_is_refused(invented):
    few = type(invented)(invented.table.head(20), (), (), "few")
    with pytest.raises(FitError, match="too few"):
        fit_rate_law(few)
    with pytest.raises(FitError, match="training share"):
        fit_rate_law(invented, training_share=1.2)
    samples, _ = invented_traces(1, wafers=5)
    with pytest.raises(FitError, match="no measured rates"):
        fit_rate_law(cut_wafers(samples))
    bare = type(invented)(invented.table.drop("use_dresser", "use_membrane"), (), (), "bare")
    with pytest.raises(FitError, match="usage counters"):
        fit_consumables(bare)
