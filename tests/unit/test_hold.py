"""A step that is held: what changed at an alarm, phases, files of any kind, and the words that scripts rely on."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app

sys.path.insert(0, str(Path(__file__).parent))
from workbooks import workbook

RUN = CliRunner()
EXAMPLES = Path(__file__).parents[2] / "examples"


def noise(count, seed):
    return np.random.default_rng(seed).standard_normal(count)


def changed(kind, seed):
    """Return a hundred rows of noise that change after row 60."""
    z = noise(100, seed)
    after = np.arange(1, 41)
    if kind == "mean shift":
        z[60:] += 2.0
    elif kind == "drift":
        z[60:] += 0.12 * after
    elif kind == "spread":
        z[60:] *= 3.5
    else:
        z[60:] = 0.5 * z[60:] + 3.0 * np.where(after % 2, 1, -1)
    return 500 + 2 * z


def last_cause(chart):
    return chart.alarms[-1]


@pytest.mark.parametrize("kind", ["mean shift", "drift", "spread", "mixture"])
def test_what_changed_is_found_with_its_rows_and_size(kind):
    right, first, sizes = 0, [], []
    for seed in range(20):
        chart = planish.hold_chart({"x": changed(kind, seed)}, "x", baseline=60)
        alarms = [alarm for alarm in chart.alarms if alarm.row > 85]
        if alarms and alarms[-1].kind == kind:
            right += 1
            first.append(alarms[-1].from_row)
            sizes.append(abs(alarms[-1].size))
    assert right >= 15
    assert np.median(first) == pytest.approx(61, abs=6)
    expected = {"mean shift": 2.0, "drift": 0.12, "spread": 3.5, "mixture": 3.0}[kind]
    assert np.median(sizes) == pytest.approx(expected, rel=0.35)


def test_a_cause_says_sizes_in_the_unit_of_the_table():
    z = np.tile([-1.0, 1.0], 15)
    z[25:] += 9.0
    chart = planish.hold_chart({"x": 100 + z}, "x", centre=100.0, sigma=2.0)
    # Rows 26 to 28 lie at +5, +4 and +5 sigma.
    alarm = next(alarm for alarm in chart.alarms if alarm.row == 28 and alarm.panel == 0)
    assert alarm.cause == "mean shift of +4.67 sigma (+9.333) since row 26 (3 points)"
    lone = next(alarm for alarm in chart.alarms if alarm.row == 26 and alarm.panel == 0)
    assert lone.cause == "mean shift of +5.00 sigma (+10) in this row alone"


def test_limits_by_phase():
    values = np.concatenate([10 + noise(30, 1), 20 + 3 * noise(30, 2)])
    pads = ["P1"] * 30 + ["P2"] * 30
    one = planish.hold_chart({"x": values, "pad": pads}, "x", phase="pad")
    other = planish.hold_chart({"x": values}, "x", new_phase=[31])
    assert [phase.name for phase in one.phases] == ["pad P1", "pad P2"]
    assert [(phase.first_row, phase.last_row) for phase in one.phases] == [(1, 30), (31, 60)]
    for chart in (one, other):
        alone = planish.hold_chart({"x": values[30:]}, "x")
        assert (chart.lower, chart.upper) == (alone.lower, alone.upper)
        # No moving range reaches over the change.
        assert np.isnan(chart.panels[1].series[0][30])
    whole = planish.hold_chart({"x": values}, "x")
    assert len(one.alarms) < len(whole.alarms)


def test_an_ewma_begins_anew_in_each_phase():
    values = np.concatenate([10 + noise(30, 1), 20 + noise(30, 2)])
    chart = planish.hold_chart({"x": values}, "x", "ewma", new_phase=[31], weight=0.3)
    second = chart.phases[1]
    assert chart.panels[0].series[0][30] == pytest.approx(0.3 * values[30] + 0.7 * second.centre)


def test_rows_are_counted_as_a_person_counts_them(tmp_path):
    file = tmp_path / "rates.csv"
    lines = ["# a remark", "wafer;rate [nm/min];pad", *(f"{i};{300 + (i % 3)},5;A" for i in range(1, 41))]
    lines[2 + 9] = "10;;A"  # row 10: nothing was measured
    lines[2 + 30] = "31;390,5;A"  # row 31: far out
    file.write_text("\n".join(lines), encoding="utf-8")
    chart = planish.hold_chart(file, "rate", baseline=20)
    assert [alarm.row for alarm in chart.alarms if alarm.panel == 0] == [31]
    assert chart.notes[0] == "1 row without a value left out: 10"
    assert len(chart.rows) == 39
    assert chart.value == ("rate [nm/min]",)


def test_the_same_rows_from_any_kind_of_file(tmp_path):
    values = np.round(300 + 2 * noise(40, 6), 2)
    frame = pl.DataFrame({"wafer": np.arange(40), "rate [nm/min]": values})
    frame.write_csv(tmp_path / "a.csv")
    frame.write_csv(tmp_path / "b.tsv", separator="\t")
    frame.write_parquet(tmp_path / "c.parquet")
    comma = "\n".join(
        ["wafer;rate [nm/min]", *(f"{i};{v:.2f}".replace(".", ",") for i, v in enumerate(values))]
    )
    (tmp_path / "d.csv").write_text(comma, encoding="utf-8")
    (tmp_path / "e.csv").write_text(
        "\n".join(["wafer,rate", ",[nm/min]", *(f"{i},{v}" for i, v in enumerate(values))]), encoding="utf-8"
    )
    given = planish.hold_chart({"rate [nm/min]": values}, "rate")
    for name in ("a.csv", "b.tsv", "c.parquet", "d.csv", "e.csv"):
        chart = planish.hold_chart(tmp_path / name, "rate")
        assert (chart.centre, chart.upper) == pytest.approx((given.centre, given.upper), rel=1e-12), name
        assert chart.value == ("rate [nm/min]",), name


def test_limits_for_a_run_length():
    chart = planish.hold_chart({"x": noise(50, 3)}, "x", "ewma", weight=0.1, arl=500)
    assert chart.arl == pytest.approx(500)
    assert dict(chart.settings)["limit"] == pytest.approx(2.8143, abs=1e-4)


def test_rules_that_have_no_run_length_say_so():
    chart = planish.hold_chart({"x": noise(50, 3)}, "x", rules=["eight"])
    assert chart.arl is None
    assert any("no run length" in note for note in chart.notes)
    assert planish.hold_chart({"x": noise(50, 3)}, "x", rules=["handbook"]).arl == pytest.approx(
        91.75, abs=0.006
    )


def test_widened_limits_are_those_that_the_note_names():
    values = {"x": noise(12, 4)}
    plain, wide = planish.hold_chart(values, "x"), planish.hold_chart(values, "x", widen=True)
    assert plain.phases[0].widened == pytest.approx((wide.lower, wide.upper))
    assert wide.upper > plain.upper
    assert any("widen" in note for note in plain.notes)


def test_a_baseline_longer_than_a_phase_is_told():
    chart = planish.hold_chart({"x": noise(30, 4)}, "x", baseline=50)
    assert chart.phases[0].taken_from == 30
    assert any(note.startswith("baseline = 50: all rows has 30 points") for note in chart.notes)


def test_groups_of_different_sizes_have_limits_of_their_own():
    sizes = [3, 5, 8, 4, 6]
    group = np.repeat(np.arange(5), sizes)
    chart = planish.hold_chart({"x": noise(26, 5), "lot": group}, "x", "xbar", group="lot")
    reach = chart.panels[0].upper - chart.panels[0].centre
    assert reach * np.sqrt(sizes) == pytest.approx(np.full(5, 3 * chart.phases[0].sigma))
    assert chart.rows.tolist() == [3, 8, 16, 20, 26]


@pytest.fixture
def table(tmp_path):
    values = 300 + 2 * noise(60, 11)
    values[45:] += 6
    others = {"b": 10 + noise(60, 12) + 0.2 * (values - 300)}
    file = tmp_path / "month.csv"
    pl.DataFrame(
        {"a": values, **others, "lot": np.repeat(np.arange(12), 5), "pad": ["A"] * 30 + ["B"] * 30}
    ).write_csv(file)
    return file


def asked(*words):
    done = RUN.invoke(app, ["hold", *map(str, words), "--json"], catch_exceptions=False)
    return done.exit_code, json.loads(done.stdout)


@pytest.mark.parametrize("chart", ["individuals", "ewma", "cusum"])
def test_words_that_scripts_rely_on(table, chart):
    code, found = asked(table, "--value", "a", "--chart", chart, "--baseline", 30)
    assert code == 3
    assert found["lower"] < found["upper"]
    assert found["centre"] == pytest.approx(300, abs=1.5)
    assert {"row", "rule", "cause"} <= set(found["alarms"][0])
    assert "mean shift" in found["alarms"][-1]["cause"]
    code, same = asked("--value", "a", "--chart", chart, "--baseline", 30, table)
    assert same == found
    assert asked("chart", table, "--value", "a", "--chart", chart, "--baseline", 30)[1] == found


def test_several_columns_and_groups_by_the_command(table):
    code, found = asked(table, "--value", "a", "--value", "b", "--chart", "t2", "--baseline", 30)
    assert code == 3
    assert found["lower"] == 0
    assert found["upper"] > 8
    code, found = asked(table, "--value", "a", "--chart", "xbar", "--group", "lot", "--baseline", 6)
    assert code == 3
    assert found["alarms"][-1]["group"] == "11"


def test_no_alarm_ends_with_nothing(tmp_path):
    file = tmp_path / "calm.csv"
    pl.DataFrame({"a": np.tile([1.0, 2.0, 3.0], 20)}).write_csv(file)
    code, found = asked(file, "--value", "a")
    assert code == 0
    assert found["alarms"] == []
    assert "no alarm" in RUN.invoke(app, ["hold", str(file), "--value", "a"]).stdout


def test_run_lengths_by_the_command():
    code, found = asked("arl", "--chart", "ewma", "--weight", 0.1, "--limit", 2.814)
    assert code == 0
    assert found["arl"] == pytest.approx(499.58, abs=0.005)
    drifting = [
        asked(
            "arl",
            "--chart",
            "ewma",
            "--weight",
            0.1,
            "--limit",
            2.814,
            "--drift",
            0.01,
            "--drift-from",
            first,
        )[1]["arl"]
        for first in (0, 1)
    ]
    # The first sample of the one is the second of the other.
    assert 0 < drifting[0] - drifting[1] < 1
    assert asked("arl", "--chart", "ewma", "--weight", 0.1, "--limit", 2.814, "--shift", 0.5)[1][
        "arl"
    ] == pytest.approx(31.30, abs=0.005)
    assert asked("limit", "--chart", "ewma", "--weight", 0.1, "--arl", 500)[1]["limit"] == pytest.approx(
        2.814, abs=5e-4
    )


def test_capability_and_gauge_by_the_command(table, tmp_path):
    found = asked("capability", table, "--value", "a", "--lsl", 280, "--usl", 320)[1]
    assert found["cpk"] > 0
    assert found["cpk_low"] < found["cpk"] < found["cpk_high"]
    rows = [
        (part, by, 10 * part + by + noise(1, 100 * part + 10 * by + k)[0])
        for part in range(4)
        for by in range(2)
        for k in range(3)
    ]
    file = tmp_path / "gauge.csv"
    pl.DataFrame(rows, schema=["part", "by", "y"], orient="row").write_csv(file)
    found = asked("gauge", file, "--value", "y", "--part", "part", "--appraiser", "by")[1]
    assert [row["source"] for row in found["components"]][:2] == ["gauge", "repeatability"]
    assert found["distinct_categories"] > 5


def test_pictures_pages_and_files(table, tmp_path):
    for ending, begin in ((".png", b"\x89PNG"), (".svg", b"<svg"), (".html", b"<!doctype html>")):
        file = tmp_path / f"chart{ending}"
        done = RUN.invoke(app, ["hold", str(table), "--value", "a", "--phase", "pad", "-o", str(file)])
        assert done.exit_code in (0, 3), done.output
        assert file.read_bytes()[: len(begin)].lower() == begin.lower()
    page = (tmp_path / "chart.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert 'src="http' not in page
    assert "mean shift" in page
    done = RUN.invoke(
        app,
        ["hold", str(table), "--value", "a", "--baseline", "30", "--out", str(tmp_path / "all"), "--json"],
    )
    assert done.exit_code == 3
    written = {path.name for path in (tmp_path / "all").iterdir()}
    assert written == {"chart.png", "chart.svg", "points.csv", "chart.nc"}
    saved = planish.open_result(tmp_path / "all" / "chart.nc")
    assert saved.document() == json.loads(done.stdout)
    points = pl.read_csv(tmp_path / "all" / "points.csv")
    assert points.height == 60
    assert points["alarms"].drop_nulls().len() == len({alarm["row"] for alarm in saved.document()["alarms"]})


def test_a_month_of_wafers():
    chart = planish.hold_chart({"x": noise(30_000, 1)}, "x", baseline=500, rules=["handbook"])
    assert len(chart.rows) == 30_000
    # One alarm in 92 points on target; runs of them come together.
    assert 200 < len({alarm.row for alarm in chart.alarms}) < 2500


@pytest.fixture(scope="module")
def ageing():
    """Rates of a lot of an example setup, wafer after wafer, with a gauge's noise of 0.2 %."""
    from planish.predict.lot.variation import Variation

    setup = planish.load(EXAMPLES / "rotary.toml")
    rate = planish.polish_lot(setup, 80, variation=Variation.none(), conditioning=True).records.rate
    return setup, {"rate": 6e10 * rate * (1 + 0.002 * noise(80, 9)), "age": list(range(80))}


