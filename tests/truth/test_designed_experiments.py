"""Designed experiments against the worked examples of a handbook, to the last digit that it prints.

NIST/SEMATECH e-Handbook of Statistical Methods, chapter 5: data, fits, plans and tables (read as quoted in pyDOE's theory
pages); how many runs resolution 4 takes: NIST Dataplot file DEXRES4 (read).
"""

from __future__ import annotations

from itertools import combinations, combinations_with_replacement, product

import numpy as np
import pytest

from planish.tuning.design.factors import Factor
from planish.tuning.design.fraction import fraction
from planish.tuning.design.optimal import d_efficiency, d_optimal
from planish.tuning.design.points import box_behnken, composite, usual_centre
from planish.tuning.design.surface import fit_surface
from planish.tuning.design.terms import model_matrix, read_terms, term_name, terms_of


def prints(value, text, off=0.5):
    """Whether a value is what is printed, to half of the last digit (a printed 5 may have been rounded either way).

    Four figures of the handbook are worked out from figures that it has rounded; they may be ``off`` by more of it.
    """
    mantissa, _, power = text.partition("e")
    digits = len(mantissa.partition(".")[2])
    room = off * 10.0 ** (int(power or 0) - digits)
    return abs(value - float(text)) <= room * (1 + 1e-6)


def assert_terms(fitted, table):
    """The table has a row a term: name, coefficient, error, t, p, as printed."""
    found = {term_name(one.term): one for one in fitted.coefficients}
    rows = [line.split() for line in table.strip().splitlines()]
    assert len(rows) == len(found)
    for name, *printed in rows:
        one = found[name]
        for value, text in zip((one.value, one.error, one.t, one.p), printed, strict=False):
            assert prints(value, text), (name, value, text)


def assert_source(fitted, name, *, degrees, squares, f=None, p=None):
    row = fitted.source(name)
    assert row.degrees == degrees
    assert prints(row.squares, squares), (name, row)
    assert f is None or prints(row.f, f), (name, row)
    assert p is None or prints(row.p, p), (name, row)


# 5.4.7.3: uniformity and stress of a tungsten layer by pressure (4 to 80 torr) and gas ratio (2 to 10); coded as printed
CODED = np.array(
    [
        [1, 0],
        [0, 0],
        [0.71, -0.71],
        [-0.71, 0.71],
        [-1, 0],
        [0, 0],
        [-0.71, -0.71],
        [0, -1],
        [0.71, 0.71],
        [0, 1],
        [0, 0],
    ]
)
UNIFORMITY = np.array([4.6, 6.2, 3.4, 6.9, 7.3, 6.4, 8.6, 6.3, 5.1, 5.4, 5.0])
STRESS = np.array([8.04, 7.78, 7.58, 7.27, 6.49, 7.69, 6.66, 7.16, 8.33, 8.19, 7.90])


def test_uniformity_by_a_full_quadratic():
    found = fit_surface(CODED, UNIFORMITY, terms_of("quadratic", 2))
    assert_terms(
        found,
        """
        1    5.86613  0.41773  14.043  3.29e-05
        a   -1.90967  0.36103  -5.289  0.00322
        b   -0.22408  0.36103  -0.621  0.56201
        a*b  1.68617  0.71766   2.350  0.06560
        a^2  0.13373  0.60733   0.220  0.83442
        b^2  0.03373  0.60733   0.056  0.95786
        """,
    )
    assert prints(found.spread, "0.7235")
    assert prints(found.r_squared, "0.8716")
    assert prints(found.adjusted, "0.7431")
    assert prints(found.source("model").f, "6.787")
    assert prints(found.source("model").p, "0.0278")


def test_uniformity_by_fewer_terms_and_its_lack_of_fit():
    found = fit_surface(CODED, UNIFORMITY, read_terms("a b a*b", 2))
    assert_terms(
        found,
        """
        1    5.9273  0.1853  31.993  7.54e-09
        a   -1.9097  0.3066  -6.228  0.000433
        b   -0.2241  0.3066  -0.731  0.488607
        a*b  1.6862  0.6095   2.767  0.027829
        """,
    )
    assert_source(found, "model", degrees=3, squares="17.739", f="15.66", p="0.0017")
    assert_source(found, "residual", degrees=7, squares="2.643")
    assert_source(found, "lack of fit", degrees=5, squares="1.4963", f="0.52", p="0.7588")
    assert_source(found, "pure error", degrees=2, squares="1.1467")
    assert prints(found.spread, "0.6145")
    assert prints(found.r_squared, "0.8703")
    assert prints(found.adjusted, "0.8148")


