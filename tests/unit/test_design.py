"""Designed experiments: sheets that come back as they went out, surfaces that find what was put in, what is refused."""

from __future__ import annotations

import json

import numpy as np
import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import DataError, FitError, PlanishError, SetupError
from planish.tuning.design.fraction import fraction
from planish.tuning.design.points import composite
from planish.tuning.design.surface import fit_surface
from planish.tuning.design.terms import read_terms, term_name, terms_of

RING, GAP, SPEED = "recipe.step.main.ring_pressure", "head.ring.gap", "recipe.step.main.platen_speed"
VARY = {RING: "3..5 psi", GAP: "0.4..0.9 mm", SPEED: "80..100 rpm"}
TWO = {RING: "3..5 psi", GAP: "0.4..0.9 mm"}
PADS = {RING: "3..5 psi", "pad.part": "hard-microporous, soft-felt"}
RATE = "mean_removal_rate_nm_per_min"


@pytest.fixture(scope="module")
def setup():
    return planish.loads(planish.new_setup("rotary"))


def filled(sheet, path, result, name="rate [nm/min]"):
    """Write a sheet and fill it in as somebody would: a number at the end of each line, by the settings on it."""
    lines = sheet.as_csv([name]).splitlines()
    at = next(place for place, line in enumerate(lines) if line.startswith("run,"))
    rows = [line + str(result(line.split(","))) for line in lines[at + 1 :]]
    path.write_text("\n".join([*lines[: at + 1], *rows]) + "\n", encoding="utf-8")
    return path


def paraboloid(cells):
    ring, gap = float(cells[2]) - 4.2, float(cells[3]) - 0.6
    return 400 - 20 * ring**2 - 300 * gap**2 + 30 * ring * gap


def test_a_sheet_is_filled_in_and_its_maximum_found(setup, tmp_path):
    sheet = planish.design_runs(setup, TWO, star="inscribed", seed=3)
    found = planish.fit_runs(filled(sheet, tmp_path / "runs.csv", paraboloid))
    flat = found.stationary
    assert flat.kind == "maximum"
    assert found.inside
    settings = {row["path"]: row["flat"] for row in found.document()["settings"]}
    assert settings == {RING: pytest.approx(4.2, abs=1e-4), GAP: pytest.approx(0.6, abs=1e-4)}
    assert flat.value == pytest.approx(400.0)
    assert found.fitted.r_squared == pytest.approx(1.0)
    assert setup.replace(found.changes).si(GAP) == pytest.approx(0.6e-3, abs=1e-7)
    assert any("tool maker" in note for note in found.notes)


def test_a_saddle_and_a_far_maximum_propose_nothing(setup, tmp_path):
    sheet = planish.design_runs(setup, TWO, star="inscribed")
    saddle = planish.fit_runs(
        filled(
            sheet, tmp_path / "saddle.csv", lambda c: (float(c[2]) - 4) ** 2 - 9 * (float(c[3]) - 0.6) ** 2
        )
    )
    assert saddle.stationary.kind == "saddle"
    assert saddle.changes == {}
    far = planish.fit_runs(
        filled(
            sheet, tmp_path / "far.csv", lambda c: -((float(c[2]) - 9) ** 2) - 9 * (float(c[3]) - 0.6) ** 2
        )
    )
    assert far.changes == {}
    assert any("maximum lies outside the ranges" in note for note in far.notes)


def test_settings_as_they_were_run_count_and_not_as_they_were_planned(setup, tmp_path):
    sheet = planish.design_runs(setup, TWO, star="inscribed")
    path = filled(sheet, tmp_path / "runs.csv", paraboloid)
    text = path.read_text(encoding="utf-8").splitlines()
    at = next(place for place, line in enumerate(text) if ",star," in line)
    cells = text[at].split(",")
    cells[2] = str(float(cells[2]) + 0.31)
    cells[-1] = str(paraboloid(cells))
    text[at] = ",".join(cells)
    path.write_text("\n".join(text) + "\n", encoding="utf-8")
    assert planish.fit_runs(path).stationary.value == pytest.approx(400.0)