def test_what_the_model_foretells_by_ageing_is_no_alarm(ageing):
    setup, data = ageing
    plain = planish.hold_chart(data, "rate", "ewma", weight=0.2, baseline=20)
    aware = planish.hold_chart(data, "rate", "ewma", weight=0.2, baseline=20, model=setup, age="age")
    assert plain.alarms
    assert len(aware.alarms) < 0.2 * len(plain.alarms)
    assert any("the lot model foretells" in note for note in aware.notes)
    # What is left is the noise of the gauge.
    assert aware.phases[0].sigma / aware.centre == pytest.approx(0.002, rel=0.5)
    # A step that the model does not foretell still shows.
    stepped = {**data, "rate": np.where(np.arange(80) >= 50, 1.01, 1.0) * data["rate"]}
    found = planish.hold_chart(stepped, "rate", "ewma", weight=0.2, baseline=20, model=setup, age="age")
    assert found.alarms
    assert found.alarms[-1].kind == "mean shift"


def test_a_workbook(tmp_path):
    rows = [["wafer", "rate [nm/min]"], *([at, 300.0 + at % 3] for at in range(1, 31))]
    (tmp_path / "month.xlsx").write_bytes(workbook({"notes": [["nothing here"]], "rates": rows}))
    chart = planish.hold_chart(tmp_path / "month.xlsx", "rate")
    assert len(chart.rows) == 30
    assert chart.centre == pytest.approx(301)


def test_an_alarm_tells_what_its_row_is_called(tmp_path):
    file = tmp_path / "t.csv"
    rows = [f"W{at},{300 + at % 3}" for at in range(1, 20)]
    file.write_text("wafer,rate\n" + "\n".join([*rows, "W20,", "W21,340"]) + "\n")
    (alarm,) = planish.hold_chart(file, "rate", baseline=15, name="wafer").alarms[:1]
    assert (alarm.row, alarm.name) == (21, "W21")
    assert alarm.told()["name"] == "W21"
    assert "name" not in planish.hold_chart(file, "rate", baseline=15).alarms[0].told()