def test_stress_by_a_square_of_the_pressure():
    found = fit_surface(CODED, STRESS, read_terms("a b a^2", 2))
    assert_terms(
        found,
        """
        1    7.73410  0.03715  208.185  1.56e-14
        a    0.73593  0.04407   16.699  6.75e-07
        b    0.49686  0.04407   11.274  9.65e-06
        a^2 -0.49426  0.07094   -6.967  0.000218
        """,
    )
    assert_source(found, "model", degrees=3, squares="3.5454", f="151.5", p="9.9e-07")
    assert_source(found, "residual", degrees=7, squares="0.0546")
    assert_source(found, "lack of fit", degrees=5, squares="0.032405", f="0.58", p="0.73")
    assert_source(found, "pure error", degrees=2, squares="0.022200")
    assert prints(found.spread, "0.0883")
    assert prints(found.r_squared, "0.9848")
    assert prints(found.adjusted, "0.9783")


def test_stress_by_a_full_quadratic_whose_last_column_is_not_coded():
    """The handbook's table squares the ratio itself, 2 to 10, beside a coded one: so does this row of terms."""
    ratio = np.array([6, 6, 3.17, 8.83, 6, 6, 3.17, 2, 8.83, 10, 6])
    points = np.column_stack([CODED, ratio])
    found = fit_surface(points, STRESS, read_terms("a b a*b a^2 c^2", 3))
    assert_terms(
        found,
        """
        1    8.056791  0.179561  44.869  1.04e-07
        a    0.735933  0.038524  19.103  7.25e-06
        b    0.852099  0.198192   4.299  0.00772
        a*b  0.069431  0.076578   0.907  0.40616
        a^2 -0.528848  0.064839  -8.156  0.00045
        c^2 -0.007414  0.004057  -1.827  0.12722
        """,
    )
    assert prints(found.spread, "0.07721")
    assert prints(found.r_squared, "0.9917")
    assert prints(found.adjusted, "0.9834")
    assert prints(found.source("model").f, "119.8")


# 5.4.7.2: distance of a thrown ball by height, start angle, bands, arm length, stop angle; a 2^(5-1) with two centres
CATAPULT = np.array(
    [
        "28.00",
        "3.25",
        "0",
        "1",
        "0",
        "80",
        "99.00",
        "4",
        "10",
        "2",
        "2",
        "62",
        "126.50",
        "4.75",
        "20",
        "2",
        "4",
        "80",
        "126.50",
        "4.75",
        "0",
        "2",
        "4",
        "45",
        "45.00",
        "3.25",
        "20",
        "2",
        "4",
        "45",
        "35.00",
        "4.75",
        "0",
        "1",
        "0",
        "45",
        "45.00",
        "4",
        "10",
        "1",
        "2",
        "62",
        "28.25",
        "4.75",
        "20",
        "1",
        "0",
        "80",
        "85.00",
        "4.75",
        "0",
        "1",
        "4",
        "80",
        "8.00",
        "3.25",
        "20",
        "1",
        "0",
        "45",
        "36.50",
        "4.75",
        "20",
        "1",
        "4",
        "45",
        "33.00",
        "3.25",
        "0",
        "1",
        "4",
        "45",
        "84.50",
        "4",
        "10",
        "2",
        "2",
        "62",
        "28.50",
        "4.75",
        "20",
        "2",
        "0",
        "45",
        "33.50",
        "3.25",
        "0",
        "2",
        "0",
        "45",
        "36.00",
        "3.25",
        "20",
        "2",
        "0",
        "80",
        "84.00",
        "4.75",
        "0",
        "2",
        "0",
        "80",
        "45.00",
        "3.25",
        "20",
        "1",
        "4",
        "80",
        "37.50",
        "4",
        "10",
        "1",
        "2",
        "62",
        "106.00",
        "3.25",
        "0",
        "2",
        "4",
        "80",
    ],
    dtype=float,
).reshape(20, 6)
LEVELS = ((3.25, 4.75), (0, 20), (1, 2), (0, 4), (45, 80))


