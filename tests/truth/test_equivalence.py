"""Tests of equivalence against published power, noncentral t of a reference library, and simulation.

Published: the worked example of a statistics package's documentation (one sample against a target: sd 0.332, margins 0.42,
alpha 0.05; power 0.805075, 0.834590, 0.811465, 0.802154 with 7, 9, 16, 49 rows at differences 0, 0.1, 0.2, 0.3), and of
another one's users' forum (two samples of 69, sd 0.4, margins 0.223, difference 0.05: 0.80179614325271). Both are differences of
two noncentral t probabilities, a lower bound of the exact power that is near it where the power is large.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import nct, t, ttest_ind

import planish
from planish.hold.qualify.power import equivalence_power, equivalence_rows

PUBLISHED = [(0.0, 7, 0.805075), (0.1, 9, 0.834590), (0.2, 16, 0.811465), (0.3, 49, 0.802154)]


def bound(rows, sd, margin, difference, samples):
    """The difference of two noncentral t probabilities, by SciPy."""
    degrees = samples * (rows - 1)
    error = sd * np.sqrt(samples / rows)
    critical = t.ppf(0.95, degrees)
    return nct.cdf(-critical, degrees, (difference - margin) / error) - nct.cdf(
        critical, degrees, (difference + margin) / error
    )


@pytest.mark.parametrize(("difference", "rows", "published"), PUBLISHED)
def test_the_published_example(difference, rows, published):
    assert bound(rows, 0.332, 0.42, difference, 1) == pytest.approx(published, abs=1e-6)
    exact = equivalence_power(rows, 0.332, -0.42, 0.42, difference, samples=1)
    assert published - 1e-6 <= exact <= published + 0.0015
    if rows > 10:
        assert exact == pytest.approx(published, abs=1e-6)
    assert equivalence_rows(0.332, -0.42, 0.42, 0.8, difference, samples=1).rows == rows


def test_two_samples_as_published():
    found = equivalence_power(69, 0.4, -0.223, 0.223, 0.05)
    assert found == pytest.approx(0.80179614325271, abs=1e-12)
    assert equivalence_rows(0.4, -0.223, 0.223, 0.8, 0.05).rows == 69


@pytest.mark.parametrize("samples", [1, 2])
@pytest.mark.parametrize("alpha", [0.01, 0.05])
def test_large_power_is_the_difference_of_noncentral_t(samples, alpha):
    for rows in (20, 40, 200):
        degrees, error = samples * (rows - 1), np.sqrt(samples / rows)
        critical = t.ppf(1 - alpha, degrees)
        # Margins so wide that the interval is never too broad for them.
        margin = 9 * error
        known = 1 - nct.cdf(critical, degrees, margin / error) * 2
        assert equivalence_power(rows, 1.0, -margin, margin, 0.0, alpha, samples) == pytest.approx(
            known, abs=1e-8
        )


@pytest.mark.parametrize(("rows", "margin", "difference"), [(3, 1.2, 0.0), (5, 1.0, 0.3), (12, 0.6, 0.0)])
def test_small_power_is_that_of_simulated_tests(rows, margin, difference):
    """Where the lower bound fails: 200,000 pairs of samples, judged by their own intervals."""
    rng = np.random.default_rng(8)
    old, new = rng.normal(0, 1, (200_000, rows)), rng.normal(difference, 1, (200_000, rows))
    means = new.mean(1) - old.mean(1)
    error = np.sqrt((old.var(1, ddof=1) + new.var(1, ddof=1)) / 2 * 2 / rows)
    shown = np.abs(means) + t.ppf(0.95, 2 * rows - 2) * error <= margin
    scatter = np.sqrt(shown.mean() * (1 - shown.mean()) / shown.size)
    assert equivalence_power(rows, 1.0, -margin, margin, difference) == pytest.approx(
        shown.mean(), abs=4.5 * scatter + 1e-5
    )


def test_at_the_margin_no_more_than_alpha():
    """The size of the test: a part at the margin is called equivalent with chance alpha at most, near it for many rows."""
    for rows in (3, 10, 100):
        assert equivalence_power(rows, 1.0, -0.8, 0.8, 0.8 - 1e-12) <= 0.05 + 1e-9
    assert equivalence_power(2000, 1.0, -0.8, 0.8, 0.8 - 1e-12) == pytest.approx(0.05, abs=1e-8)


@pytest.mark.parametrize("unequal", [False, True])
def test_the_two_tests_are_those_of_a_reference_library(unequal):
    rng = np.random.default_rng(2)
    old, new = rng.normal(250, 4, 14), rng.normal(252, 7, 9)
    data = {"rate": [*old, *new], "pad": ["A"] * 14 + ["B"] * 9}
    found = planish.hold_equivalence(data, "rate", "pad", "A", "B", 6.0, unequal=unequal)
    above = ttest_ind(new + 6.0, old, equal_var=not unequal, alternative="greater")
    below = ttest_ind(new - 6.0, old, equal_var=not unequal, alternative="less")
    assert found.chances == pytest.approx((above.pvalue, below.pvalue), rel=1e-10)
    interval = ttest_ind(new, old, equal_var=not unequal).confidence_interval(0.90)
    assert found.interval == pytest.approx((interval.low, interval.high), rel=1e-10)
    # The tests reject where the interval lies within the margins: the same thing said twice.
    assert found.shown == (found.interval[0] >= -6.0 and found.interval[1] <= 6.0)