def test_a_sheet_saved_by_a_spreadsheet_is_still_read(setup, tmp_path):
    """It puts separators behind the notes; another separator is known by the reader of tables."""
    path = filled(planish.design_runs(setup, TWO, star="faced"), tmp_path / "runs.csv", paraboloid)
    lines = path.read_text(encoding="utf-8").splitlines()
    path.write_text(
        "\n".join(f"{line},,," if line.startswith("#") else line for line in lines), encoding="utf-8"
    )
    assert planish.fit_runs(path).stationary.value == pytest.approx(400.0)
    path.write_text(
        "\n".join(line if line.startswith("#") else line.replace(",", ";") for line in lines),
        encoding="utf-8",
    )
    assert planish.fit_runs(path).stationary.value == pytest.approx(400.0)


def test_the_order_is_by_chance_and_by_the_seed_alone(setup):
    first, again, other = (planish.design_runs(setup, VARY, "full", seed=seed) for seed in (1, 1, 2))
    assert first.as_csv() == again.as_csv()
    assert [run.coded for run in first.runs] != [run.coded for run in other.runs]
    assert sorted(run.coded for run in first.runs) == sorted(run.coded for run in other.runs)


def test_a_run_is_the_setup_that_its_settings_make(setup):
    sheet = planish.design_runs(setup, PADS, "full", centre=1, predict=[RATE], seed=5)
    assert [run.kind for run in sheet.runs].count("centre") == 2  # one at each pad
    for at in (0, 3):
        polished = planish.polish(setup.replace(sheet.settings(at))).summary()
        assert sheet.predicted[RATE][at] == pytest.approx(polished[RATE])
    pads = {row["pad.part"] for row in sheet.rows()}
    assert pads == {"hard-microporous", "soft-felt"}


def test_what_is_predicted_is_fitted_like_what_is_measured(setup, tmp_path):
    sheet = planish.design_runs(setup, TWO, star="inscribed", predict=[RATE])
    direct = planish.fit_runs(sheet)
    path = sheet.write(tmp_path / "runs.csv")
    assert planish.fit_runs(path, RATE).fitted.values == pytest.approx(direct.fitted.values, abs=1e-6)
    with pytest.raises(FitError, match="runs with a result = 0"):
        planish.fit_runs(path)  # the column to fill in is empty
    assert any("agree to the last digit" in note for note in direct.notes)


def test_runs_without_a_result_are_left_out_and_told(setup, tmp_path):
    sheet = planish.design_runs(setup, TWO, star="faced", centre=6)
    path = filled(sheet, tmp_path / "runs.csv", lambda c: "" if c[0] in ("2", "5") else paraboloid(c))
    found = planish.fit_runs(path)
    assert found.measured.left_out == 2
    assert len(found.measured.result) == len(sheet.runs) - 2
    assert "2 runs without a result left out" in found.notes


def test_a_fraction_says_what_it_cannot_tell_apart_and_its_fit_refuses_it(setup, tmp_path):
    keys = {**VARY, "head.vacuum_hold": "8..12 psi"}
    sheet = planish.design_runs(setup, keys, "fraction", centre=0)
    assert len(sheet.runs) == 8
    assert sheet.model == "linear"
    assert any("a*b = c*d; a*c = b*d; a*d = b*c" in note for note in sheet.notes)
    path = filled(sheet, tmp_path / "runs.csv", lambda c: float(c[2]) * float(c[3]))
    assert planish.fit_runs(path).fitted.source("residual").degrees == 3
    with pytest.raises(FitError, match=r"apart: a\*b, c\*d: must be"):
        planish.fit_runs(path, terms="a b c d a*b c*d")


def test_a_key_of_two_texts_bends_nothing_and_has_no_flat_point(setup, tmp_path):
    sheet = planish.design_runs(
        setup, {**TWO, "pad.part": "hard-microporous, soft-felt"}, "optimal", runs=14, seed=2
    )
    path = filled(
        sheet,
        tmp_path / "runs.csv",
        lambda c: paraboloid(c) + (25 if c[4] == "soft-felt" else 0),
    )
    found = planish.fit_runs(path)
    told = {term_name(one.term): one.value for one in found.fitted.coefficients}
    assert "c^2" not in told
    assert told["c"] == pytest.approx(12.5)
    assert found.stationary is None
    assert found.document()["flat_point"] == "none"


