"""Capability, tolerance intervals and gauge studies against worked examples.

NIST/SEMATECH e-Handbook, 6.1.6 and 7.2.6.3; the gauge study of the *Measurement Systems Analysis* reference manual, 4th
edition, figure III-B 15, with its analysis of variance (read as quoted in tests that check quality charts); 2.6.1 and 2.6.3
(read as quoted in R code of that handbook); Odeh & Owen 1980, table 3.4.1 (read as quoted in the help of the spc package);
*Quality Digest*, May 2000, itself: a Cpk of 1.15 of 45 samples lies between 0.89 and 1.41 at 95 %.
"""

from __future__ import annotations

import numpy as np
import pytest

import planish
from planish.hold.capability import tolerance_factor

ODEH_OWEN = {2: 36.519, 3: 9.789, 4: 6.341, 5: 5.077, 6: 4.422, 7: 4.020, 8: 3.746, 9: 3.546, 10: 3.393}
STUDY = {
    "A": ("0.29 -0.56 1.34 0.47 -0.80 0.02 0.59 -0.31 2.26 -1.36", "0.41 -0.68 1.17 0.50 -0.92 -0.11 0.75 -0.20 1.99 -1.25",
          "0.64 -0.58 1.27 0.64 -0.84 -0.21 0.66 -0.17 2.01 -1.31"),
    "B": ("0.08 -0.47 1.19 0.01 -0.56 -0.20 0.47 -0.63 1.80 -1.68", "0.25 -1.22 0.94 1.03 -1.20 0.22 0.55 0.08 2.12 -1.62",
          "0.07 -0.68 1.34 0.20 -1.28 0.06 0.83 -0.34 2.19 -1.50"),
    "C": ("0.04 -1.38 0.88 0.14 -1.46 -0.29 0.02 -0.46 1.77 -1.49", "-0.11 -1.13 1.09 0.20 -1.07 -0.67 0.01 -0.56 1.45 -1.77",
          "-0.15 -0.96 0.67 0.11 -1.45 -0.49 0.21 -0.49 1.87 -2.16"),
}  # fmt: skip
# mean square, by the manual's analysis of variance
MEAN_SQUARES = {"part": 9.81799, "appraiser": 1.58363, "part x appraiser": 0.01994, "repeatability": 0.04598}
SUMS = {"part": 88.3619, "appraiser": 3.1673, "part x appraiser": 0.3590, "repeatability": 2.7589}
# pooled: variance, standard deviation, % of variance, % of spread, % of a tolerance of 8
POOLED = {
    "gauge": (0.09143, 0.30237, 7.76, 27.86, 22.68),
    "repeatability": (0.03997, 0.19993, 3.39, 18.42, None),
    "reproducibility": (0.05146, 0.22684, 4.37, 20.90, None),
    "part": (1.08645, 1.04233, 92.24, 96.04, 78.17),
    "total": (1.17788, 1.08530, 100.0, 100.0, None),
}


def standardized(mean, sd, count, seed=1):
    z = np.random.default_rng(seed).standard_normal(count)
    return mean + sd * (z - z.mean()) / z.std(ddof=1)


def study():
    rows = [
        (by, part, float(value))
        for by, trials in STUDY.items()
        for trial in trials
        for part, value in enumerate(trial.split(), 1)
    ]
    by, part, value = zip(*rows, strict=True)
    return {"appraiser": list(by), "part": list(part), "y": list(value)}


def test_capability():
    """6.1.6: limits 8 and 20, mean 16, s 2: Cp 1.0, Cpk 0.6667."""
    found = planish.hold_capability({"x": standardized(16.0, 2.0, 50)}, "x", 8.0, 20.0).summary()
    assert found["pp"] == pytest.approx(1.0, abs=1e-12)
    assert found["ppk"] == pytest.approx(0.6667, abs=5.1e-5)
    # Its interval: 1.96 sqrt(1/(9 n) + Cpk^2/(2 (n - 1))).
    half = 1.959964 * np.sqrt(1 / 450 + (2 / 3) ** 2 / 98)
    assert (found["ppk_low"], found["ppk_high"]) == pytest.approx((2 / 3 - half, 2 / 3 + half), abs=1e-6)
    from scipy.stats import chi2

    assert found["pp_low"] == pytest.approx(np.sqrt(chi2.ppf(0.025, 49) / 49))
    assert found["pp_high"] == pytest.approx(np.sqrt(chi2.ppf(0.975, 49) / 49))


