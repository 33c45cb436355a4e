"""Nested variance against the NIST/SEMATECH e-Handbook of Statistical Methods, section 3.5.1.4.

Furnace oxide, 21 runs x 4 locations x 2 wafers. The page prints the analysis
of variance and the components. The raw thicknesses are not used here: data
are made with the page's sums of squares (any such data have its table). The
page rounds them; 61442.2857, 36014.5 and 10155 are the values inside that
rounding which give every digit of its components.
Page: itl.nist.gov/div898/handbook/ppc/section5/ppc514.htm
"""

from __future__ import annotations

import numpy as np
import pytest

from planish.measure.nested import nested_variance

RUNS, PLACES, WAFERS = 21, 4, 2
SS = {"run": 61442.2857, "location": 36014.5, "within": 10155.0}


@pytest.fixture(scope="module")
def furnace():
    rng = np.random.default_rng(7)
    run = rng.normal(size=(RUNS, 1, 1))
    place = rng.normal(size=(RUNS, PLACES, 1))
    wafer = rng.normal(size=(RUNS, PLACES, WAFERS))
    run -= run.mean()
    place -= place.mean(axis=1, keepdims=True)
    wafer -= wafer.mean(axis=2, keepdims=True)
    run *= np.sqrt(SS["run"] / (PLACES * WAFERS * (run**2).sum()))
    place *= np.sqrt(SS["location"] / (WAFERS * (place**2).sum()))
    wafer *= np.sqrt(SS["within"] / (wafer**2).sum())
    y = (560 + run + place + wafer).ravel()
    i, j, _ = np.indices((RUNS, PLACES, WAFERS)).reshape(3, -1)
    return nested_variance({"run": i, "location": j}, y)


def test_degrees_of_freedom_and_squares_as_printed(furnace):
    assert [c.level for c in furnace.components] == ["run", "location", "within"]
    assert [c.df for c in furnace.components] == [20, 63, 84]
    assert [round(c.sum_of_squares, 2) for c in furnace.components] == [61442.29, 36014.5, 10155.0]
    assert [round(c.mean_square, k) for c, k in zip(furnace.components, (2, 3, 3), strict=True)] == [
        3072.11,
        571.659,
        120.893,
    ]


def test_components_to_every_printed_digit(furnace):
    assert [round(c.variance, 5) for c in furnace.components] == [312.55694, 225.38294, 120.89286]
    assert [round(c.percent, 2) for c in furnace.components] == [47.44, 34.21, 18.35]
    assert [round(c.sd, 3) for c in furnace.components] == [17.679, 15.013, 10.995]


def test_f_ratios_as_printed(furnace):
    run, place, within = furnace.components
    assert round(run.f, 5) == 5.37404
    assert round(place.f, 5) == 4.72864
    assert round(run.p, 7) == 0.0000001
    assert float(f"{place.p:.2e}") == 3.85e-11
    assert within.f is None