def test_an_optimal_plan_leaves_out_what_no_setup_can_be(setup):
    """Zones of the head that must grow outwards: half of the square is no head."""
    keys = {"head.zone.1.outer_radius": "30..60 mm", "head.zone.2.outer_radius": "40..70 mm"}
    with pytest.raises(SetupError, match=r"corner run of this plan makes no setup .*take the plan optimal"):
        planish.design_runs(setup, keys, "full")
    sheet = planish.design_runs(setup, keys, "optimal", model="linear")
    assert any("1 of 4 settings make no setup" in note for note in sheet.notes)
    for at in range(len(sheet.runs)):
        setup.replace(sheet.settings(at))


def test_a_star_outside_what_can_be_names_the_remedy(setup):
    keys = {RING: "0.5..20 psi", GAP: "0.4..0.9 mm"}
    with pytest.raises(SetupError, match=r"star run .*inscribed or faced.*-3\.5"):
        planish.design_runs(setup, keys, star="circumscribed")
    assert len(planish.design_runs(setup, keys, star="faced").runs) == 13
    coded = np.array([run.coded for run in planish.design_runs(setup, keys).runs])
    assert (coded.min(), coded.max()) == pytest.approx((-1.0, 1.0))  # the range that is given, and no farther
    beyond = planish.design_runs(setup, {RING: "3..5 psi", GAP: "0.4..0.9 mm"}, star="circumscribed")
    assert any("2.58579 psi to 5.41421 psi" in note for note in beyond.notes)


def test_results_that_do_not_differ_have_no_surface():
    cube, axes = composite(2)
    with pytest.raises(FitError, match="such as differ"):
        fit_surface(np.vstack([cube, axes]), np.full(8, 300.0), terms_of("linear", 2))


def test_noise_is_told_by_the_errors():
    """Of many experiments with the same noise, 95 % of the intervals hold the true coefficient."""
    rng = np.random.default_rng(7)
    cube, axes = composite(2)
    points = np.vstack([cube, axes, np.zeros((5, 2))])
    terms = terms_of("quadratic", 2)
    true = np.array([10.0, 2.0, -1.0, 0.5, -3.0, -2.0])
    from scipy.stats import t as student

    from planish.tuning.design.terms import model_matrix

    inside = []
    for _ in range(400):
        found = fit_surface(points, model_matrix(points, terms) @ true + rng.normal(0, 1.5, 13), terms)
        reach = student.ppf(0.975, 7)
        inside += [
            abs(one.value - at) <= reach * one.error for one, at in zip(found.coefficients, true, strict=True)
        ]
    assert np.mean(inside) == pytest.approx(0.95, abs=0.015)


def test_as_many_terms_as_runs_tell_no_error():
    points = np.array([[-1.0, -1], [1, -1], [-1, 1], [1, 1]])
    found = fit_surface(points, np.array([1.0, 2, 3, 5]), terms_of("interactions", 2))
    assert found.spread is None
    assert all(one.error is None for one in found.coefficients)
    assert found.adjusted is None
    assert found.error_at(points) is None


@pytest.mark.parametrize("factors", [3, 5, 7])
def test_more_runs_make_no_shorter_words(factors):
    able = [runs for runs in (4, 8, 16, 32, 64) if factors < runs < 2**factors]
    found = [fraction(factors, runs).resolution for runs in able]
    assert found == sorted(found)


