"""Qualifications and tests of equivalence: what is looked at, what is signed, what the verbs say."""

from __future__ import annotations

import json

import numpy as np
import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import DataError
from planish.hold.qualify.checklist import TEXT, read_checklist
from planish.hold.qualify.record import digest_of

ROWS = {
    "break_in_s": [600.0, 600.0, 0.0, 0.0, 0.0, 0.0],
    "rate_nm_per_min": [235.0, 244.0, 246.0, 247.0, 248.0, 247.5],
    "wiwnu_percent": [3.1, 2.8, 2.5, 2.6, 2.4, 2.5],
    "particles": [22, 14, 12, 9, 11, 10],
}
KEY = b"a key of more than sixteen bytes"


@pytest.fixture
def checklist(tmp_path):
    path = tmp_path / "checklist.toml"
    path.write_text(TEXT, encoding="utf-8")
    return path


@pytest.fixture
def found(checklist):
    return planish.hold_qualify(ROWS, checklist, "A. Person", when="2026-03-01T14:30:00+01:00")


def test_each_look_is_what_it_says(found):
    rows = {row["check"]: row for row in found.rows()}
    assert rows["break-in"]["found"] == 1200.0
    assert rows["rate"]["found"] == pytest.approx(np.mean(ROWS["rate_nm_per_min"]))
    assert rows["within-wafer nonuniformity"]["worst"] == 3.1
    assert rows["particles"]["worst"] == 22
    last = np.array(ROWS["rate_nm_per_min"][-5:])
    slope = np.polyfit(np.arange(5), last, 1)[0]
    assert rows["seasoning"]["found"] == pytest.approx(100 * slope * 4 / last.mean())
    assert rows["seasoning"]["rows"] == 5
    assert found.passed
    assert found.when == "2026-03-01T13:30:00+00:00"


def test_a_limit_that_is_missed_is_told(checklist):
    worse = {**ROWS, "particles": [22, 14, 12, 9, 31, 10]}
    found = planish.hold_qualify(worse, checklist, "A. Person")
    assert not found.passed
    assert [row["check"] for row in found.rows() if not row["passed"]] == ["particles"]
    assert found.summary()["missed"] == 1
    drifting = {**ROWS, "rate_nm_per_min": [235.0, 260.0, 255.0, 250.0, 245.0, 240.0]}
    missed = [
        row["check"] for row in planish.hold_qualify(drifting, checklist, "A").rows() if not row["passed"]
    ]
    assert missed == ["seasoning"]  # falling counts as much as rising


def test_spread_rows_and_low_limits(tmp_path):
    path = tmp_path / "c.toml"
    path.write_text(
        'title = "t"\n[[check]]\nname = "s"\ncolumn = "x"\nlook = "spread"\nhigh = 1\n'
        '[[check]]\nname = "n"\ncolumn = "x"\nlook = "rows"\nlow = 4\n'
        '[[check]]\nname = "e"\ncolumn = "x"\nlook = "each"\nlow = 99\nhigh = 102\n',
        encoding="utf-8",
    )
    rows = {row["check"]: row for row in planish.hold_qualify({"x": [100, 101, 99.5]}, path, "A").rows()}
    assert rows["s"]["found"] == pytest.approx(
        100 * np.std([100, 101, 99.5], ddof=1) / np.mean([100, 101, 99.5])
    )
    assert (rows["n"]["found"], rows["n"]["passed"]) == (3, False)
    assert (rows["e"]["worst"], rows["e"]["passed"]) == (99.5, True)


def test_a_signed_record_comes_back_and_a_changed_one_is_noticed(found, tmp_path):
    path = found.sign(tmp_path / "record.json", KEY)
    again = planish.read_qualification(path, KEY)
    assert again.record() == found.record()
    assert planish.read_qualification(path).summary() == found.summary()
    record = json.loads(path.read_text(encoding="utf-8"))
    assert record["digest"] == found.summary()["digest"]

    def changed(**values):
        path.write_text(json.dumps({**record, **values}), encoding="utf-8")

    for values in (
        {"by": "B. Person"},
        {"passed": False},
        {"when": "2026-03-02T00:00:00+00:00"},
        {"more": 1},
    ):
        changed(**values)
        with pytest.raises(DataError, match="was changed since it was signed"):
            planish.read_qualification(path)
    checks = json.loads(json.dumps(record["checks"]))
    checks[0]["low"] = 1.0
    changed(checks=checks)
    with pytest.raises(DataError, match="was changed"):
        planish.read_qualification(path)
    # Who makes a new digest too is noticed by the seal.
    content = {name: value for name, value in record.items() if name not in ("digest", "seal")}
    content["by"] = "B. Person"
    path.write_text(json.dumps({**content, "digest": digest_of(content), "seal": record["seal"]}))
    assert planish.read_qualification(path).by == "B. Person"
    with pytest.raises(DataError, match="seal does not fit"):
        planish.read_qualification(path, KEY)
    path.write_text(json.dumps({**content, "digest": digest_of(content)}))
    with pytest.raises(DataError, match="carries no seal"):
        planish.read_qualification(path, KEY)


