"""Fitted numbers, their errors and the scatter held against certified values and closed forms.

Sources: NIST StRD, nonlinear regression, data set Misra1a with certified values (from memory); the dyestuff data of
Davies 1947, "Statistical Methods in Research and Production", with the restricted-maximum-likelihood variances that
textbooks give of them (from memory); ordinary least squares in closed form; a normal density.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest
from scipy.stats import t as student

from planish.fit.calibrate.doubt import intervals
from planish.fit.calibrate.model import Model
from planish.fit.calibrate.observed import Observed
from planish.fit.calibrate.parameters import Parameter
from planish.fit.calibrate.sample import sample, walk
from planish.fit.calibrate.scatter import Scatter, layout
from planish.fit.calibrate.solve import Problem, solve
from planish.fit.calibrate.told import untold

#: NIST StRD Misra1a: y, x; certified b1, b2, their standard deviations, residual sum of squares.
MISRA = np.array([
    (10.07, 77.6), (14.73, 114.9), (17.94, 141.1), (23.93, 190.8), (29.61, 239.9), (35.18, 289.0), (40.02, 332.8),
    (44.82, 378.4), (50.76, 434.8), (55.05, 477.3), (61.01, 536.8), (66.40, 593.1), (75.47, 689.1), (81.78, 760.0),
])  # fmt: skip
CERTIFIED = (238.94212918, 5.5015643181e-4, 2.7070075241, 7.2668688436e-6, 1.2455138894e-1)
#: Davies 1947: yield of dyestuff [g], six batches of five samples; REML variances between and within, error of the mean.
DYESTUFF = np.array([
    (1545, 1440, 1440, 1520, 1580), (1540, 1555, 1490, 1560, 1495), (1595, 1550, 1605, 1510, 1560),
    (1445, 1440, 1595, 1465, 1545), (1595, 1630, 1515, 1635, 1625), (1520, 1455, 1450, 1480, 1445),
], dtype=float)  # fmt: skip
BETWEEN, WITHIN, MEAN, ERROR = 1764.05, 2451.25, 1527.5, 19.383


@dataclass(frozen=True)
class Numbers:
    """Stands for a setup: what the free numbers are."""

    name: str = "numbers"
    values: dict[str, Any] = field(default_factory=dict)

    def replace(self, changes: dict[str, Any]) -> Numbers:
        return Numbers(self.name, {**self.values, **changes})


def free(name: str, start: float, low: float, high: float, *, log: bool = False, known: float | None = None):
    loose = 1.0 if log else 0.1 * (high - low)
    return Parameter(name, name, "number", "", start, low, high, log, known, loose, "", {})


def data(values, predict, *, sd=0.0, groups=None, name="set", kind="rate"):
    values = np.asarray(values, dtype=float)
    places = np.arange(values.size) if groups is None else np.asarray(groups)
    return Observed(name, kind, values, np.full(values.size, sd), "1", places, predict, (), (), {})


def fitted(observed, parameters, *, loss="linear", priors=False, starts=1, level=0.9):
    model = Model(Numbers(), tuple(observed), tuple(parameters))
    where = layout(observed)
    found = solve(model, where, priors, loss, starts)
    scatter = Scatter(where, found.scatter.shares, found.scatter.widened, np.ones(where.kind.size))
    problem = Problem(model, where, found.precision, loss, scatter)
    return problem, found, intervals(problem, found, level)


def misra(numbers):
    return numbers.values["b1"] * (1.0 - np.exp(-numbers.values["b2"] * MISRA[:, 1]))


@pytest.mark.parametrize("start", [(500.0, 1e-4), (250.0, 5e-4)])  # the two starts that NIST gives
def test_certified_nonlinear_regression(start):
    numbers = [free("b1", start[0], 1.0, 1e4, log=True), free("b2", start[1], 1e-6, 1.0, log=True)]
    _, found, _ = fitted([data(MISRA[:, 0], misra)], numbers)
    b1, b2, e1, e2, squares = CERTIFIED
    assert np.exp(found.point) == pytest.approx([b1, b2], rel=1e-5)
    assert np.sum((found.predicted - MISRA[:, 0]) ** 2) == pytest.approx(squares, rel=1e-6)
    errors = np.sqrt(np.diag(found.estimated.covariance))
    assert errors == pytest.approx([e1 / b1, e2 / b2], rel=2e-3)  # of logarithms, to first order
    assert found.estimated.freedom == pytest.approx([12.0, 12.0], rel=1e-2)


def test_batches_err_together_as_textbooks_have_it():
    values = DYESTUFF.ravel()
    groups = np.repeat(np.arange(6), 5)
    _, found, ends = fitted(
        [data(values, lambda numbers: np.full(30, numbers.values["mean"]), groups=groups)],
        [free("mean", 1500.0, 1000.0, 2000.0)],
    )
    scatter = found.scatter
    size = scatter.where.size[0]
    assert (scatter.shares[0, 1] * size) ** 2 == pytest.approx(BETWEEN, rel=2e-3)
    assert (scatter.shares[0, 0] * size) ** 2 == pytest.approx(WITHIN, rel=2e-3)
    assert found.point[0] == pytest.approx(MEAN, rel=1e-7)
    assert np.sqrt(found.estimated.covariance[0, 0]) == pytest.approx(ERROR, rel=2e-3)
    # Balanced: the mean square between batches has five degrees of freedom, exactly.
    assert found.estimated.freedom[0] == pytest.approx(5.0, rel=2e-2)
    half = student.ppf(0.95, 5) * ERROR
    assert (ends[0].low, ends[0].high) == pytest.approx((MEAN - half, MEAN + half), rel=2e-3)


@pytest.mark.parametrize("known", [True, False])
def test_straight_line_in_closed_form(known):
    rng = np.random.default_rng(5)
    x = np.linspace(0.0, 1.0, 15)
    y = 3.0 + 2.0 * x + 0.05 * rng.standard_normal(15)
    design = np.column_stack([np.ones(15), x])
    best, left, *_ = np.linalg.lstsq(design, y, rcond=None)
    variance = 0.05**2 if known else float(left[0]) / 13
    covariance = variance * np.linalg.inv(design.T @ design)
    numbers = [free("a", 1.0, -10.0, 10.0), free("b", 1.0, -10.0, 10.0)]
    observed = data(y, lambda n: n.values["a"] + n.values["b"] * x, sd=0.05 if known else 0.0)
    _, found, ends = fitted([observed], numbers)
    assert found.point == pytest.approx(best, rel=1e-6)
    assert found.estimated.covariance == pytest.approx(covariance, rel=5e-3)
    quantile = student.ppf(0.95, 1e6 if known else 13)
    half = quantile * np.sqrt(np.diag(covariance))
    assert [each.low for each in ends] == pytest.approx(best - half, rel=5e-3)
    assert [each.high for each in ends] == pytest.approx(best + half, rel=5e-3)
    assert not any(each.profiled for each in ends)


def test_what_is_known_before_counts_as_in_closed_form():
    """Normal mean with a normal prior: precisions add, means weigh by them."""
    observed = data([10.0, 12.0, 11.0, 13.0], lambda n: np.full(4, n.values["mean"]), sd=2.0)
    _, found, _ = fitted([observed], [free("mean", 8.0, -50.0, 50.0, known=0.5)], priors=True)
    precision = 4 / 2.0**2 + 1 / 0.5**2
    assert found.point[0] == pytest.approx((4 / 2.0**2 * 11.5 + 8.0 / 0.5**2) / precision, rel=1e-6)
    assert found.estimated.covariance[0, 0] == pytest.approx(1 / precision, rel=1e-6)


def test_profile_where_the_interval_is_not_straight():
    """y = exp(a) measured as 1 +- 0.4: a lies between the logarithms of the ends of y, which are not straight."""
    observed = data([1.0], lambda n: np.array([np.exp(n.values["a"])]), sd=0.4)
    _, _, ends = fitted([observed], [free("a", 0.1, -5.0, 5.0)])
    quantile = student.ppf(0.95, 1e6)
    assert ends[0].profiled
    assert ends[0].high == pytest.approx(np.log(1 + 0.4 * quantile), rel=0.03)
    assert ends[0].low == pytest.approx(np.log(1 - 0.4 * quantile), rel=0.05)


def test_an_interval_without_an_end_says_so():
    """y = exp(a) measured as 0.1 +- 0.4: every small enough a is allowed."""
    observed = data([0.1], lambda n: np.array([np.exp(n.values["a"])]), sd=0.4)
    problem, found, ends = fitted([observed], [free("a", -1.0, -9.0, 5.0)])
    assert ends[0].open_low
    assert not ends[0].open_high
    assert "downwards" in untold(problem, found, ends)[0].words


def test_one_outlier_moves_a_robust_fit_little():
    rng = np.random.default_rng(1)
    values = 5.0 + 0.05 * rng.standard_normal(20)
    values[3] = 8.0
    observed = data(values, lambda n: np.full(20, n.values["mean"]))
    _, robust, _ = fitted([observed], [free("mean", 4.0, 0.0, 20.0)], loss="huber")
    _, plain, _ = fitted([observed], [free("mean", 4.0, 0.0, 20.0)])
    assert abs(robust.point[0] - 5.0) < 0.03
    assert plain.point[0] == pytest.approx(values.mean(), rel=1e-6)
    assert robust.scatter.weights[3] < 0.1


def test_stated_errors_that_the_misfit_belies_are_widened():
    rng = np.random.default_rng(2)
    values = 5.0 + 0.5 * rng.standard_normal(40)
    observed = data(values, lambda n: np.full(40, n.values["mean"]), sd=0.1)
    _, found, _ = fitted([observed], [free("mean", 4.0, 0.0, 20.0)])
    error = np.sqrt(found.estimated.covariance[0, 0])
    assert error == pytest.approx(values.std(ddof=1) / np.sqrt(40), rel=1e-3)
    assert "stated errors" in found.said[0]


def test_several_minima_are_searched():
    """y = (a^2 - 4)^2 + a at 0.1 steps has two dales; the search begins in the wrong one."""
    observed = data([2.0, 0.0], lambda n: np.array([n.values["a"], (n.values["a"] ** 2 - 4.0) ** 2]), sd=0.1)
    _, alone, _ = fitted([observed], [free("a", -2.1, -12.0, 12.0)])
    _, several, _ = fitted([observed], [free("a", -2.1, -12.0, 12.0)], starts=8)
    assert alone.point[0] == pytest.approx(-2.0, abs=0.3)
    assert several.point[0] == pytest.approx(2.0, abs=1e-3)


def test_walkers_find_a_normal_density():
    rng = np.random.default_rng(0)
    covariance = np.array([[1.0, 0.9], [0.9, 1.0]])
    inverse = np.linalg.inv(covariance)
    chain, taken = walk(lambda x: -0.5 * float(x @ inverse @ x), rng.standard_normal((24, 2)), 2000, rng)
    draws = chain[300:].reshape(-1, 2)
    assert np.cov(draws.T) == pytest.approx(covariance, abs=0.12)
    assert draws.mean(axis=0) == pytest.approx([0.0, 0.0], abs=0.1)
    assert 0.5 < taken < 0.9


def test_draws_of_a_straight_line_are_students():
    """With a density of the error flat in its logarithm the numbers are Student's: Box & Tiao 1973 (from memory)."""
    rng = np.random.default_rng(5)
    x = np.linspace(0.0, 1.0, 10)
    y = 3.0 + 2.0 * x + 0.05 * rng.standard_normal(10)
    numbers = [free("a", 1.0, -10.0, 10.0), free("b", 1.0, -10.0, 10.0)]
    problem, found, ends = fitted([data(y, lambda n: n.values["a"] + n.values["b"] * x)], numbers)
    drawn = sample(problem, found, 0.9, 800, seed=1)
    assert drawn.off < 1e-6  # a line is a quadratic
    for row, each in zip(drawn.rows(numbers), ends, strict=True):
        width = each.high - each.low
        assert row["low"] == pytest.approx(each.low, abs=0.15 * width)
        assert row["high"] == pytest.approx(each.high, abs=0.15 * width)
    again = sample(problem, found, 0.9, 800, seed=1)
    assert np.array_equal(again.draws, drawn.draws)