def test_interval_of_a_cpk():
    """Cpk 1.15 of 45 samples: 0.89 to 1.41."""
    found = planish.hold_capability({"x": standardized(0.0, 1.0, 45)}, "x", None, 3.45).summary()
    assert (found["ppk"], found["ppk_low"], found["ppk_high"]) == pytest.approx(
        (1.15, 0.89, 1.41), abs=5.1e-3
    )


@pytest.mark.parametrize(("count", "printed"), ODEH_OWEN.items())
def test_tolerance_factor(count, printed):
    assert tolerance_factor(count, 0.95, 0.95) == pytest.approx(printed, abs=5.1e-4)


def test_tolerance_interval():
    """7.2.6.3: 43 values, mean 97.07, s 0.0268, 90 % with 99 % confidence: 97.0106 to 97.1294 by an approximate factor 2.217."""
    values = standardized(97.07, 0.0268, 43)
    found = planish.hold_capability({"x": values}, "x", 97.0, 97.2, confidence=0.99, coverage=0.9).summary()
    # The factor solved for is 2.2228, 0.25 % above Howe's approximation.
    assert tolerance_factor(43, 0.9, 0.99) == pytest.approx(2.2173, rel=3e-3)
    assert (found["tolerance_low"], found["tolerance_high"]) == pytest.approx((97.010576, 97.12942), abs=2e-4)


def test_analysis_of_variance_of_a_gauge_study():
    rows = {
        row["source"]: row
        for row in planish.hold_gauge(study(), "y", "part", "appraiser").document()["anova"]
    }
    for source, printed in MEAN_SQUARES.items():
        assert rows[source]["mean_square"] == pytest.approx(printed, abs=5.1e-6)
        assert rows[source]["sum_of_squares"] == pytest.approx(SUMS[source], abs=5.1e-5)
    assert [rows[source]["degrees"] for source in MEAN_SQUARES] == [9, 2, 18, 60]
    assert rows["part x appraiser"]["F"] == pytest.approx(0.434, abs=5.1e-4)
    assert rows["part x appraiser"]["p"] == pytest.approx(0.974, abs=5.1e-4)


def test_components_of_a_gauge_study():
    found = planish.hold_gauge(study(), "y", "part", "appraiser", pool=True, tolerance=8.0)
    by = {part.name: part for part in found.parts}
    for name, (variance, sd, of_variance, of_spread, of_tolerance) in POOLED.items():
        part = by[name]
        # The printed total is the sum of rounded parts.
        assert part.variance == pytest.approx(variance, abs=5.1e-6 if name != "total" else 1e-5)
        assert part.sd == pytest.approx(sd, abs=5.1e-6)
        assert part.variance_percent == pytest.approx(of_variance, abs=5.1e-3)
        assert part.sd_percent == pytest.approx(of_spread, abs=5.1e-3)
        if of_tolerance is not None:
            assert part.tolerance_percent == pytest.approx(of_tolerance, abs=5.1e-3)
    assert found.categories == 4


def test_levels_of_a_gauge_study():
    """2.6.1 and 2.6.3, probe 2362: five wafers, two runs, six days of six repeats.

    The data were not read; these rows are made to have the printed standard deviations: level 1 0.06751 and 0.07786 in
    the runs, level 2 0.03334 and 0.03879, level 3 by wafer. The results are those of the handbook: 0.07287 with 300 degrees,
    0.03617 with 50, 0.0196 with 5; days 0.0206 and runs 0.0130.
    """
    by_wafer = [0.02224, 0.00271, 0.02885, 0.01328, 0.02047]
    rng = np.random.default_rng(0)
    rows = []
    for wafer, spread in zip((138, 139, 140, 141, 142), by_wafer, strict=True):
        for run, one, two, side in ((1, 0.06751, 0.03334, 1), (2, 0.07786, 0.03879, -1)):
            z = rng.standard_normal(6)
            days = 95.0 + side * spread / np.sqrt(2) + two * (z - z.mean()) / z.std(ddof=1)
            rows += [(wafer, run, day, one) for day in days]
    wafer, run, average, sd = zip(*rows, strict=True)
    data = {"wafer": wafer, "run": run, "average": average, "sd": sd}
    found = planish.hold_gauge(data, "average", "wafer", run="run", sd="sd", repeats=6)
    one, two, three, days, runs = found.parts
    assert (one.sd, one.degrees) == (pytest.approx(0.07287, abs=5.1e-6), 300)
    assert (two.sd, two.degrees) == (pytest.approx(0.03617, abs=5.1e-6), 50)
    assert (three.sd, three.degrees) == (pytest.approx(0.0196, abs=5.1e-5), 5)
    assert (days.sd, runs.sd) == (pytest.approx(0.0206, abs=5.1e-5), pytest.approx(0.0130, abs=5.1e-5))
