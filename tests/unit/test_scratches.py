"""Scratch index: 1 at its reference, product of its factors, grows with what scratches."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planish.errors import ModelError
from planish.physics.scratches import ScratchReference, critical_load, scratch_index

REFERENCE = ScratchReference(
    real_pressure=15e6,
    large_count=2e11,
    large_size=0.5e-6,
    pad_modulus=300e6,
    shedding=0.3,
    sliding_distance=90.0,
)


def test_exactly_one_at_the_reference():
    result = scratch_index(REFERENCE)
    assert float(result.value) == 1.0
    assert all(float(f) == 1.0 for f in result.factors.values())
    given = scratch_index(
        REFERENCE,
        real_pressure=15e6,
        large_count=2e11,
        large_size=0.5e-6,
        pad_modulus=300e6,
        shedding=0.3,
        sliding_distance=90.0,
        critical_load=1.0,
    )
    assert float(given.value) == 1.0


@given(more=st.floats(1.001, 10))
def test_each_cause_raises_the_index(more):
    for key, value in {
        "real_pressure": 15e6,
        "large_count": 2e11,
        "large_size": 0.5e-6,
        "pad_modulus": 300e6,
        "sliding_distance": 90.0,
    }.items():
        assert float(scratch_index(REFERENCE, **{key: value * more}).value) > 1
        assert float(scratch_index(REFERENCE, **{key: value / more}).value) < 1
    assert float(scratch_index(REFERENCE, critical_load=more).value) < 1
    assert float(scratch_index(REFERENCE, shedding=0.3 / more).value) < 1


def test_index_is_the_product_of_its_factors_and_broadcasts():
    result = scratch_index(REFERENCE, real_pressure=np.array([1e7, 2e7, 3e7]), shedding=0.0, large_count=1e11)
    assert result.value.shape == (3,)
    product = 1.0
    for factor in result.factors.values():
        product = product * factor
    np.testing.assert_allclose(result.value, product, rtol=1e-14)
    # No shedding against a reference of 0.3, half the slurry's large particles: 0.5/1.3.
    assert float(result.factors["large particles"]) == pytest.approx(0.5 / 1.3)


def test_number_of_marking_grains_by_drawing_them():
    """The power law against a seeded draw of grain sizes from the tail, loads compared with a critical one."""
    rng = np.random.default_rng(7)
    n, smallest = 3.0, 0.5e-6
    sizes = smallest * rng.random(400_000) ** (-1 / n)
    f_star = 15e6 * np.pi * (2 * smallest) ** 2 / 4

    def marking(pressure):
        return np.count_nonzero(pressure * np.pi * sizes**2 / 4 > f_star)

    base, high = marking(15e6), marking(30e6)
    expected = float(scratch_index(REFERENCE, real_pressure=30e6, tail_exponent=n, pad_share=0.0).value)
    sigma = np.sqrt(1 / base + 1 / high)
    assert abs(high / base / expected - 1) < 4 * sigma


def test_critical_load_in_ratio():
    assert float(critical_load(0.75e6, 9e9) / critical_load(0.75e6, 4.5e9)) == pytest.approx(1 / 8)


def test_refusals():
    with pytest.raises(ModelError, match="shedding"):
        scratch_index(REFERENCE, shedding=-0.1)
    with pytest.raises(ModelError, match="real pressure"):
        scratch_index(REFERENCE, real_pressure=-1.0)
    with pytest.raises(ModelError, match="pad share"):
        scratch_index(REFERENCE, pad_share=2.0)
    with pytest.raises(ModelError, match=r"tail exponent = 0.0: must be above 0"):
        scratch_index(REFERENCE, tail_exponent=0.0)
    with pytest.raises(ModelError, match="critical load"):
        scratch_index(REFERENCE, critical_load=0.0)
    with pytest.raises(ModelError):
        critical_load(0.0, 1.0)
    with pytest.raises(ModelError, match="pad modulus"):
        scratch_index(ScratchReference(1.0, 1.0, 1.0, 0.0))