def test_quadratics_that_do_not_hold_are_told():
    # exp(a) over four standard errors either way, a factor of 300, is no quadratic
    observed = data([1.0], lambda n: np.array([np.exp(n.values["a"])]), sd=0.7)
    problem, found, _ = fitted([observed], [free("a", 0.1, -9.0, 5.0)])
    drawn = sample(problem, found, 0.9, 200, seed=1)
    assert any("not good enough" in line for line in drawn.said)


def test_only_a_product_is_told():
    x = np.linspace(1.0, 2.0, 8)
    numbers = [free("a", 2.0, 0.1, 50.0, log=True, known=0.3), free("b", 3.0, 0.1, 50.0, log=True, known=0.3)]
    observed = data(6.6 * x, lambda n: n.values["a"] * n.values["b"] * x, sd=0.01)
    problem, found, ends = fitted([observed], numbers, priors=True)
    (one,) = untold(problem, found, ends)
    assert "only the product" in one.words
    assert set(one.paths) == {"a", "b"}
    assert not np.isfinite(one.doubt)
    assert np.exp(found.point.sum()) == pytest.approx(6.6, rel=1e-3)
    # Along it, nothing is learned: what is left is what was known, shared by both.
    assert np.sqrt(np.diag(found.estimated.covariance)) == pytest.approx([0.3 / np.sqrt(2)] * 2, rel=1e-2)


def test_only_a_quotient_is_told():
    x = np.linspace(1.0, 2.0, 8)
    numbers = [free("a", 2.0, 0.1, 50.0, log=True, known=0.3), free("b", 3.0, 0.1, 50.0, log=True, known=0.3)]
    observed = data(0.7 * x, lambda n: n.values["a"] / n.values["b"] * x, sd=0.01)
    problem, found, ends = fitted([observed], numbers, priors=True)
    assert "only the quotient" in untold(problem, found, ends)[0].words
