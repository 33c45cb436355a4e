"""Film stacks: the bookkeeping of what is exposed where, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planish.predict.wafer.films import cumulative, polish_stack, time_of, value_at


def test_one_film_at_constant_rate_clears_when_thickness_over_rate() -> None:
    times = np.linspace(0, 60, 7)
    rates = np.tile(np.array([1e-9, 2e-9, 0.1e-9]), (7, 1))
    removed, cleared = polish_stack(np.full((1, 3), 30e-9), [cumulative(times, rates)], times)
    np.testing.assert_allclose(cleared[0, :2], [30.0, 15.0], rtol=1e-12)
    assert np.isinf(cleared[0, 2])
    np.testing.assert_allclose(removed[0, -1], [30e-9, 30e-9, 6e-9], rtol=1e-12)


def test_second_film_starts_where_the_first_is_gone() -> None:
    times = np.linspace(0, 100, 11)
    fast, slow = np.full((11, 1), 2e-9), np.full((11, 1), 0.5e-9)
    curves = [cumulative(times, fast), cumulative(times, slow)]
    removed, cleared = polish_stack(np.array([[100e-9], [1e-6]]), curves, times)
    assert cleared[0, 0] == pytest.approx(50.0)
    assert removed[1, -1, 0] == pytest.approx(25e-9)  # 50 s at 0.5 nm/s


def test_time_of_inverts_value_at() -> None:
    times = np.linspace(0, 10, 9)
    curve = np.cumsum(np.random.default_rng(3).uniform(0.1, 1, (9, 5)), axis=0)
    curve -= curve[0]
    when = np.array([0.0, 1.3, 5.0, 9.9, 10.0])
    np.testing.assert_allclose(
        time_of(curve, times, value_at(curve, times, when)), when, rtol=1e-12, atol=1e-12
    )


@given(
    st.lists(st.floats(1e-9, 1e-6), min_size=1, max_size=4),
    st.floats(1e-10, 1e-7),
    st.floats(1.0, 500.0),
)
def test_never_takes_more_than_there_is_and_never_puts_back(
    thick: list[float], rate: float, duration: float
) -> None:
    times = np.linspace(0, duration, 12)
    curves = [cumulative(times, np.full((12, 1), rate * (1 + i))) for i in range(len(thick))]
    start = np.array(thick)[:, None]
    removed, cleared = polish_stack(start, curves, times)
    assert np.all(removed >= 0)
    assert np.all(removed <= start[:, None, :] * (1 + 1e-12))
    assert np.all(np.diff(removed, axis=1) >= -1e-18)
    assert np.all(np.diff(np.nan_to_num(cleared, posinf=1e9), axis=0) >= 0)