def catapult():
    """The coded settings, a middle setting as 0 (62 degrees are the middle of the stop angle there)."""
    settings = CATAPULT[:, 1:]
    return np.where(settings == [low for low, _ in LEVELS], -1.0, 0.0) + (
        settings == [high for _, high in LEVELS]
    )


def test_catapult_by_all_pairs():
    found = fit_surface(catapult(), CATAPULT[:, 0], terms_of("interactions", 5))
    assert_terms(
        found,
        """
        1    57.5375 2.9691 19.378 4.18e-05
        a    13.4844 3.3196  4.062 0.01532
        b   -11.0781 3.3196 -3.337 0.02891
        c    19.4125 2.9691  6.538 0.00283
        d    20.1406 3.3196  6.067 0.00373
        e    12.0469 3.3196  3.629 0.02218
        a*b  -2.7656 3.3196 -0.833 0.45163
        a*c   4.6406 3.3196  1.398 0.23467
        a*d   4.7031 3.3196  1.417 0.22950
        a*e   0.1094 3.3196  0.033 0.97529
        b*c  -3.1719 3.3196 -0.955 0.39343
        b*d  -1.1094 3.3196 -0.334 0.75502
        b*e   2.6719 3.3196  0.805 0.46601
        c*d   7.6094 3.3196  2.292 0.08365
        c*e   2.8281 3.3196  0.852 0.44225
        d*e   3.1406 3.3196  0.946 0.39768
        """,
    )
    assert prints(found.spread, "13.28")
    assert prints(found.r_squared, "0.9709")
    assert prints(found.adjusted, "0.8619")
    assert prints(found.source("model").f, "8.905")
    assert prints(found.source("model").p, "0.02375")


def test_catapult_by_the_terms_that_count():
    found = fit_surface(catapult(), CATAPULT[:, 0], read_terms("a b c d e c*d", 5))
    assert_terms(
        found,
        """
        1    57.537 2.847 20.212 3.33e-11
        a    13.484 3.183  4.237 0.00097
        b   -11.078 3.183 -3.481 0.00406
        c    19.412 2.847  6.819 1.23e-05
        d    20.141 3.183  6.328 2.62e-05
        e    12.047 3.183  3.785 0.00227
        c*d   7.609 3.183  2.391 0.03264
        """,
    )
    assert_source(found, "model", degrees=6, squares="22148.55", p="3.5e-06")
    assert prints(found.source("model").f, "22.77", off=1)  # 3691.6/162.1
    assert_source(found, "residual", degrees=13, squares="2106.99")
    assert_source(found, "lack of fit", degrees=11, squares="1973.74", f="2.69", p="0.3018")
    assert_source(found, "pure error", degrees=2, squares="133.25")
    assert prints(found.spread, "12.73")
    assert prints(found.r_squared, "0.9131")
    assert prints(found.adjusted, "0.873")


def test_catapult_by_the_logarithm_of_the_distance():
    found = fit_surface(catapult(), np.log(CATAPULT[:, 0]), terms_of("linear", 5))
    assert_terms(
        found,
        """
        1    3.85702 0.04702 82.035
        a    0.25735 0.05257  4.896 0.000236
        b   -0.24174 0.05257 -4.599 0.000413
        c    0.34880 0.04702  7.419 3.26e-06
        d    0.39437 0.05257  7.502 2.87e-06
        e    0.26273 0.05257  4.998 0.000195
        """,
    )
    model = found.source("model")
    assert prints(model.squares, "8.02079", off=1)
    assert prints(model.f, "36.285", off=2)  # 1.60416/0.04421
    assert prints(model.p, "1.6e-07")
    assert_source(found, "residual", degrees=14, squares="0.61896")
    assert_source(found, "lack of fit", degrees=12, squares="0.58980", f="3.371", p="0.2514")
    assert_source(found, "pure error", degrees=2, squares="0.02916")
    assert prints(found.spread, "0.2103")
    assert prints(found.r_squared, "0.9284")
    assert prints(found.adjusted, "0.9028")


# 5.4.7.1: strength of ground ceramics, a full 2^5; the first factor changes fastest
STRENGTH = np.array(
    [
        "680.45",
        "722.48",
        "702.14",
        "666.93",
        "703.67",
        "642.14",
        "692.98",
        "669.26",
        "491.58",
        "475.52",
        "478.76",
        "568.23",
        "444.72",
        "410.37",
        "428.51",
        "491.47",
        "607.34",
        "620.80",
        "610.55",
        "638.04",
        "585.19",
        "586.17",
        "601.67",
        "608.31",
        "442.90",
        "434.41",
        "417.66",
        "510.84",
        "392.11",
        "343.22",
        "385.52",
        "446.73",
    ],
    dtype=float,
)


