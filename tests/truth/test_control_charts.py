"""Control charts against worked examples: limits, statistics and alarms.

The NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 and 6.3.2.4; Montgomery, *Introduction to Statistical Quality
Control*: table 9.1 with example 9.2, and the piston rings (read as quoted in tests that check quality charts). The start-up
data of Tracy, Young & Mason 1992 (read as quoted in a statistics package's documentation).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

import planish
from planish.hold.charts.estimate import from_single, widened
from planish.hold.constants import c4

# 6.3.2.2: ten batches, flow rate.
FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
# 6.3.2.4: twenty values; weight 0.3, target 50, s 2.0539.
EWMA = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, *FLOW]
EWMA_PRINTED = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38,
                49.92, 50.73, 51.23, 51.94, 51.99]  # fmt: skip
# Montgomery, table 9.1: target 10, sigma 1; example 9.2: weight 0.1, limit 2.7, limits that settle.
SHIFTED = [9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08, 9.37, 10.62,
           10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52]  # fmt: skip
SHIFTED_EWMA = [9.945, 9.7495, 9.70355, 9.8992, 10.1253, 10.1307, 9.92167, 10.0755, 9.98796, 10.0232, 9.92384, 10.0785,
                10.1216, 10.0495, 10.0525, 9.98426, 10.0478, 10.074, 9.91864, 10.0108, 10.0997, 10.0227, 10.2495, 10.3745,
                10.3971, 10.4654, 10.4568, 10.5731, 10.6468, 10.6341]  # fmt: skip
PISTONS = """
74.030 74.002 74.019 73.992 74.008  73.995 73.992 74.001 74.011 74.004  73.988 74.024 74.021 74.005 74.002
74.002 73.996 73.993 74.015 74.009  73.992 74.007 74.015 73.989 74.014  74.009 73.994 73.997 73.985 73.993
73.995 74.006 73.994 74.000 74.005  73.985 74.003 73.993 74.015 73.988  74.008 73.995 74.009 74.005 74.004
73.998 74.000 73.990 74.007 73.995  73.994 73.998 73.994 73.995 73.990  74.004 74.000 74.007 74.000 73.996
73.983 74.002 73.998 73.997 74.012  74.006 73.967 73.994 74.000 73.984  74.012 74.014 73.998 73.999 74.007
74.000 73.984 74.005 73.998 73.996  73.994 74.012 73.986 74.005 74.007  74.006 74.010 74.018 74.003 74.000
73.984 74.002 74.003 74.005 73.997  74.000 74.010 74.013 74.020 74.003  73.988 74.001 74.009 74.005 73.996
74.004 73.999 73.990 74.006 74.009  74.010 73.989 73.990 74.009 74.014  74.015 74.008 73.993 74.000 74.010
73.982 73.984 73.995 74.017 74.013
"""
# The next fifteen groups of the same rings: phase II, in which the last four means are above the limit.
LATER = """
74.012 74.015 74.030 73.986 74.000  73.995 74.010 73.990 74.015 74.001  73.987 73.999 73.985 74.000 73.990
74.008 74.010 74.003 73.991 74.006  74.003 74.000 74.001 73.986 73.997  73.994 74.003 74.015 74.020 74.004
74.008 74.002 74.018 73.995 74.005  74.001 74.004 73.990 73.996 73.998  74.015 74.000 74.016 74.025 74.000
74.030 74.005 74.000 74.016 74.012  74.001 73.990 73.995 74.010 74.024  74.015 74.020 74.024 74.005 74.019
74.035 74.010 74.012 74.015 74.026  74.017 74.013 74.036 74.025 74.026  74.010 74.005 74.029 74.000 74.020
"""
STARTUP = """
14.92 85.77 42.26  16.90 83.77 43.44  17.38 84.46 42.74  16.90 86.27 43.60  16.92 85.23 43.18  16.71 83.81 43.72
17.07 86.08 43.33  16.93 85.85 43.41  16.71 85.73 43.28  16.88 86.27 42.59  16.73 83.46 44.00  17.07 85.81 42.78
17.60 85.92 43.11  16.90 84.23 43.48
"""
COLUMNS = ("impurities", "temperature", "concentration")


def numbers(text):
    return np.array(text.split(), dtype=float)


def test_constants():
    """c4, and A3, B3 and B4 by the limits of charts of groups: the usual table (read as quoted in tests that check quality charts)."""
    table_c4 = [0.797885, 0.886227, 0.921318, 0.939986, 0.951533, 0.959369, 0.965030, 0.969311, 0.972659, 0.975350, 0.977559,
                0.979406, 0.980971, 0.982316, 0.983484, 0.984506, 0.985410, 0.986214, 0.986934, 0.987583, 0.988170,
                0.988705, 0.989193, 0.989640]  # fmt: skip
    assert [round(c4(n), 6) for n in range(2, 26)] == table_c4
    factors = {2: (2.659, 0, 3.267), 3: (1.954, 0, 2.568), 4: (1.628, 0, 2.266), 5: (1.427, 0, 2.089), 6: (1.287, 0.030, 1.970),
               7: (1.182, 0.118, 1.882), 8: (1.099, 0.185, 1.815), 9: (1.032, 0.239, 1.761), 10: (0.975, 0.284, 1.716)}  # fmt: skip
    rng = np.random.default_rng(0)
    for n, printed in factors.items():
        data = {"x": rng.standard_normal(12 * n), "group": np.repeat(np.arange(12), n)}
        means, spreads = planish.hold_chart(data, "x", "xbar", group="group").panels
        mean_spread = spreads.centre[0]
        found = [(means.upper - means.centre)[0], spreads.lower[0], spreads.upper[0]]
        assert np.array(found) / mean_spread == pytest.approx(printed, abs=5.1e-4)
    # D4 = 3.267 and 3/d2 = 2.659 of two (tables that round d2 first print 2.660).
    chart = planish.hold_chart({"x": rng.standard_normal(20)}, "x")
    ranges = chart.panels[1]
    assert ranges.upper[0] / ranges.centre[0] == pytest.approx(3.267, abs=5.1e-4)
    assert (chart.upper - chart.centre) / ranges.centre[0] == pytest.approx(2.659, abs=5.1e-4)


def test_single_values():
    chart = planish.hold_chart({"flow": FLOW}, "flow")
    ranges = chart.panels[1]
    assert chart.centre == pytest.approx(50.81, abs=1e-9)
    assert ranges.centre[0] == pytest.approx(1.8778, abs=5e-5)
    # The handbook divides by d2 = 1.128; with all its digits the limits are 0.0017 nearer.
    rounded = 1.128379167 / 1.128
    assert chart.centre + (chart.upper - chart.centre) * rounded == pytest.approx(55.8041, abs=5.1e-5)
    assert chart.centre - (chart.centre - chart.lower) * rounded == pytest.approx(45.8159, abs=5.1e-5)
    assert not chart.alarms


def test_ewma():
    chart = planish.hold_chart({"x": EWMA}, "x", "ewma", weight=0.3, centre=50, sigma=2.0539)
    assert np.round(chart.panels[0].series[0], 2).tolist() == EWMA_PRINTED
    assert chart.upper == pytest.approx(52.5884, abs=5.1e-5)
    assert chart.lower == pytest.approx(47.4115, abs=1e-4)  # cut, not rounded
    assert not chart.alarms


def test_ewma_with_limits_that_settle():
    chart = planish.hold_chart(
        {"x": SHIFTED}, "x", "ewma", weight=0.1, limit=2.7, centre=10, sigma=1, settling=True
    )
    assert chart.panels[0].series[0] == pytest.approx(SHIFTED_EWMA, abs=5.1e-5)
    # 9.73 and 10.27 at the first point; 9.38 and 10.62 in the long run.
    assert chart.panels[0].upper[[0, -1]] == pytest.approx([10.27, 10.6189], abs=5.1e-5)
    assert chart.panels[0].lower[[0, -1]] == pytest.approx([9.73, 9.3811], abs=5.1e-5)
    assert [alarm.row for alarm in chart.alarms] == [29, 30]


def test_cusum():
    chart = planish.hold_chart({"x": SHIFTED}, "x", "cusum", centre=10, sigma=1)
    above, below = chart.panels[0].series
    assert above[28] == pytest.approx(5.28, abs=5e-3)
    assert [alarm.row for alarm in chart.alarms] == [29, 30]
    assert {alarm.rule for alarm in chart.alarms} == {"sum of rises beyond its limit"}
    # The sums by their definition, one after the other.
    up = down = 0.0
    for x, a, b in zip(SHIFTED, above, below, strict=True):
        up, down = max(0.0, up + x - 10.5), max(0.0, down + 9.5 - x)
        assert (a, b) == pytest.approx((up, -down), abs=1e-12)
    # The mean of these data was raised by one sigma from the 21st on, says the book.
    assert all(alarm.kind == "mean shift" and 21 <= alarm.from_row <= 23 for alarm in chart.alarms)


def test_means_and_standard_deviations_of_groups():
    """Printed: centre 74.001, limits 73.988 and 74.014 of means; another library: 74.00118, S 0.009240037 and 0.019302416."""
    values = np.concatenate([numbers(PISTONS), numbers(LATER)])
    group = np.repeat(np.arange(1, 41), 5)
    chart = planish.hold_chart({"ring": values, "group": group}, "ring", "xbar", group="group", baseline=25)
    means, spreads = chart.panels
    assert chart.centre == pytest.approx(74.00118, abs=5.1e-6)
    assert (means.lower[0], means.upper[0]) == pytest.approx((73.988, 74.014), abs=5.1e-4)
    assert chart.phases[0].sigma == pytest.approx(0.009829977, abs=5.1e-10)
    assert spreads.centre[0] == pytest.approx(0.009240037, abs=5.1e-10)
    assert spreads.upper[0] == pytest.approx(0.019302416, abs=1e-9)  # cut, not rounded
    assert spreads.lower[0] == 0.0
    assert [alarm.group for alarm in chart.alarms if alarm.rule == "beyond the limits"] == ["37", "38", "39"]
    assert [alarm.row for alarm in chart.alarms][:1] == [185]


def test_t_squared_of_a_start_up():
    """Only sample 1 stands out; the limit for these 14 rows and three columns is by the beta law, as the documentation says."""
    values = numbers(STARTUP).reshape(14, 3)
    chart = planish.hold_chart(dict(zip(COLUMNS, values.T, strict=True)), COLUMNS, "t2", alpha=0.05)
    statistic = chart.panels[0].series[0]
    assert statistic[0] == pytest.approx(
        10.93, abs=5.1e-3
    )  # Tracy, Young & Mason 1992 (from memory), recomputed below
    off = values - values.mean(axis=0)
    assert statistic == pytest.approx(np.diag(off @ np.linalg.inv(np.cov(values.T)) @ off.T), rel=1e-10)
    assert statistic.sum() == pytest.approx(3 * 13)  # whatever the data: p (n - 1)
    from scipy.stats import beta

    assert chart.upper == pytest.approx(13**2 / 14 * beta.ppf(0.95, 1.5, 5.0))
    assert [alarm.row for alarm in chart.alarms] == [1]
    assert "impurities" in chart.alarms[0].cause


def test_t_squared_of_rows_to_come():
    """p (m + 1)(m - 1)/(m^2 - m p) F(p, m - p) of the handbook, 6.5.4.3.4."""
    from scipy.stats import f

    rng = np.random.default_rng(2)
    values = rng.standard_normal((60, 3))
    chart = planish.hold_chart(dict(zip("abc", values.T, strict=True)), list("abc"), "t2", baseline=40)
    expected = 3 * 41 * 39 / (40**2 - 40 * 3) * f.isf(0.0027, 3, 37)
    assert chart.upper == pytest.approx(expected)
    assert chart.panels[0].upper[39] < chart.panels[0].upper[40]


@pytest.mark.parametrize("rows", [8, 15, 40])
def test_widened_limits_alarm_as_rarely_as_they_say(rows):
    """No published table: the chance that the next row is beyond limits from so few rows, over 20,000 baselines.

    Nominal 0.0027. A mean moving range has fewer very small values than the chi distribution that stands for it: the widened
    limits are on the safe side, the plain ones alarm up to ten times too often.
    """
    rng = np.random.default_rng(8)
    plain = wide = 0.0
    for _ in range(20_000):
        found = from_single(rng.standard_normal(rows), None, None, "rows")
        for limit, total in ((3.0, "plain"), (widened(found, 3.0), "wide")):
            reach = limit * found.sigma
            beyond = float(ndtr(found.centre - reach) + ndtr(-found.centre - reach)) / 20_000
            plain, wide = (plain + beyond, wide) if total == "plain" else (plain, wide + beyond)
    assert 0.0014 < wide < 0.0029
    assert plain > 1.5 * 0.0027
