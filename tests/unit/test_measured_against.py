"""One measured wafer, asked about by every door: the same polish time, the same figures."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import FitError, SetupError
from planish.explain import report
from planish.explain.page import Part
from planish.explain.words import label
from planish.fit.against import wafer_against
from planish.fit.removal import fit_prediction
from planish.jobs.measured import measured_against, read_removal
from planish.predict.wafer.polish import polish
from planish.predict.wafer.polish_time import with_total_time
from planish.web.own_data import measured

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
SETUP = EXAMPLES / "rotary.toml"


def sites(folder: Path, time: str | None = "60 s") -> tuple[Path, Path]:
    """The shipped invented wafer, polished for another time than the setup foresees (or for one not told)."""
    paths = []
    for which in ("before", "after"):
        text = (EXAMPLES / "data" / f"wafer-{which}.csv").read_text()
        line = "" if time is None else f"# polish_time: {time}\n"
        path = folder / f"{which}.csv"
        path.write_text("".join(part for part in text.splitlines(True) if "polish_time" not in part))
        path.write_text(line + path.read_text())
        paths.append(path)
    return paths[0], paths[1]


def command(*words: object) -> dict[str, object]:
    result = CliRunner().invoke(app, [*map(str, words), "--json"], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return dict(json.loads(result.stdout))


@pytest.fixture
def table_of_report(monkeypatch):
    """What the report's table of measured figures was given, before it is rounded for print."""
    seen = {}
    original = Part.table

    def noted(self, head, rows, caption=""):
        if "measured" in head:
            seen.update({row[0]: (row[1], row[2]) for row in rows})
        return original(self, head, rows, caption)

    monkeypatch.setattr(Part, "table", noted)
    return seen


def test_four_doors_give_the_same_figures(tmp_path, table_of_report):
    before, after = sites(tmp_path)
    fitted = command("fit", SETUP, before, after)
    gauge = command("measure", before, after)
    setup = planish.load(SETUP)
    page = measured(setup.document, {}, str(before), str(after), None)
    python = measured_against(setup, before, after)
    report.write_report(planish.polish(setup), tmp_path / "report.html", read_removal(before, after))

    library = planish.fit_wafer(planish.polish(SETUP), planish.measure_wafer(before, after))

    exact = {"rel": 1e-12, "abs": 0}
    assert page["fit"]["k_p_per_Pa"] == pytest.approx(fitted["k_p_per_Pa"], **exact)
    assert python.fitted().k_p == pytest.approx(fitted["k_p_per_Pa"], **exact)
    assert library.k_p == pytest.approx(fitted["k_p_per_Pa"], **exact)
    assert list(library.sentences) == fitted["findings"] == page["findings"] == python.sentences()
    on_page = {row["key"]: row for row in page["figures"]}
    for key in ("mean_removal_rate_nm_per_min", "wiwnu_sigma_percent", "mean_removed_nm", "time_s"):
        printed = table_of_report[label(key)]
        assert gauge[key] == pytest.approx(on_page[key]["measured"], **exact)
        assert gauge[key] == pytest.approx(python.figures[key], **exact)
        assert gauge[key] == pytest.approx(printed[1], **exact)
        assert on_page[key]["predicted"] == pytest.approx(printed[0], **exact)
    assert gauge["time_s"] == 60.0
    assert on_page["time_s"]["predicted"] == pytest.approx(60.0)


def test_the_fit_is_the_one_of_the_wafer_predicted_for_that_time(tmp_path):
    """Independent of the job: the recipe rewritten by hand to take 60 s gives the same constant."""
    before, after = sites(tmp_path)
    setup = planish.load(SETUP)
    timed = [s for s in setup.rig.steps if s.stop == "time"]
    by_hand = replace(
        setup.rig,
        steps=tuple(
            s
            if s.stop == "time"
            else replace(s, stop="time", stop_value=60.0 - sum(t.stop_value for t in timed))
            for s in setup.rig.steps
        ),
    )
    removal = read_removal(before, after).removal
    assert measured_against(setup, before, after).fitted().k_p == pytest.approx(
        fit_prediction(polish(by_hand), replace(removal, polish_time=60.0)).k_p, rel=1e-12
    )


def test_a_time_that_is_given_goes_before_the_stated_one_and_says_so(tmp_path):
    before, after = sites(tmp_path)
    setup = planish.load(SETUP)
    given = measured_against(setup, before, after, 99.0)
    stated = measured_against(setup, *sites(tmp_path, "99 s"))
    assert given.fitted().k_p == stated.fitted().k_p
    assert any("goes before the 60 s" in said for said in given.sentences())
    assert not any("goes before" in said for said in stated.sentences())
    assert command("fit", SETUP, before, after, "--time", "99 s")["k_p_per_Pa"] == stated.fitted().k_p


def test_without_any_time_there_is_no_rate_and_no_constant(tmp_path):
    """The recipe stops on an amount: its predicted time is a prediction, not a measurement."""
    before, after = sites(tmp_path, None)
    setup = planish.load(SETUP)
    against = measured_against(setup, before, after)
    assert against.time is None
    assert against.figures["mean_removal_rate_nm_per_min"] is None
    assert "says nothing" in against.sentences()[0]
    with pytest.raises(FitError, match="says nothing"):
        against.fitted()
    page = measured(setup.document, {}, str(before), str(after), None)
    assert page["fit"] == {}
    assert {row["key"]: row["measured"] for row in page["figures"]}["mean_removal_rate_nm_per_min"] is None