def test_strength_of_ceramics_by_a_full_factorial():
    corners = np.array(list(product((-1.0, 1.0), repeat=5)))[:, ::-1]
    letters = "abcde"
    all_terms = " ".join("*".join(some) for size in (1, 2, 3) for some in combinations(letters, size))
    found = fit_surface(corners, STRENGTH, read_terms(all_terms, 5))
    assert prints(found.r_squared, "0.995127")
    assert prints(found.adjusted, "0.974821")
    assert prints(found.spread, "17.81632")
    assert prints(found.values[0], "546.8959")
    fewer = fit_surface(corners, STRENGTH, read_terms("a b a*b c a*c d a*d b*d a*b*d c*d e d*e", 5))
    assert prints(fewer.r_squared, "0.989114")
    assert prints(fewer.adjusted, "0.982239")
    assert prints(fewer.spread, "14.96346")
    # sum of squares and F of each term, and F again with all terms; t^2 is F of one degree of freedom
    table = """
        a 894.33 3.9942 0.0602 2.8175 | b 3497.20 15.6191 0.0009 11.0175 | a*b 4872.57 21.7618 0.0002 15.3505
        c 12663.96 56.5595 - 39.8964 | a*c 1838.76 8.2122 0.0099 5.7928 | d 315132.65 1407.4390 - 992.7901
        a*d 1637.21 7.3121 0.0141 5.1578 | b*d 1972.71 8.8105 0.0079 6.2148 | a*b*d 5895.62 26.3309 - 18.5735
        c*d 3158.34 14.1057 0.0013 9.9500 | e 33653.91 150.3044 - 106.0229 | d*e 1328.83 5.9348 0.0249 4.1863
        """
    by_name = {term_name(one.term): one for one in fewer.coefficients}
    of_all = {term_name(one.term): one for one in found.coefficients}
    rows = [cell.split() for line in table.strip().splitlines() for cell in line.split("|")]
    assert len(rows) == 12
    for name, squares, f, p, f_of_all in rows:
        one = by_name[name]
        assert prints(32 * one.value**2, squares), name
        assert prints(one.t**2, f, off=2 if name == "d" else 0.5), name
        assert p == "-" or prints(one.p, p), name
        assert prints(of_all[name].t ** 2, f_of_all), name


# 5.5.3.1: yield of a chemical process by temperature (189.5 +- 30) and time (350 +- 50), a 2^2 with five centre runs
SQUARE = np.array([[-1, -1], [1, -1], [-1, 1], [1, 1], [0, 0], [0, 0], [0, 0], [0, 0], [0, 0]], dtype=float)
FIRST = np.array([32.79, 24.07, 48.94, 52.49, 38.89, 48.29, 29.68, 46.50, 44.15])
YIELD = np.array([64.33, 51.78, 77.30, 45.37, 62.08, 79.36, 75.29, 73.81, 69.45])
STARS = np.array([[-1.414, 0], [1.414, 0], [0, -1.414], [0, 1.414]])
STAR_YIELD = np.array([72.58, 37.42, 54.63, 54.18])


def test_first_step_of_the_chemical_process_and_its_steepest_way():
    found = fit_surface(SQUARE, FIRST, terms_of("linear", 2))
    assert [prints(v, t) for v, t in zip(found.values, ("40.644", "-1.2925", "11.14"), strict=True)] == [
        True
    ] * 3
    assert prints(found.source("model").squares, "503.3035")
    assert_source(found, "curvature", degrees=1, squares="8.2733", f="0.1577", p="0.7077")
    assert_source(found, "pure error", degrees=4, squares="224.6511")
    assert prints(found.source("lack of fit").squares - found.source("curvature").squares, "37.6382")
    assert prints(found.r_squared, "0.6504")
    steepest = found.slope() / np.linalg.norm(found.slope())
    assert prints(steepest[0], "-0.1152")
    assert prints(steepest[1], "0.9933")


