"""Pictures where they are looked at: in a notebook without pyplot, and of results that were saved."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

import planish
from planish.errors import DataError
from planish.explain.figures.style import as_png
from planish.predict.lot.result import Limits
from planish.results.file import read
from planish.results.saved import SavedResult

EXAMPLES = Path(__file__).parents[2] / "examples"
PNG = b"\x89PNG\r\n\x1a\n"


@pytest.fixture(scope="module")
def setup():
    return planish.load(EXAMPLES / "rotary.toml")


@pytest.fixture(scope="module")
def maps():
    return planish.read_layout_maps(EXAMPLES / "data" / "test-blocks.gds", 1, 0, 400e-6, cache=False)


def test_a_figure_shows_itself_in_a_notebook(setup):
    """A front end asks what is returned for its PNG by this method (the documented protocol of rich display)."""
    shown = planish.polish(setup).plot()
    png = shown._repr_png_()
    assert png.startswith(PNG)
    width, height = (int.from_bytes(png[at : at + 4], "big") for at in (16, 20))
    assert (width, height) == tuple(np.round(shown.get_size_inches() * 96).astype(int))


def test_a_plot_loads_no_window_system():
    code = (
        "import sys, planish\n"
        f"planish.polish({str(EXAMPLES / 'rotary.toml')!r}).plot()\n"
        "print('matplotlib.pyplot' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


@pytest.mark.parametrize("options", [{}, {"units": "si"}])
@pytest.mark.parametrize("name", ["rotary.toml", "copper.toml"])
def test_a_saved_wafer_has_the_same_picture(name, options, tmp_path):
    wafer = planish.polish(EXAMPLES / name)
    wafer.save(tmp_path / "wafer.nc")
    assert as_png(planish.open_result(tmp_path / "wafer.nc").plot(**options)) == as_png(wafer.plot(**options))


def test_a_saved_lot_has_the_same_picture(setup, tmp_path):
    lot = planish.polish_lot(setup, 12, events=["5 pad", "9 disk"], limits=Limits(wiwnu_percent=0.1))
    assert lot.end_of_life()[0] is not None
    lot.save(tmp_path / "lot")
    for place in (tmp_path / "lot", tmp_path / "lot" / "lot.nc"):
        assert as_png(planish.open_result(place).plot()) == as_png(lot.plot())


def test_a_saved_lot_without_events_has_the_same_picture(setup, tmp_path):
    lot = planish.polish_lot(setup, 3)
    lot.save(tmp_path / "lot")
    assert as_png(planish.open_result(tmp_path / "lot").plot()) == as_png(lot.plot())


def test_a_saved_die_has_the_same_picture(setup, maps, tmp_path):
    die = planish.polish_die(setup, maps)
    die.save(tmp_path / "die.nc")
    saved = planish.open_result(tmp_path / "die.nc")
    assert as_png(saved.plot()) == as_png(die.plot())
    assert as_png(saved.plot(place=0)) == as_png(die.plot(place=0))


def test_the_section_of_a_die_shows_what_came_in_there(setup, maps):
    """Where the topography from below differs from place to place, each place is drawn with its own."""
    flat = np.zeros(maps.shape)
    wavy = flat + 1e-7 * np.sin(np.arange(maps.shape[1]))[None, :]
    die = planish.polish_die(setup, maps, place=["centre", "edge"], incoming={"centre": flat, "edge": wavy})

    def lines(place):
        return [line.get_label() for line in die.plot(place=place).axes[3].get_lines()]

    assert not any("incoming" in label for label in lines(0))
    assert any("incoming" in label for label in lines(1))


def test_what_a_file_lacks_for_its_picture_is_said(setup, tmp_path):
    content = read(planish.polish(setup).save(tmp_path / "wafer.nc"))
    for poorer, what in (
        (content.data.drop_vars("speed"), "speed"),
        (without(content.data, "wafer_radius"), "wafer_radius"),
    ):
        with pytest.raises(DataError, match=f"holds no '{what}'"):
            SavedResult(replace(content, data=poorer)).plot()
    with pytest.raises(DataError, match="kind of answer to draw = 'something': must be one wafer, lot, die"):
        SavedResult(replace(content, kind="something")).plot()


def without(data, name):
    poorer = data.copy()
    del poorer.attrs[name]
    return poorer


def test_what_is_no_result_file_is_said(tmp_path):
    with pytest.raises(DataError, match="must be the path of a file"):
        planish.open_result(None)
    with pytest.raises(DataError, match="give a file written by save"):
        planish.open_result(tmp_path)


def test_a_saved_result_is_fixed(setup, tmp_path):
    planish.polish(setup).save(tmp_path / "wafer.nc")
    saved = planish.open_result(tmp_path / "wafer.nc")
    saved.document()["notes"].append("mine")
    saved.document()["steps"].clear()
    assert saved.document()["steps"]
    saved.sources().append("mine")
    assert "mine" not in saved.notes
    assert "mine" not in saved.sources()
    with pytest.raises(ValueError, match="read-only"):
        saved.data["removed"].values[0] = 1.0


def test_names_on_a_logarithmic_axis_stand_apart(maps):
    from planish.explain.figures.die import feature_figure

    copper = planish.load(EXAMPLES / "copper.toml")
    fig = feature_figure(planish.polish_die(copper, maps, place="centre"), maps)
    fig.draw_without_rendering()
    labels = [tick for minor in (False, True) for tick in fig.axes[0].xaxis.get_ticklabels(minor=minor)]
    left, right = fig.axes[0].get_window_extent().intervalx
    boxes = [text.get_window_extent() for text in labels if text.get_text()]
    shown = sorted((box.x0, box.x1) for box in boxes if left - 1 <= 0.5 * (box.x0 + box.x1) <= right + 1)
    assert len(shown) > 1
    assert all(one[1] < two[0] for one, two in pairwise(shown))


def test_groove_depth_lies_below_the_top_of_its_axis(setup):
    lot = planish.polish_lot(setup, 3)
    deepest = lot.records.groove_mean.max() * 1e6
    (depth,) = [ax for ax in lot.plot().axes if ax.get_title("left") == "Groove depth"]
    assert depth.get_ylim()[1] > 1.02 * deepest