def test_the_order_of_keys_is_no_change(found, tmp_path):
    path = found.sign(tmp_path / "record.json")
    record = json.loads(path.read_text(encoding="utf-8"))
    path.write_text(json.dumps(dict(reversed(record.items())), indent=4), encoding="utf-8")
    assert planish.read_qualification(path).record() == found.record()


def test_the_template_can_be_read(checklist):
    read = read_checklist(checklist)
    assert [one.name for one in read.checks] == [
        "break-in",
        "rate",
        "within-wafer nonuniformity",
        "particles",
        "seasoning",
    ]


def test_a_margin_in_percent_is_of_the_old_mean():
    data = {"x": [99.0, 101.0, 100.0, 101.0, 100.0, 102.0], "p": list("aaabbb")}
    found = planish.hold_equivalence(data, "x", "p", "a", "b", "5 %")
    assert found.upper == pytest.approx(5.0)
    assert found.difference == pytest.approx(1.0)
    assert found.shown
    assert not planish.hold_equivalence(data, "x", "p", "a", "b", 1.0).shown
    assert planish.hold_equivalence(data, "x", "p", "b", "a", 5.0).difference == pytest.approx(-1.0)


def test_rows_that_are_needed_have_the_power():
    found = planish.hold_equivalence_size(2.0, 3.0, power=0.9)
    before = next(power for rows, power in found.curve if rows == found.rows - 1)
    assert before < 0.9 <= found.has
    assert found.rows == planish.hold_equivalence_size(2000.0, 3000.0, power=0.9).rows


def test_the_verbs(tmp_path):
    runner = CliRunner()
    table, list_, key, record = (tmp_path / name for name in ("t.csv", "c.toml", "key", "r.json"))
    key.write_bytes(KEY + b"\n")
    names = list(ROWS)
    lines = [",".join(names), *(",".join(map(str, row)) for row in zip(*ROWS.values(), strict=True))]
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert runner.invoke(app, ["hold", "checklist", "-o", str(list_)]).exit_code == 0
    words = ["hold", "qualify", str(table), "--checklist", str(list_), "--by", "A. Person"]
    words += ["--record", str(record), "--key", str(key)]
    done = runner.invoke(app, [*words, "--json", "--out", str(tmp_path / "out")])
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["passed"] is True
    assert {one.name for one in (tmp_path / "out").iterdir()} == {
        "qualification.png",
        "qualification.svg",
        "qualification.nc",
    }
    shown = runner.invoke(app, ["hold", "qualified", str(record), "--key", str(key), "--json"])
    assert json.loads(shown.stdout) == json.loads(done.stdout)
    table.write_text(table.read_text().replace("3.1", "5.1"), encoding="utf-8")
    missed = runner.invoke(app, [*words, "-o", str(tmp_path / "q.html")])
    assert missed.exit_code == 3
    assert "within-wafer nonuniformity" in (tmp_path / "q.html").read_text(encoding="utf-8")
    assert runner.invoke(app, ["hold", "qualified", str(record)]).exit_code == 3
    parts = tmp_path / "p.csv"
    parts.write_text(
        "x,pad\n"
        + "".join(f"{v},{p}\n" for v, p in zip([99, 101, 100, 101, 100, 102], "aaabbb", strict=True))
    )
    same = ["hold", "equivalence", str(parts), "--value", "x", "--part", "pad", "--old", "a", "--new", "b"]
    assert runner.invoke(app, [*same, "--margin", "5 %"]).exit_code == 0
    assert runner.invoke(app, [*same, "--margin", "0.5", "--out", str(tmp_path / "e")]).exit_code == 3
    assert (tmp_path / "e" / "equivalence.png").exists()
    size = runner.invoke(app, ["hold", "equivalence-size", "--sd", "2", "--margin", "3", "--json"])
    assert json.loads(size.stdout)["rows_needed"] == planish.hold_equivalence_size(2.0, 3.0).rows
