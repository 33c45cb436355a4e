"""Spreads that go together, held against a worked example of the guide to the expression of uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

import planish
from planish.errors import SetupError
from planish.predict.wafer.bands import drawn, polish_band, spreads
from planish.predict.wafer.correlations import correlations, mixed, spread_together
from planish.predict.wafer.spread_keys import spread_changes, spread_key

EXAMPLES = Path(__file__).parents[2] / "examples"

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


def _setup_of_a_pad() -> planish.Setup:
    return planish.loads(LAW.format(pressure="3 psi"))


@dataclass(frozen=True)
class AtRadii:
    """What one wafer loses at some radii."""

    radius: tuple[float, ...]

    def __call__(self, setup: planish.Setup) -> np.ndarray:
        wafer = planish.polish(setup)
        return np.interp(self.radius, wafer.radius, wafer.removed)


@dataclass(frozen=True)
class ByHardness:
    """A rate that goes straight with the pad's hardness."""

    slope: float

    def __call__(self, setup: planish.Setup) -> np.ndarray:
        rate, shore = setup.si("removal.oxide.rate"), setup.si("pad.top.shore_d")
        return np.full(12, rate * (1.0 + self.slope * (shore - 55.0)))


def _to_hardness(slope: float) -> planish.Observed:
    rng = np.random.default_rng(3)
    values = 4e-9 * (1.0 + 0.01 * rng.standard_normal(12))
    return planish.Observed(
        "rates", "rate", values, np.zeros(12), "m/s", np.arange(12), ByHardness(slope), (), (), {}
    )


@pytest.mark.parametrize("slope", [0.02, -0.01])
def test_a_fitted_rate_follows_what_was_held_as_in_closed_form(slope: float) -> None:
    """ln k = ln(rate) - slope (shore - 55), so with one standard deviation of 3 the fit goes by -3 slope."""
    found = planish.calibrate(
        _setup_of_a_pad(), _to_hardness(slope), ["removal.oxide.rate"], priors=False, ahead=0
    )
    assert dict(zip(found.held.keys, found.held.slopes[0], strict=True))["pad.top.shore_d"] == pytest.approx(
        -3.0 * slope, rel=1e-5
    )
    own = float(found.solution.estimated.covariance[0, 0])
    told = found.fitted()
    whole = math.sqrt(own + 9.0 * slope**2)
    assert float(told.origins["removal.oxide.rate"].spread.removesuffix(" %")) == pytest.approx(
        100.0 * math.sqrt(math.expm1(whole**2)), rel=5e-3
    )
    (pair,) = [one for one in told.model.fitted.together if one.second == "pad.top.shore_d"]
    assert pair.correlation == pytest.approx(-3.0 * slope / whole, abs=2e-6)
    # what both do to the rate measured: no more than the scatter of the data
    table, moved = correlations(told, spreads(told)), [one.name for one in spreads(told)]
    shares = {"rate of oxide": whole, "modulus of the top pad": 3.0 * slope}
    assert spread_together(shares, moved, table) == pytest.approx(math.sqrt(own), rel=1e-2)


def test_a_fitted_rate_follows_a_held_pad_as_refits_do() -> None:
    """The same wafer, fitted with the pad one spread harder and one softer: half the difference is what is told."""
    setup = _setup_of_a_pad()
    radii = AtRadii(tuple(np.linspace(0.0, 0.14, 8)))
    values = radii(setup.replace({"removal.oxide.rate": "231 nm/min"}))
    measured = planish.Observed(
        "wafer", "sites", values, np.full(8, 1e-10), "m", np.arange(8), radii, (), (), {}
    )

    def rate(shore: float) -> float:
        pad = setup.replace({"pad.top.shore_d": shore})
        fit = planish.calibrate(pad, measured, ["removal.oxide.rate"], priors=False, ahead=0, loss="linear")
        return math.log(fit.values()[0][0])

    found = planish.calibrate(setup, measured, ["removal.oxide.rate"], priors=False, ahead=0, loss="linear")
    told = dict(zip(found.held.keys, found.held.slopes[0], strict=True))["pad.top.shore_d"]
    assert told == pytest.approx(0.5 * (rate(58.0) - rate(52.0)), rel=0.05)
    after, before = (planish.polish_band(one)["mean_removed_nm"] for one in (found.fitted(), found.setup))
    assert after.sd < 0.25 * before.sd  # at the settings that were measured


def test_a_pad_that_is_another_no_longer_goes_together() -> None:
    told = planish.calibrate(
        _setup_of_a_pad(), _to_hardness(0.02), ["removal.oxide.rate"], priors=False, ahead=0
    ).fitted()
    other = told.replace({"pad.top.shore_d": 60.0})
    assert np.array_equal(correlations(other, spreads(other)), np.eye(len(spreads(other))))
    assert not np.array_equal(correlations(told, spreads(told)), np.eye(len(spreads(told))))


@pytest.mark.parametrize("name", ["rotary", "copper", "linear"])
def test_each_spread_has_a_key_of_its_own_and_moves_by_it_as_in_a_draw(name: str) -> None:
    """A law of several steps, such as copper's, has no coefficient that stands for its rate."""
    setup = planish.load(EXAMPLES / f"{name}.toml")
    stated = spreads(setup)
    keys = [spread_key(setup, one) for one in stated]
    assert len(set(keys)) == len(keys)
    assert set(keys) <= setup.origins.keys()
    for at, one in enumerate(stated):
        if one.by[0] in ("rate", "layer"):
            there = setup.replace(spread_changes(setup, one, 0.7)).rig
            amounts = [0.7 if at == number else 0.0 for number in range(len(stated))]
            wanted = drawn(setup, stated, amounts)
            for material, law in wanted.removal.items():
                assert there.removal[material].coefficients == pytest.approx(law.coefficients, rel=1e-9)
            assert [layer.modulus for layer in there.pad.layers] == pytest.approx(
                [layer.modulus for layer in wanted.pad.layers], rel=1e-5
            )
