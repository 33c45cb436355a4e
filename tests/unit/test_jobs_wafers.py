"""Wafers that were asked for lately are kept, and never given out for another setup."""

from __future__ import annotations

import pytest

from planish import load, loads, new_setup, write_report
from planish.jobs import wafers
from planish.jobs.exchange import fresh
from planish.setup.models import Setup


@pytest.fixture(autouse=True)
def none_kept(monkeypatch):
    monkeypatch.setattr(wafers, "_polished", type(wafers._polished)())


def test_a_wafer_is_polished_once_for_all_that_is_asked_of_it():
    setup = loads(new_setup("rotary"))
    kept = wafers.polished(setup)
    wafers.recipe_page(setup)
    wafers.wafer_findings(setup, remedies=False)
    assert wafers.polished(loads(new_setup("rotary"))) is kept
    assert len(wafers._polished) == 1


def test_another_setup_has_another_wafer():
    setup = Setup(fresh("rotary"))
    kept = wafers.polished(setup)
    harder = wafers.polished(setup.replace({"recipe.step.main.ring_pressure": "5 psi"}))
    assert harder.summary() != kept.summary()
    assert "set by hand" in wafers.polished(setup.with_notes("set by hand")).notes
    assert "set by hand" not in wafers.polished(setup).notes


def test_a_changed_file_beside_the_setup_is_read_again(tmp_path):
    sites = tmp_path / "incoming.csv"
    written = new_setup("rotary").replace('thickness = "1000 nm"', 'sites = "incoming.csv"')
    assert "incoming.csv" in written
    (tmp_path / "setup.toml").write_text(written)
    thick = []
    for nm in (1000, 1100):
        rows = [f"{x},{y},{nm}" for x in (-90, -30, 30, 90) for y in (-90, -30, 30, 90)]
        sites.write_text("x_mm,y_mm,thickness_nm\n" + "\n".join(rows) + "\n")
        thick.append(wafers.polished(load(tmp_path / "setup.toml")).incoming.sum(axis=0).mean())
    assert thick == pytest.approx([1000e-9, 1100e-9])


def test_the_oldest_goes_where_too_many_are_kept(monkeypatch):
    monkeypatch.setattr(wafers, "KEPT", 1)
    setup = Setup(fresh("rotary"))
    first = wafers.polished(setup)
    wafers.polished(setup.replace({"title": "another"}))
    assert len(wafers._polished) == 1
    assert wafers.polished(setup) is not first


def test_the_page_is_the_report_that_is_written(tmp_path):
    setup = Setup(fresh("linear"))
    path = write_report(setup, tmp_path / "report.html")
    assert wafers.wafer_page(setup) == path.read_text(encoding="utf-8")
