"""Spreads that go together, held against a worked example of the guide to the expression of uncertainty."""

from __future__ import annotations

import math

import numpy as np
import pytest

import planish
from planish.errors import SetupError
from planish.predict.wafer.bands import polish_band, spreads
from planish.predict.wafer.correlations import correlations, mixed, spread_together

# JCGM 100:2008 (GUM), appendix H.2: voltage, current and phase angle of one circuit, measured together
# (read as quoted in the GTC manual).
MEAN = {"V": 4.999, "A": 19.661e-3, "phi": 1.04446}
ERROR = {"V": 3.2e-3, "A": 9.5e-6, "phi": 7.5e-4}
TABLE = np.array([[1.0, -0.36, 0.86], [-0.36, 1.0, -0.65], [0.86, -0.65, 1.0]])
OUTCOMES = {
    "resistance": (lambda V, A, phi: V / A * math.cos(phi), 127.732, 0.070, 3),
    "reactance": (lambda V, A, phi: V / A * math.sin(phi), 219.85, 0.30, 2),
    "impedance": (lambda V, A, phi: V / A, 254.26, 0.24, 2),
}


@pytest.mark.parametrize("name", OUTCOMES)
def test_the_worked_example_of_the_guide(name: str) -> None:
    outcome, mean, error, digits = OUTCOMES[name]
    assert round(outcome(**MEAN), digits) == mean
    shares = {
        key: 0.5
        * (
            outcome(**{**MEAN, key: MEAN[key] + ERROR[key]})
            - outcome(**{**MEAN, key: MEAN[key] - ERROR[key]})
        )
        for key in MEAN
    }
    assert round(spread_together(shares, list(MEAN), TABLE), digits) == pytest.approx(error)
    assert round(spread_together(shares, list(MEAN), np.eye(3)), digits) != pytest.approx(error)


def test_draws_go_together_as_the_table_says_and_others_stay_to_the_bit() -> None:
    whole = np.eye(5)
    whole[np.ix_([0, 2, 4], [0, 2, 4])] = TABLE
    alone = np.random.default_rng(3).standard_normal((200_000, 5))
    drawn = mixed(alone, whole)
    assert np.array_equal(drawn[:, [1, 3]], alone[:, [1, 3]])
    assert np.corrcoef(drawn.T) == pytest.approx(whole, abs=0.01)
    assert drawn.std(axis=0) == pytest.approx(np.ones(5), abs=0.01)
    assert mixed(alone, np.eye(5)) is alone


FITTED = """
[fitted]
planish = "{version}"
date = "2026-11-28"
method = "least squares"
[[fitted.value]]
key = "removal.oxide.rate"
value = "250 nm/min"
low = "230 nm/min"
high = "270 nm/min"
spread = "5 %"
[[fitted.value]]
key = "removal.oxide.coefficients.alpha"
value = 1.0
low = 0.9
high = 1.1
spread = "0.08"
[[fitted.together]]
first = "removal.oxide.coefficients.alpha"
second = "removal.oxide.rate"
correlation = {correlation}
"""
LAW = """
schema = 1
[wafer]
part = "silicon-300"
[[wafer.film]]
material = "oxide"
thickness = "3000 nm"
[polisher]
part = "rotary-300"
[removal.oxide]
law = "power"
rate = "250 nm/min"
[removal.oxide.coefficients]
alpha = 1.0
beta = 1.0
[[recipe.step]]
name = "main"
zone_pressures = "{pressure}"
ring_pressure = "4 psi"
platen_speed = "90 rpm"
carrier_speed = "83 rpm"
flow = "250 ml/min"
time = "60 s"
"""
RATE, ALPHA = "rate of oxide", "removal.oxide.coefficients.alpha"


def _setup(correlation: float, pressure: str = "6 psi") -> planish.Setup:
    text = LAW.format(pressure=pressure) + FITTED.format(version=planish.__version__, correlation=correlation)
    return planish.loads(text)


@pytest.mark.parametrize("correlation", [-0.9, 0.0, 0.6])
def test_a_band_adds_what_was_fitted_together_with_its_correlation(correlation: float) -> None:
    band = polish_band(_setup(correlation))["mean_removal_rate_nm_per_min"]
    a, b = band.shares[RATE], band.shares[ALPHA]
    others = sum(share**2 for name, share in band.shares.items() if name not in (RATE, ALPHA))
    assert a > 0
    assert b > 0  # 6 psi is above the reference of 3
    assert band.sd == pytest.approx(math.sqrt(a * a + b * b + 2 * correlation * a * b + others), rel=1e-9)


def test_a_study_draws_them_together() -> None:
    setup = _setup(-0.9)
    found = spreads(setup)
    table = correlations(setup, found)
    names = [one.name for one in found]
    assert table[names.index(RATE), names.index(ALPHA)] == -0.9
    drawn = planish.study(setup, samples=64, seed=2).design.table
    assert np.corrcoef(drawn[:, names.index(RATE)], drawn[:, names.index(ALPHA)])[0, 1] < -0.8


def test_a_pair_no_longer_counts_once_a_value_is_another() -> None:
    setup = _setup(-0.9).replace({"removal.oxide.coefficients.alpha": 1.1})
    assert np.array_equal(correlations(setup, spreads(setup)), np.eye(len(spreads(setup))))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('first = "removal.oxide.spread"', "the key of a row of fitted.value"),
        ('first = "removal.oxide.rate"', "another key than the first"),
        ("correlation = 1.2", "-1"),
    ],
)
def test_a_pair_that_is_none_is_refused(text: str, words: str) -> None:
    whole = LAW.format(pressure="3 psi") + FITTED.format(version=planish.__version__, correlation=0.5)
    key = text.split(" ", maxsplit=1)[0]
    lines = [text if line.startswith(f"{key} =") else line for line in whole.splitlines()]
    with pytest.raises(SetupError, match=r"fitted\.together") as refused:
        planish.loads("\n".join(lines))
    assert words in str(refused.value)