@pytest.mark.parametrize(
    ("keys", "options", "told"),
    [
        ({RING: "3..5 psi"}, {}, "2 to 12 keys"),
        ({RING: "3..5 psi", "head.ring.gapp": "1..2 mm"}, {}, "gapp"),
        ({RING: "3..5 psi/4", GAP: "0.4..0.9 mm"}, {}, "a range, as '2..6 psi'"),
        ({RING: "5..3 psi", GAP: "0.4..0.9 mm"}, {}, "lower to a higher"),
        ({RING: "3 psi, 4 psi, 5 psi", GAP: "0.4..0.9 mm"}, {}, "or two values"),
        (PADS, {}, "two values have no middle"),
        (TWO, {"plan": "star"}, "plan = 'star': must be one of full, fraction"),
        (TWO, {"plan": "box-behnken"}, "factors of a Box-Behnken plan = 2: must be 3 to 7"),
        (TWO, {"plan": "fraction"}, "factors of a fraction = 2: must be 3 to 12"),
        (VARY, {"plan": "fraction", "runs": 6}, "runs of a fraction of 3 factors = 6: must be one of 4"),
        (VARY, {"plan": "full", "runs": 4}, "left out for this plan"),
        (VARY, {"plan": "optimal", "runs": 4}, "10 or more"),
        (VARY, {"plan": "full", "model": "linear"}, "left out for this plan"),
        (VARY, {"plan": "full", "star": "faced"}, "left out for this plan"),
        (VARY, {"star": "out"}, "star = 'out': must be one of circumscribed"),
        (VARY, {"plan": "optimal", "model": "cubic"}, "model = 'cubic'"),
        (VARY, {"repeats": 0}, "repeats"),
        (VARY, {"repeats": 1000}, "at most 1024"),
        (VARY, {"centre": -1}, "centre"),
        (VARY, {"seed": 1.5}, "seed"),
        (VARY, {"star": "faced", "predict": ["rate"]}, "predict = 'rate': must be a figure of the summary"),
    ],
)
def test_plans_that_cannot_be_are_refused(setup, keys, options, told):
    with pytest.raises(PlanishError) as caught:
        planish.design_runs(setup, keys, **options)
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("change", "options", "told"),
    [
        (lambda t: t.replace("# factor", "# column"), {}, "no note names a factor"),
        (lambda t: t.replace("3..5 psi", "3 to 5 psi"), {}, "range of factor a"),
        (lambda t: t.replace("3..5 psi", "5..3 psi"), {}, "low..high"),
        (lambda t: t.replace("gap [mm] |", "gap |"), {}, "factor b"),
        (lambda t: t.replace("# factor a: ", "# factor a: x"), {}, "one of its columns"),
        (lambda t: t.replace("\n3,", "\n3,x", 1).replace(",x", ",", 1), {"result": "rate"}, "rate"),
        (lambda t: t.replace("rate [nm/min]", "kind2").replace(",4,", ",four,"), {}, "a number"),
        (lambda t: t, {"model": "cubic"}, "model = 'cubic'"),
        (lambda t: t, {"terms": "a b z"}, "terms = 'z'"),
        (lambda t: t, {"terms": "a", "model": "linear"}, "left out where terms are given"),
        (lambda t: "", {}, "empty"),
    ],
)
def test_sheets_that_cannot_be_are_refused_by_their_place(setup, tmp_path, change, options, told):
    path = filled(planish.design_runs(setup, TWO, star="inscribed"), tmp_path / "runs.csv", paraboloid)
    path.write_text(change(path.read_text(encoding="utf-8")), encoding="utf-8")
    with pytest.raises(PlanishError) as caught:
        planish.fit_runs(path, **options)
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)


def test_terms_are_read_as_they_are_written():
    terms = read_terms("a, b  b*a a^2 a*a", 2)
    assert [term_name(term) for term in terms] == ["1", "a", "b", "a*b", "a^2"]
    for text in ("", "c", "a+b", "a**b", "a^4", "1"):
        with pytest.raises(DataError, match="terms"):
            read_terms(text, 2)


def test_the_verbs_write_and_read(tmp_path, setup):
    (tmp_path / "own.toml").write_text(planish.new_setup("rotary"), encoding="utf-8")
    sheet = tmp_path / "runs.csv"
    words = ["design", "write", str(tmp_path / "own.toml"), "-o", str(sheet), "--star", "inscribed", "--json"]
    words += [word for key, span in TWO.items() for word in ("--vary", f"{key}={span}")]
    done = CliRunner().invoke(app, [*words, "--predict", RATE, "--result", "rate [nm/min]"])
    assert done.exit_code == 0, done.stderr
    assert json.loads(done.stdout)["runs"] == 13
    read = ["design", "read", str(sheet), "--result", RATE]
    done = CliRunner().invoke(app, [*read, "--json", "--out", str(tmp_path / "out")])
    assert done.exit_code == 0, done.stderr
    saved = planish.open_result(tmp_path / "out" / "surface.nc")
    assert saved.document() == json.loads(done.stdout)
    assert {path.name for path in (tmp_path / "out").iterdir()} == {
        "surface.png",
        "surface.svg",
        "surface.nc",
    }
    shown = CliRunner().invoke(app, read).stdout
    for text in ("coefficient", "lack of fit", "where it is flat", "r squared"):
        assert text in shown