def test_centre_runs_of_the_chemical_process_show_its_curvature():
    found = fit_surface(SQUARE, YIELD, terms_of("linear", 2))
    assert prints(found.source("model").squares, "505.376")
    assert_source(found, "curvature", degrees=1, squares="336.364", f="6.297", p="0.0539")
    assert_source(found, "pure error", degrees=4, squares="173.179")
    assert prints(found.source("lack of fit").squares - found.source("curvature").squares, "93.896")


def test_second_order_surface_of_the_chemical_process_and_its_maximum():
    points, results = np.vstack([SQUARE, STARS]), np.concatenate([YIELD, STAR_YIELD])
    found = fit_surface(points, results, terms_of("quadratic", 2))
    told = {term_name(one.term): one.value for one in found.coefficients}
    printed = {"1": "72.0", "a": "-11.78", "b": "0.74", "a^2": "-7.25", "b^2": "-7.55", "a*b": "-4.85"}
    assert all(prints(told[name], text) for name, text in printed.items()), told
    assert_source(found, "lack of fit", degrees=3, squares="59.9", f="0.46", p="0.725")
    assert prints(found.spread, "5.77")
    assert prints(found.r_squared, "0.8898")
    assert prints(found.adjusted, "0.8111")
    assert prints(found.predicted, "0.6708")
    assert found.source("curvature") is None  # squares are in the surface
    flat = found.stationary()
    assert flat.kind == "maximum"
    assert prints(flat.value, "77.59")
    # the handbook gives (-0.9285, 0.3472) from rounded coefficients, and from unrounded ones:
    assert abs(flat.point[0] + 0.9278) < 1e-4
    assert prints(flat.point[1], "0.3468")
    assert prints(flat.eigenvalues[1], "-4.973187")
    assert prints(flat.eigenvalues[0], "-9.827317")
    axis = flat.axes[:, 1] * np.sign(flat.axes[0, 1])
    assert prints(axis[0], "0.728460")
    assert prints(axis[1], "-0.685089")
    linear = fit_surface(points, results, terms_of("linear", 2))
    assert prints(linear.source("model").squares, "1113.7")
    assert prints(linear.spread, "10.01")
    assert prints(linear.r_squared, "0.5266")
    assert prints(linear.predicted, "0.2425")
    assert_source(linear, "lack of fit", degrees=6, squares="827.9", f="3.19", p="0.141")


# table 3.17: factors, runs, resolution
FRACTIONS = [
    (3, 4, 3), (4, 8, 4), (5, 16, 5), (5, 8, 3), (6, 32, 6), (6, 16, 4), (6, 8, 3), (7, 64, 7), (7, 32, 4), (7, 16, 4),
    (7, 8, 3), (8, 128, 8), (8, 64, 5), (8, 32, 4), (8, 16, 4), (9, 128, 6), (9, 64, 4), (9, 32, 4), (9, 16, 3),
    (10, 128, 5), (10, 64, 4), (10, 32, 4), (10, 16, 3), (11, 128, 5), (11, 64, 4), (11, 32, 4), (11, 16, 3),
]  # fmt: skip


@pytest.mark.parametrize(("factors", "runs", "resolution"), FRACTIONS)
def test_fractions_reach_the_resolution_of_the_table(factors, runs, resolution):
    found = fraction(factors, runs)
    assert found.resolution == resolution
    points = found.points()
    assert points.shape == (runs, factors)
    assert np.array_equal(points.T @ points, runs * np.eye(factors))
    # what the words say is what the columns show: two effects are confounded where their columns are one
    told = {effect for group in found.confounded() for effect in group}
    effects = [some for size in (1, 2) for some in combinations(range(factors), size)]
    columns = np.abs(
        np.array([np.prod(points[:, some], axis=1) for some in effects]) @ points_of(points, effects)
    )
    alike = {effects[at] for at in np.flatnonzero((columns == runs).sum(axis=1) > 1)}
    assert alike == told


def points_of(points, effects):
    return np.array([np.prod(points[:, some], axis=1) for some in effects]).T