def test_a_timed_recipe_lends_its_time_and_says_so(tmp_path):
    setup = planish.load(SETUP)
    timed, _ = with_total_time(setup.rig, 80.0)
    against = wafer_against(timed, read_removal(*sites(tmp_path, None)))
    assert against.time == pytest.approx(80.0)
    assert any("taken as the recipe's 80 s" in note for note in against.notes)


def test_total_time_is_shared_out_and_told():
    setup = planish.load(SETUP)
    rig = setup.rig
    once, notes = with_total_time(rig, 75.0)
    assert polish(once).time == pytest.approx(75.0, rel=1e-12)
    assert notes == ()
    stretched, notes = with_total_time(once, 150.0)
    assert [s.stop_value for s in stretched.steps] == pytest.approx([2 * s.stop_value for s in once.steps])
    assert "stretched alike" in notes[0]
    assert with_total_time(once, 75.0) == (once, ())
    fixed = sum(s.stop_value for s in rig.steps if s.stop == "time")
    if fixed:
        with pytest.raises(SetupError, match="must be above"):
            with_total_time(rig, 0.5 * fixed)


def test_two_open_steps_share_the_time_as_predicted():
    rig = planish.load(SETUP).rig
    opened = next(s for s in rig.steps if s.stop == "removed")
    halves = tuple(
        replace(opened, name=name, stop_value=share * opened.stop_value)
        for name, share in (("first", 0.25), ("second", 0.75))
    )
    both = replace(rig, steps=halves)
    lasted = [step.duration for step in polish(both).steps]
    timed, notes = with_total_time(both, 2 * sum(lasted))
    assert [s.stop_value for s in timed.steps] == pytest.approx(np.multiply(2, lasted))
    assert "shared as predicted" in notes[0]


def test_one_file_must_hold_the_removal(tmp_path):
    before, _after = sites(tmp_path)
    with pytest.raises(planish.PlanishError, match="give the file from after the polish too"):
        read_removal(before)


def test_what_was_measured_may_be_a_map_a_pair_or_a_wafer(tmp_path):
    before, after = sites(tmp_path)
    wafer = planish.measure_wafer(before, after)
    predicted = planish.polish(SETUP)
    fits = [planish.fit_wafer(predicted, each) for each in (wafer, wafer.paired, wafer.removal)]
    assert fits[0].k_p == fits[1].k_p == fits[2].k_p
    timed = planish.fit_wafer(SETUP, planish.measure_wafer(before, after, 99.0))
    assert timed.k_p == planish.fit_wafer(SETUP, wafer, 99.0).k_p
    assert timed.k_p < fits[0].k_p
    for wrong in ({"removal": 1}, None, "post.csv", wafer.summary()):
        with pytest.raises(planish.PlanishError, match=f"a {type(wrong).__name__} was given: must be a map"):
            planish.fit_wafer(predicted, wrong)


def test_a_report_takes_a_file_and_a_measured_wafer(tmp_path):
    before, after = sites(tmp_path)
    wafer = planish.measure_wafer(before, after)
    one = planish.write_report(str(SETUP), tmp_path / "a.html", wafer)
    other = planish.write_report(planish.polish(SETUP), tmp_path / "b.html", wafer.paired)
    assert one.read_text() == other.read_text()
    for wrong in (3, {"title": "x"}):
        with pytest.raises(SetupError, match="must be a setup"):
            planish.write_report(wrong, tmp_path / "c.html")
    assert not (tmp_path / "c.html").exists()


@pytest.mark.parametrize("time", ["99 s", "60 s", "40 s"])
def test_the_constant_found_is_the_one_that_gives_the_wafer(tmp_path, time):
    before, after = sites(tmp_path, time)
    setup = planish.load(SETUP)
    found = planish.fit_wafer(setup, planish.measure_wafer(before, after))
    again = planish.fit_wafer(setup.replace(found.changes), planish.measure_wafer(before, after))
    assert again.scale == pytest.approx(1.0, abs=1e-5)
    assert again.k_p == pytest.approx(found.k_p, rel=1e-5)
    assert again.k_p_error == pytest.approx(found.k_p_error, rel=0.02)
    # the rate that it proposes is that constant at the reference condition
    reference = setup.replace(found.changes).rig.removal["oxide"]
    assert reference.coefficients["k_p"] == pytest.approx(found.k_p, rel=1e-5)
    assert planish.fit_wafer(setup.rig, planish.measure_wafer(before, after)).k_p == pytest.approx(
        found.k_p, rel=1e-9
    )


def test_the_table_sets_like_beside_like(tmp_path):
    found = wafer_against(planish.load(SETUP), read_removal(*sites(tmp_path, "99 s")))
    row = next(row for row in found.rows() if row["key"] == "mean_removed_nm")
    assert row["predicted"] == pytest.approx(1e9 * float(np.mean(found.at_sites)), rel=1e-12)
    assert row["measured"] / row["predicted"] == pytest.approx(found.fitted().scale, rel=1e-3)
