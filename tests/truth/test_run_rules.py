"""Run rules: average run lengths of charts with them, and what each finds.

Champ & Woodall 1987, table 1, and Aerne, Champ & Rigdon 1991, table I (read as quoted in the help of the spc package):
man/xshewhartrunsrules.arl.Rd and man/xDshewhartrunsrules.arl.Rd. All four rules together: a false alarm in 91.75 points, the
NIST/SEMATECH e-Handbook, 6.3.2, after Champ & Woodall (read as quoted in tests that check quality charts).
"""

from __future__ import annotations

import numpy as np
import pytest

import planish
from planish.hold.rules import EIGHT, HANDBOOK, read_rules
from planish.hold.run_length.mean import Mean
from planish.hold.run_length.shewhart import shewhart_length

SHIFTS = [0.2 * step for step in range(16)]
CHAMP_WOODALL = {
    (): "370.40 308.43 200.08 119.67 71.55 43.89 27.82 18.25 12.38 8.69 6.30 4.72 3.65 2.90 2.38 2.00",
    HANDBOOK[
        1:2
    ]: "225.44 177.56 104.46 57.92 33.12 20.01 12.81 8.69 6.21 4.66 3.65 2.96 2.48 2.13 1.87 1.68",
    HANDBOOK[2:3]: "166.05 120.70 63.88 33.99 19.78 12.66 8.84 6.62 5.24 4.33 3.68 3.18 2.78 2.43 2.14 1.89",
    HANDBOOK[3:4]: "152.73 110.52 59.76 33.64 21.07 14.58 10.90 8.60 7.03 5.85 4.89 4.08 3.38 2.81 2.35 1.99",
}
DRIFTS = [10 ** (-step / 8) for step in range(18, -1, -1)]
AERNE = {
    (
        3.069,
    ): "136.67 114.98 96.03 79.69 65.75 53.99 44.15 35.97 29.21 23.65 19.11 15.41 12.41 9.98 8.02 6.44 5.17 4.16 3.35",
    (
        3 * 1.0747,
        "2 of 3 beyond 2.1494 sigma",
    ): "120.90 101.23 84.22 69.68 57.38 47.06 38.47 31.36 25.51 20.71 16.79 13.61 "
    "11.03 8.94 7.25 5.89 4.80 3.92 3.22",
    (
        3.42,
        "4 of 5 beyond 1.14 sigma",
    ): "105.34 88.09 73.31 60.75 50.18 41.33 33.99 27.91 22.91 18.81 15.45 12.72 10.50 8.71 "
    "7.26 6.09 5.15 4.36 3.63",
    (
        3.2425,
        "10 on one side",
    ): "107.08 89.94 75.23 62.73 52.18 43.35 36.00 29.90 24.86 20.70 17.29 14.47 12.14 10.18 8.45 "
    "6.84 5.48 4.39 3.52",
}


@pytest.mark.parametrize("rules", CHAMP_WOODALL)
def test_champ_and_woodall(rules):
    printed = list(map(float, CHAMP_WOODALL[rules].split()))
    found = [planish.hold_run_length("individuals", rules=rules, shift=shift).arl for shift in SHIFTS]
    assert found == pytest.approx(printed, abs=0.0051)


def test_all_four_of_the_handbook():
    assert planish.hold_run_length("individuals", rules=["handbook"]).arl == pytest.approx(91.75, abs=0.0051)


@pytest.mark.parametrize("case", AERNE)
def test_under_a_drift(case):
    limit, *rules = case
    printed = list(map(float, AERNE[case].split()))
    found = [planish.hold_run_length("individuals", limit, rules=rules, drift=drift).arl for drift in DRIFTS]
    # The bounds are printed to four digits, which is why the slowest drifts are off by up to two units of the last one.
    assert found == pytest.approx(printed, abs=0.006, rel=2e-4)


def test_the_chain_alarms_as_often_as_the_rules_find():
    """The chain and the search through points are written apart: 1,500 charts of noise must agree with the mean."""
    rules = read_rules([name for name in EIGHT if "rising" not in name and "alternating" not in name])
    rng = np.random.default_rng(3)
    first = []
    for _ in range(1500):
        z = rng.standard_normal(1200)
        first.append(1 + int(np.argmax(np.any([rule.found(z) for rule in rules], axis=0))))
    expected = shewhart_length(rules, Mean()).mean
    assert np.mean(first) == pytest.approx(expected, abs=3.5 * np.std(first) / np.sqrt(len(first)))


@pytest.mark.parametrize(
    ("name", "points", "expected"),
    [
        ("1 beyond 3 sigma", [0, 3.1, 0, -3.2, 2.9], [2, 4]),
        ("2 of 3 beyond 2 sigma", [2.1, 0, 2.2, 0, 0, -2.1, 2.1], [3]),
        ("4 of 5 beyond 1 sigma", [1.1, 1.2, 0.5, 1.3, 1.4, 1.2, 0.9], [5, 6]),
        ("8 on one side", [0.1] * 9 + [-0.1], [8, 9]),
        ("9 on one side", [-0.1] * 9, [9]),
        ("6 rising or falling", [0, 1, 2, 3, 4, 5, 4], [6]),
        ("6 rising or falling", [0, 1, 2, 2, 3, 4, 5], []),
        ("14 alternating", [(-1) ** i for i in range(14)], [14]),
        ("14 alternating", [(-1) ** i for i in range(13)] + [1], []),
        ("15 within 1 sigma", [0.9, -0.9] * 7 + [0.5], [15]),
        ("8 beyond 1 sigma on both sides", [1.1] * 4 + [-1.1] * 4, [8]),
        ("8 beyond 1 sigma on both sides", [1.1] * 8, []),
    ],
)
def test_each_rule_by_its_words(name, points, expected):
    (rule,) = read_rules([name])
    assert (1 + np.flatnonzero(rule.found(np.array(points, dtype=float)))).tolist() == expected
