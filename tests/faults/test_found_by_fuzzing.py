"""What odd inputs once did to the command line, reduced: each failed in the way its name says."""

from __future__ import annotations

import warnings

import numpy as np
import polars as pl
import pytest

import planish
from planish.cli import show
from planish.errors import DataError, FitError, ModelError, SetupError
from planish.fit.planarization import fit_planarization
from planish.jobs.dies import die_quantity
from planish.measure.layout.make import make_maps
from planish.measure.steps import StepTable
from planish.measure.traces.invented import invented_traces
from planish.measure.traces.read import read_rates, read_traces
from planish.physics.pattern.kernels import cell_weights
from planish.physics.surface.dwell import DwellLimits, design_dwell
from planish.predict.dwell import design_sweep
from planish.setup.load import loads
from planish.setup.new import new_setup

ROTARY = loads(new_setup("rotary"), "rotary")


@pytest.fixture(autouse=True)
def no_warnings():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        yield


@pytest.mark.parametrize("kernel", ["elliptic", "gaussian"])
def test_a_kernel_of_terabytes_is_refused(kernel) -> None:
    with pytest.raises(ModelError, match="larger cells, or a shorter length"):
        cell_weights(kernel, 1.0, 1e-6)
    with pytest.raises(ModelError, match="kernel of planarization length"):
        cell_weights(kernel, 1e300, 1e-6)


@pytest.mark.parametrize("kernel", ["elliptic", "gaussian", "square"])
def test_a_kernel_within_its_cell_is_that_cell(kernel) -> None:
    np.testing.assert_array_equal(cell_weights(kernel, 1e-300, 1e-5), [[1.0]])


@pytest.mark.parametrize("text", ["1e300 m", "1e-300 m", "5 psi", "nan um", ""])
def test_options_keep_to_the_limits_of_the_setup_and_name_themselves(text) -> None:
    with pytest.raises(SetupError, match=r"^--planarization-length = "):
        die_quantity("--planarization-length", text, "planarization_length")
    if text != "1e300 m":
        with pytest.raises(SetupError, match=r"^--cell = '"):
            show.quantity("--cell", text if "m" not in text else f"{text[:1]} K", "length")


def test_time_where_the_disk_cuts_nothing_is_no_even_wear() -> None:
    # Two zones over the track, a third beside it: all time there cuts nothing, everywhere alike.
    found = design_dwell(np.ones(2), [[1.0, 0.5, 0.0], [0.5, 1.0, 0.0]])
    np.testing.assert_allclose(found.zone_dwell, [0.5, 0.5, 0.0], atol=1e-12)
    assert found.flatness == pytest.approx(0.0, abs=1e-12)
    # A zone that hardly cuts, and evenly as a share of what it cuts, is no better than one that cuts well.
    found = design_dwell(np.ones(2), [[1.0, 1.02e-3], [1.0, 0.98e-3]])
    assert found.zone_dwell[0] > 0.99
    inside = ROTARY.replace({"polisher.centre_offset": "40 mm", "conditioner.sweep.outer": "335 mm"})
    design = design_sweep(inside, 10)
    assert design.summary()["mean_cut_after_um_per_h"] > 1.0
    assert design.uneven_after < design.uneven_before


def test_dwell_keeps_the_least_share() -> None:
    found = design_dwell(np.ones(2), [[1.0, 0.5, 0.0], [0.5, 1.0, 0.0]], limits=DwellLimits(least=0.1))
    np.testing.assert_allclose(found.zone_dwell, [0.45, 0.45, 0.1], atol=1e-12)
    found = design_dwell(np.ones(2), [[1.0, 0.5], [0.2, 1.0]], limits=DwellLimits(least=0.5))
    np.testing.assert_allclose(found.zone_dwell, [0.5, 0.5], atol=1e-12)


def test_a_tail_far_shorter_than_the_heights_is_refused() -> None:
    with pytest.raises(SetupError, match=r"pad.surface.tail_length = '0.01 um': must be at least 1/100"):
        ROTARY.replace({"pad.surface.tail_length": "0.01 um"})
    short = ROTARY.replace({"pad.surface.tail_length": "0.07 um"})
    assert planish.polish_lot(short, 2).summary()["wafers"] == 2


def test_a_pad_worn_away_by_one_wafer_is_refused() -> None:
    gone = ROTARY.replace({"pad.wear_coefficient": "1e-6 1/Pa", "conditioner.part": "electroplated-325-grit"})
    with pytest.raises(ModelError, match=r"^wafer 1: the pad is worn through .*: condition less"):
        planish.polish_lot(gone, 3)


def test_a_pad_worn_through_is_said() -> None:
    fast = ROTARY.replace({"pad.wear_coefficient": "2.1e-8 1/Pa"})
    notes = " | ".join(planish.polish_lot(fast, 5).document()["notes"])
    assert (
        "from wafer 5: the pad is worn by more than 0.8 mm: how it gives way is kept as it was there" in notes
    )
    with pytest.raises(ModelError, match=r"^wafer 8: the pad is worn through .*event '7 pad'"):
        planish.polish_lot(fast, 9)
    changed = planish.polish_lot(fast, 9, events=["7 pad"])
    assert len(changed.records.rate) == 9


def steps(up_loss):
    x = np.linspace(2e-4, 1.8e-3, 9)
    time = np.full(9, 60.0)
    return StepTable(x, x, time, np.asarray(up_loss), np.full(9, np.nan))


@pytest.mark.parametrize(
    "loss, words",
    [
        (np.linspace(1, 2, 9) * 1e200, "loss or step left"),
        (np.where(np.arange(9) == 4, 1e-9, 9e-4), "planarization length|do not|leave it open"),
    ],
)
def test_steps_that_nothing_fits_are_refused(loss, words) -> None:
    maps = make_maps("density-blocks", cell=200e-6)
    with pytest.raises(FitError, match=words):
        fit_planarization(maps, steps(loss), step=800e-9)
    with pytest.raises(FitError, match="step before polishing"):
        fit_planarization(maps, steps(np.linspace(1e-7, 2e-7, 9)), step=500.0)


@pytest.mark.parametrize(
    ("column", "file"), [("use_dresser", "traces"), ("rate", "rates"), ("time", "traces")]
)
@pytest.mark.parametrize("value", [1e308, -1e20])
def test_a_number_that_no_sensor_tells_is_refused(tmp_path, column, file, value) -> None:
    tables = dict(zip(("traces", "rates"), invented_traces(seed=3), strict=True))
    odd = tables[file].with_columns(pl.lit(value).alias(column))
    odd.write_csv(tmp_path / "odd.csv")
    read = read_traces if file == "traces" else read_rates
    with pytest.raises(DataError, match=r"right column|zero right|same time"):
        read(tmp_path / "odd.csv")
