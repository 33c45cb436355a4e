"""The hold view: a chart of one's own table with its alarms, and traces replayed, own and invented."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import expect

from planish import follow_trace, hold_chart, invent_trace

EXAMPLES = Path(__file__).parents[2] / "examples"
STEP_AT = 61


@pytest.fixture(scope="module")
def rates(tmp_path_factory):
    """Eighty wafers on two pads; from row 61 the rate stands 4 % lower."""
    rng = np.random.default_rng(4)
    rate = 300 + 3 * rng.standard_normal(80)
    rate[STEP_AT - 1 :] -= 12
    path = tmp_path_factory.mktemp("hold") / "monitor.csv"
    rows = [
        f"{k + 1},{'A' if k < 40 else 'B'},{k // 4},{v:.2f},{50 + v / 30:.3f}" for k, v in enumerate(rate)
    ]
    path.write_text("wafer,pad,group,rate [nm/min],temperature\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_a_column_is_charted_and_its_alarms_say_what_changed(visit, rates) -> None:
    page = visit.open("#view=hold")
    page.set_input_files("#hold-view input[type=file] >> nth=0", str(rates))
    page.wait_for_selector("#hold-view [role=status]:has-text('80 rows')")
    assert page.locator("#hold-view [name=value]").input_value() == "rate [nm/min]"
    page.fill("#hold-view [name=baseline]", "40")
    page.click("#hold-view button:has-text('draw the chart')")
    page.wait_for_selector("#hold-view [aria-label=Alarms]")
    found = hold_chart(rates, "rate [nm/min]", baseline=40)
    rows = page.locator("#hold-view [aria-label=Alarms] tbody th").all_inner_texts()
    assert [int(row) for row in rows] == [alarm.row for alarm in found.alarms]
    assert found.alarms[0].cause in page.locator("#hold-view [aria-label=Alarms]").inner_text()
    assert page.locator("#hold-view .chart-svg").count() == len(found.panels) == 2
    assert f"{found.centre:.5g}" in page.locator("#hold-view .sentence").inner_text()
    page.select_option("#hold-view [name=phase]", "pad")
    page.click("#hold-view button:has-text('draw the chart')")
    page.wait_for_selector("#hold-view .sentence:has-text('in the last phase')")
    page.select_option("#hold-view [name=chart]", "t2")
    page.select_option("#hold-view [name=value]", ["rate [nm/min]", "temperature"])
    page.click("#hold-view button:has-text('draw the chart')")
    page.wait_for_selector("#hold-view .sentence:has-text('temperature')")
    assert page.locator("#hold-view .chart-svg").count() == 1


def test_a_table_that_cannot_be_charted_says_why(visit, rates) -> None:
    page = visit.open("#view=hold")
    page.click("#hold-view button:has-text('draw the chart')")
    page.wait_for_selector("#hold-view .wrong:has-text('choose a table')")
    page.set_input_files("#hold-view input[type=file] >> nth=0", str(rates))
    page.wait_for_selector("#hold-view [role=status]:has-text('80 rows')")
    page.select_option("#hold-view [name=chart]", "xbar")
    page.select_option("#hold-view [name=group]", "wafer")  # one row a group has no spread
    page.click("#hold-view button:has-text('draw the chart')")
    page.wait_for_selector("#hold-view .wrong:has-text('monitor.csv')")
    visit.errors.clear()  # the refused request shows in the console as status 400


def test_an_own_trace_is_replayed_to_the_call_that_the_command_gives(visit, tmp_path) -> None:
    trace = invent_trace(EXAMPLES / "rotary.toml", "light", seed=5)
    path = trace.write(tmp_path / "fringes.csv")
    found = follow_trace(path, "500 nm")
    page = visit.open("#view=hold")
    page.click("#hold-view [data-part=trace]")
    page.set_input_files("#hold-view input[type=file] >> nth=1", str(path))
    expect(page.locator("#hold-view [name=file] >> nth=1")).not_to_have_value("")
    page.fill("#hold-view [name=target_nm]", "500")
    page.click("#hold-view button:has-text('replay it')")
    assert found.called is not None
    page.wait_for_selector("#hold-view .sentence:has-text('It would have called at')")
    told = re.search(r"called at ([\d.]+) s", page.locator("#hold-view .sentence").first.inner_text())
    assert float(told[1]) == pytest.approx(found.called, rel=1e-3)
    page.locator("#hold-view input[type=range]").fill("0")
    page.wait_for_selector("#hold-view .sentence:has-text('still looking')")


def test_a_trace_is_invented_from_the_setup_on_the_bench(visit) -> None:
    page = visit.open("#view=hold")
    page.click("#hold-view [data-part=trace]")
    page.select_option("#hold-view [name=kind]", "friction")
    page.click("#hold-view button:has-text('replay it')")
    page.wait_for_selector("#hold-view .sentence:has-text('false alarms')")
    page.select_option("#hold-view [name=kind]", "light")
    page.fill("#hold-view [name=target_nm]", "1e6")
    page.click("#hold-view button:has-text('replay it')")
    page.wait_for_selector("#hold-view .wrong")
    visit.errors.clear()  # the refused request shows in the console as status 400
