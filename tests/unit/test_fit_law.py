"""Laws fitted to rates: what went in comes out, and what cannot be told is said."""

from __future__ import annotations

import numpy as np
import pytest

from planish.errors import FitError, SetupError
from planish.fit.law import fit_law
from planish.physics.removal.laws import removal_rate

P, V = (each.ravel() for each in np.meshgrid(np.array([1.0, 2.0, 3.0, 4.0, 6.0]) * 6895.0, [0.5, 1.0, 1.6]))
TRUE = {
    "preston": {"k_p": 2e-13},
    "power": {"k": 1e-12, "alpha": 0.85, "beta": 0.7},
    "offset": {"k_p": 2e-13, "b": 1e-10, "c": 5e-11},
    "threshold": {"k_p": 2e-13, "p_threshold": 3000.0, "beta": 1.0},
}


@pytest.mark.parametrize("law", TRUE)
def test_what_went_in_comes_out(law):
    rates = removal_rate(law, TRUE[law], P, V)
    found = fit_law(law, P, V, rates)
    assert found.misfit < 1e-6
    for name, value in found.coefficients.items():
        assert value == pytest.approx(TRUE[law][name], rel=1e-3)
    np.testing.assert_allclose(found.rate(P, V), rates, rtol=1e-5)


def test_errors_hold_the_truth_about_as_often_as_they_should():
    rng = np.random.default_rng(5)
    rates, inside = removal_rate("power", TRUE["power"], P, V), 0
    for _ in range(60):
        found = fit_law("power", P, V, rates * (1 + 0.03 * rng.standard_normal(P.size)))
        inside += abs(found.coefficients["alpha"] - 0.85) < 2 * found.errors["alpha"]
    assert 50 <= inside <= 60


def test_a_usual_coefficient_is_held_unless_asked_for():
    rates = removal_rate("threshold", {**TRUE["threshold"], "beta": 1.4}, P, V)
    assert set(fit_law("threshold", P, V, rates).coefficients) == {"k_p", "p_threshold"}
    free = fit_law("threshold", P, V, rates, held={"beta": None})
    assert free.coefficients["beta"] == pytest.approx(1.4, rel=1e-3)
    assert free.misfit < 1e-5


def test_as_many_rates_as_coefficients_say_nothing_of_the_law():
    found = fit_law("power", P[:3], V[:3] * [1, 1.3, 1.9], [1e-9, 2e-9, 3e-9])
    assert "whatever it is" in found.notes[0]
    assert all(np.isnan(error) for error in found.errors.values())


def test_refusals():
    with pytest.raises(FitError, match="one for each"):
        fit_law("power", [1e4], [1.0], [1e-9])
    with pytest.raises(FitError, match="above 0"):
        fit_law("preston", [1e4], [1.0], [0.0])
    with pytest.raises(SetupError):
        fit_law("magic", [1e4], [1.0], [1e-9])
