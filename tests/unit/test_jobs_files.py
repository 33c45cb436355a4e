"""What is in a file that somebody brings, and which of its layers a die stands on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from planish.errors import DataError
from planish.jobs.choices import file_maps, pattern_maps
from planish.jobs.file_kinds import layout_told, table_told
from planish.jobs.rates import rate_sentences, read_measured_wafers
from planish.measure.layout.gds_write import write_rects
from planish.measure.traces.invented import invented_traces
from planish.web.own_data import traces


@pytest.fixture
def layout(tmp_path):
    return write_rects(tmp_path / "two.gds", np.array([[0, 0, 50_000, 50_000], [50_000, 0, 60_000, 10_000]]))


def test_without_a_layer_the_fullest_is_taken(layout):
    assert layout_told(layout) == {"is": "layout", "layers": [{"layer": "1/0", "shapes": 2}]}
    maps, named = file_maps(layout, "", 10e-6), file_maps(layout, "1/0", 10e-6)
    assert np.array_equal(maps.density, named.density)
    with pytest.raises(DataError, match="7/0"):
        file_maps(layout, "7/0", 10e-6)


def test_a_test_layout_has_a_quick_size_of_its_own():
    assert pattern_maps("density-blocks").cell == pytest.approx(200e-6)
    assert pattern_maps("line-space").cell == pytest.approx(20e-6)
    assert pattern_maps("step-density", 100e-6, 4e-3).density.shape == (10, 40)
    with pytest.raises(DataError, match="must be one of density-blocks"):
        pattern_maps("stripes")


def test_a_table_that_is_nothing_says_what_each_reader_missed(tmp_path):
    odd = tmp_path / "odd.csv"
    odd.write_text("colour,shape\nred,round\n")
    with pytest.raises(DataError) as refused:
        table_told(odd)
    assert str(refused.value).startswith(f"{odd}: cannot be read. as sites: ")
    assert "as traces: " in str(refused.value)
    assert "as rates: " in str(refused.value)


@pytest.fixture(scope="module")
def cut(tmp_path_factory):
    folder = tmp_path_factory.mktemp("traces")
    samples, rates = invented_traces(seed=2)
    samples.write_parquet(folder / "traces.parquet")
    rates.write_parquet(folder / "rates.parquet")
    return folder / "traces.parquet", folder / "rates.parquet"


def test_traces_need_no_rates_and_have_laws_where_there_are_some(cut):
    alone, rated = read_measured_wafers(cut[0]), read_measured_wafers(*cut)
    assert alone.table.height >= rated.table.height > 200
    assert "rate" not in alone.table.columns
    sentences = rate_sentences(rated)
    assert any("rate" in line for line in sentences)
    few = replace(rated, table=rated.table[:5])
    (reason,) = rate_sentences(few)
    assert "wafers" in reason


def test_the_page_shows_the_same_sentences(cut):
    found = traces(str(cut[0]), "mine", str(cut[1]))
    assert found["findings"] == rate_sentences(read_measured_wafers(*cut))
    assert "findings" not in traces(str(cut[0]), "mine", None)
    with pytest.raises(DataError) as refused:
        traces(str(cut[0].parent / "gone.parquet"), "mine", None)
    assert str(cut[0].parent) not in str(refused.value)
