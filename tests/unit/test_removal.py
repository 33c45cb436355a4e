"""Removal laws: limits, factors exactly 1 at their reference, refusals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planish.errors import ModelError, SetupError
from planish.physics.removal import factors
from planish.physics.removal import laws as removal
from planish.physics.removal.law import slower as two_step
from planish.physics.removal.laws import LAWS

PSI = 6894.757293168
SETS = {
    "preston": {"k_p": 2e-13},
    "power": {"k": 1e-12, "alpha": 0.85, "beta": 0.7},
    "offset": {"k_p": 2e-13, "b": 1e-10, "c": 5e-11},
    "threshold": {"k_p": 2e-13, "p_threshold": 3000.0},
    "abrasive": {"c1": 5e-11, "c2": 0.1, "c0": 1e-11},
    "two-step": {"a": 1e3, "e_a": 5e4, "k_m": 1e-9, "friction": 0.4, "molar_volume": 7.1e-6},
}
POSITIVE = st.floats(1e-3, 1e5)


@pytest.mark.parametrize("law", SETS)
@given(p=st.floats(0, 1e5), v=st.floats(0, 5), more=st.floats(1.0, 3.0))
def test_rates_never_fall_with_pressure_or_speed(law, p, v, more):
    rate = float(removal.removal_rate(law, SETS[law], p, v, temperature=310.0))
    assert rate >= 0
    assert float(removal.removal_rate(law, SETS[law], p * more, v, temperature=310.0)) >= rate * (1 - 1e-12)
    assert float(removal.removal_rate(law, SETS[law], p, v * more, temperature=310.0)) >= rate * (1 - 1e-12)


@pytest.mark.parametrize("law", SETS)
def test_coefficients_are_named_and_checked(law):
    names = [c.name for c in LAWS.get(law).coefficients if c.default is None]
    assert set(names) == set(SETS[law])
    for name in names:
        fewer = {k: x for k, x in SETS[law].items() if k != name}
        with pytest.raises(ModelError, match=name):
            removal.removal_rate(law, fewer, 1e4, 1.0, temperature=300.0)
    with pytest.raises(ModelError, match="nonsense"):
        removal.removal_rate(law, {**SETS[law], "nonsense": 1.0}, 1e4, 1.0, temperature=300.0)


def test_refusals():
    with pytest.raises(SetupError, match="must be preston, power"):
        removal.removal_rate("magic", {}, 1.0, 1.0)
    with pytest.raises(ModelError, match="0 or more"):
        removal.removal_rate("preston", SETS["preston"], -1.0, 1.0)
    with pytest.raises(ModelError, match="temperature"):
        removal.removal_rate("two-step", SETS["two-step"], 1e4, 1.0)
    with pytest.raises(ModelError, match="finite"):
        removal.removal_rate("preston", {"k_p": float("nan")}, 1.0, 1.0)
    with pytest.raises(ModelError, match="0 or more"):
        removal.removal_rate("power", {"k": 1.0, "alpha": -1.0, "beta": 1.0}, 1.0, 1.0)
    with pytest.raises(ModelError, match="kelvin"):
        factors.thermal_factor(-5.0, 300.0, 5e4)
    with pytest.raises(ModelError):
        factors.saturating_factor(-1.0, 1.0, 1.0)
    with pytest.raises(ModelError):
        factors.factor_real_pressure(1.0, 0.0)


def test_laws_fall_back_on_preston():
    p, v = np.array([1e3, 2e4]), np.array([0.5, 2.0])
    preston = removal.removal_rate("preston", {"k_p": 2e-13}, p, v)
    for law, c in {
        "power": {"k": 2e-13, "alpha": 1.0, "beta": 1.0},
        "offset": {"k_p": 2e-13, "b": 0.0, "c": 0.0},
        "threshold": {"k_p": 2e-13, "p_threshold": 0.0},
    }.items():
        np.testing.assert_allclose(removal.removal_rate(law, c, p, v), preston, rtol=1e-14)


def test_threshold_is_zero_below_and_continuous_at_it():
    c = SETS["threshold"]
    assert float(removal.removal_rate("threshold", c, 2999.0, 1.0)) == 0.0
    assert float(removal.removal_rate("threshold", c, 3000.001, 1.0)) == pytest.approx(0.0, abs=1e-15)


def test_abrasive_law_at_the_median_and_far_above():
    # At c2 p^(1/3) = 3 the normal share is one half; far above it is 1 and the rate c1 sqrt(p) v + c0.
    c = {"c1": 5e-11, "c2": 0.1, "c0": 1e-11}
    assert float(removal.removal_rate("abrasive", c, 27_000.0, 1.0)) == pytest.approx(
        5e-11 * 0.5 * np.sqrt(27_000.0) + 1e-11, rel=1e-12
    )
    assert float(removal.removal_rate("abrasive", c, 1e6, 1.0)) == pytest.approx(
        5e-11 * 1e3 + 1e-11, rel=1e-9
    )


def test_two_step_limits():
    c = SETS["two-step"]
    chemical = c["molar_volume"] * c["a"] * np.exp(-c["e_a"] / (factors.GAS_CONSTANT * 310.0))
    fast = removal.removal_rate("two-step", {**c, "k_m": 1e6}, 2e4, 1.0, temperature=310.0)
    assert float(fast) == pytest.approx(chemical, rel=1e-9)
    mechanical = c["molar_volume"] * 1e-20 * c["friction"] * 2e4 * 1.3
    slow = removal.removal_rate("two-step", {**c, "k_m": 1e-20}, 2e4, 1.3, temperature=310.0)
    assert float(slow) == pytest.approx(mechanical, rel=1e-9)
    # Preston: rate proportional to p v in that limit.
    twice = removal.removal_rate("two-step", {**c, "k_m": 1e-20}, 4e4, 1.3, temperature=310.0)
    assert float(twice / slow) == pytest.approx(2.0, rel=1e-9)


@given(k1=POSITIVE, k2=POSITIVE)
def test_two_steps_in_series_are_below_each_and_symmetric(k1, k2):
    rate = float(two_step(k1, k2))
    assert min(k1, k2) / 2 * (1 - 1e-12) <= rate <= min(k1, k2)
    assert rate == pytest.approx(k1 * k2 / (k1 + k2), rel=1e-12)
    assert rate == float(two_step(k2, k1))


def test_two_step_of_nothing_and_of_infinity():
    assert float(two_step(0.0, 0.0)) == 0.0
    assert float(two_step(3.0, np.inf)) == 3.0


@given(reference=st.floats(1e-3, 1e3), half=st.floats(1e-3, 1e3))
def test_factors_are_exactly_one_at_their_reference(reference, half):
    assert float(factors.saturating_factor(reference, reference, half)) == 1.0
    assert float(factors.factor_real_pressure(reference, reference)) == 1.0
    assert float(factors.thermal_factor(273.15 + reference, 273.15 + reference, 5e4)) == 1.0


@given(x=st.floats(1e-3, 1), more=st.floats(1.01, 5))
def test_saturating_factor_grows_less_than_in_proportion(x, more):
    one, two = (float(factors.fresh_factor(y, 0.5)) for y in (x, x * more))
    assert one < two < one * more


def test_saturating_factor_limits():
    assert float(factors.abrasive_factor(0.0, 0.05)) == 0.0
    assert float(factors.saturating_factor(3.0, 1.0, 1e12)) == pytest.approx(3.0)
    assert float(factors.saturating_factor(1e12, 1.0, 0.5)) == pytest.approx(1.5)


def test_thermal_factor_off_and_on():
    assert float(factors.thermal_factor(350.0, 300.0, 0.0)) == 1.0
    assert float(factors.thermal_factor(310.0, 300.0, 5e4)) == pytest.approx(
        np.exp(5e4 / 8.31446261815324 * (1 / 300 - 1 / 310)), rel=1e-14
    )


def test_real_pressure_derivation_by_counting_particles():
    """p sqrt(p_real): count the particles on the real area, load each, remove as load^(3/2)."""
    p, cover, size = 2e4, 1e12, 50e-9
    total = []
    for p_real in (10e6, 20e6):
        number = cover * p / p_real
        force = p_real * np.pi * size**2 / 4
        total.append(number * force**1.5)
    assert total[1] / total[0] == pytest.approx(float(factors.factor_real_pressure(20e6, 10e6)), rel=1e-12)


@given(content=st.floats(0, 0.5), reference=st.floats(1e-6, 0.5), half=st.floats(1e-4, 10))
def test_what_is_dissolved_is_one_at_its_reference_and_has_its_sign(content, reference, half):
    assert factors.dissolved_factor() == 1.0
    assert factors.dissolved_factor((reference, reference, half), (reference, reference, half)) == 1.0
    fed = factors.dissolved_factor((content, reference, half))
    covered = factors.dissolved_factor(inhibitor=(content, reference, half))
    assert (fed >= 1) == (content >= reference)
    assert (covered <= 1) == (content >= reference)
    assert fed <= 1 + half / reference  # all sites filled


def test_what_is_dissolved_acts_on_purely_chemical_terms_alone():
    for law, c in SETS.items():
        slow, usual = (
            float(removal.removal_rate(law, c, 2e4, 1.0, temperature=310.0, dissolved=each))
            for each in (0.5, 1.0)
        )
        kinds = {term.kind for term in LAWS.get(law).terms}
        assert (slow < usual) == ("chemical" in kinds) == LAWS.get(law).chemical, law
    c = SETS["offset"]
    left = float(removal.removal_rate("offset", c, 2e4, 1.0, dissolved=0.0))
    assert left == pytest.approx(c["k_p"] * 2e4)
    half = removal.removal_rate("two-step", SETS["two-step"], 2e4, 1.0, temperature=310.0, dissolved=0.5)
    same = removal.removal_rate("two-step", SETS["two-step"], 2e4, 1.0, temperature=310.0, chemical=0.5)
    assert float(half) == float(same)


def test_dissolved_refusals():
    with pytest.raises(ModelError, match="above 0 where the slurry holds an oxidiser"):
        factors.dissolved_factor((0.02, 0.0, 0.018))
    with pytest.raises(ModelError, match="half contents above 0"):
        factors.dissolved_factor(inhibitor=(0.0, 0.0, 0.0))
    with pytest.raises(ModelError, match="contents of 0 or more"):
        factors.dissolved_factor(inhibitor=(-0.1, 0.0, 0.1))