@pytest.mark.parametrize(
    ("factors", "runs"), [(4, 8), (5, 16), (6, 16), (7, 16), (8, 16), (9, 32), (10, 32), (11, 32), (12, 32)]
)
def test_resolution_4_takes_as_many_runs_as_the_index_says(factors, runs):
    """NIST Dataplot file DEXRES4: the fewest runs of resolution 4."""
    assert fraction(factors, runs).resolution >= 4
    if runs // 2 > factors:
        assert fraction(factors, runs // 2).resolution < 4


def test_a_d_optimal_plan_is_as_good_as_the_handbooks():
    """Tables 5.1 and 5.2: 12 of 20 candidates for 1, x1, x2, x3, x1^2: D 0.6825575, A 2.2, error 0.645497 everywhere."""
    candidates = np.array(list(product((-1, -0.5, 0, 0.5, 1), (-1, 1), (-1, 1))), dtype=float)
    model = model_matrix(candidates, read_terms("a b c a^2", 3))
    for seed in range(4):
        chosen = model[d_optimal(model, 12, seed)]
        assert prints(d_efficiency(chosen), "0.6825575")
        back = np.linalg.inv(chosen.T @ chosen / 12)
        assert prints(np.trace(back) / 5, "2.2")
        errors = np.sqrt(np.einsum("ij,jk,ik->i", chosen, back / 12, chosen))
        assert all(prints(error, "0.645497") for error in errors)


@pytest.mark.parametrize("runs", [6, 7, 8])
def test_a_d_optimal_plan_is_the_best_of_all_there_are(runs):
    """Against every choice with repeats of 9 candidates for a quadratic in two factors."""
    model = model_matrix(np.array(list(product((-1.0, 0.0, 1.0), repeat=2))), terms_of("quadratic", 2))
    best = max(d_efficiency(model[list(some)]) for some in combinations_with_replacement(range(9), runs))
    assert d_efficiency(model[d_optimal(model, runs)]) == pytest.approx(best, rel=1e-9)


def test_composite_plans_are_those_of_the_tables():
    """Tables 3.23 (alpha), 3.24 and 3.25 (settings for 10 to 20; the inscribed ones to whole numbers), 3.28 (runs)."""
    alphas = {2: "1.414", 3: "1.682", 4: "2.000", 5: "2.000", 6: "2.378"}
    for factors, alpha in alphas.items():
        _, axes = composite(factors)
        assert prints(axes.max(), alpha)
    factor = Factor("a", "x", 10.0, 20.0)
    cube, axes = composite(3)
    assert sorted({factor.setting(value) for value in cube.ravel()}) == [10.0, 20.0]
    assert prints(factor.setting(axes.min()), "6.6")
    assert prints(factor.setting(axes.max()), "23.4")
    cube, axes = composite(3, "inscribed")
    assert [prints(factor.setting(value), "12") for value in cube[0]] == [True] * 3
    assert [prints(factor.setting(value), "18") for value in cube[-1]] == [True] * 3
    assert [factor.setting(axes.min()), factor.setting(axes.max())] == [10.0, 20.0]
    cube, axes = composite(3, "faced")
    assert np.abs(cube).min() == 1.0
    assert axes.max() == 1.0
    for factors, runs in {2: 13, 3: 20, 4: 30}.items():
        assert sum(map(len, composite(factors))) + usual_centre("composite", factors) == runs


def test_box_behnken_plans_are_those_of_the_tables():
    """Table 3.24 point by point for three factors; table 3.28 for how many runs there are."""
    table = {(a, b, 0) for a in (-1, 1) for b in (-1, 1)} | {(a, 0, b) for a in (-1, 1) for b in (-1, 1)}
    table |= {(0, a, b) for a in (-1, 1) for b in (-1, 1)}
    assert {tuple(row) for row in box_behnken(3).astype(int)} == table
    for factors, runs in {3: 15, 4: 27, 5: 46, 6: 54}.items():
        assert len(box_behnken(factors)) + usual_centre("box-behnken", factors) == runs
    for factors in range(3, 8):  # and each tells all terms of the second order apart
        points = np.vstack([box_behnken(factors), np.zeros((1, factors))])
        model = model_matrix(points, terms_of("quadratic", factors))
        assert np.linalg.matrix_rank(model) == model.shape[1]


def test_a_rotatable_plan_is_as_sure_in_every_direction():
    """What alpha is for (5.3.3.6.1): the error of the surface depends on the distance from the middle alone."""
    cube, axes = composite(3)
    points = np.vstack([cube, axes, np.zeros((6, 3))])
    found = fit_surface(points, np.random.default_rng(1).normal(size=20), terms_of("quadratic", 3))
    away = np.random.default_rng(2).normal(size=(50, 3))
    errors = found.error_at(1.2 * away / np.linalg.norm(away, axis=1)[:, None])
    assert np.ptp(errors) < 1e-9 * errors.mean()
