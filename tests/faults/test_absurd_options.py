"""Absurd lengths in options and tables: refused in one line before any room is made, at once."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from planish.cli.main import app
from planish.errors import DataError, FitError, ModelError, PlanishError
from planish.fit.planarization import fit_planarization
from planish.measure.layout.make import make_maps
from planish.measure.layout.read import read_layout_maps
from planish.measure.steps import StepTable, read_steps
from planish.physics.pattern.effective_density import effective_density
from planish.physics.pattern.kernels import axis_weights, cell_weights

ROOT = Path(__file__).parents[2]
ROTARY = ROOT / "examples" / "rotary.toml"
BLOCKS = ROOT / "examples" / "data" / "test-blocks.gds"
STEPS = ROOT / "examples" / "data" / "steps.csv"
LAYOUT = ("--layout", str(BLOCKS), "--layer", "1/0")
ABSURD = ("1e308mm", "-1e308mm", "1e200mm", "1e10mm", "1e-300mm", "0mm", "-1mm", "10 psi", "", "mm")


def refused(*words: str) -> str:
    with pytest.raises(PlanishError) as caught:
        CliRunner().invoke(app, list(words), catch_exceptions=False)
    assert "\n" not in str(caught.value)
    return str(caught.value)


@pytest.mark.parametrize("value", ABSURD)
@pytest.mark.parametrize("option", ["--cell", "--planarization-length", "--step-height"])
def test_the_die_refuses_an_absurd_length_and_names_its_option(option, value):
    words = ["die", str(ROTARY), *LAYOUT, "--place", "centre"]
    if option != "--cell":
        words += ["--cell", "1mm"]
    assert option in refused(*words, f"{option}={value}")


@pytest.mark.parametrize("value", ABSURD)
def test_measure_and_fit_refuse_an_absurd_cell(value):
    assert "--cell" in refused("measure", str(BLOCKS), "--layer", "1/0", f"--cell={value}")
    assert "--cell" in refused("fit", "--steps", str(STEPS), *LAYOUT, f"--cell={value}")


@pytest.mark.parametrize("value", ["1e308mm", "-1e308mm", "1m"])
def test_a_place_off_the_wafer_is_refused(value):
    assert "place" in refused("die", str(ROTARY), *LAYOUT, "--cell", "1mm", f"--place={value}")


def test_a_cell_too_small_for_the_extent_says_size_limit_and_remedy():
    with pytest.raises(DataError, match=r"11996000 x 12000000 cells, more than 9000000: take larger cells"):
        read_layout_maps(BLOCKS, 1, 0, 1e-9, cache=False)
    with pytest.raises(DataError, match=r"at most 0\.1 m"):
        read_layout_maps(BLOCKS, 1, 0, 1e305, cache=False)


@pytest.mark.parametrize(("length", "cell"), [(10.0, 1e-6), (1.0, 1e-5), (1e305, 1e-4), (1e-2, 1e-300)])
@pytest.mark.parametrize("kernel", ["elliptic", "gaussian", "square"])
def test_a_kernel_too_wide_for_its_cells_is_refused_before_it_is_made(kernel, length, cell):
    with pytest.raises(ModelError, match="take larger cells"):
        cell_weights(kernel, length, cell)
    with pytest.raises(ModelError, match="take larger cells"):
        effective_density(np.full((4, 4), 0.5), cell, min(length, 1e300) * 1e6, kernel=kernel)
    if kernel != "elliptic":
        with pytest.raises(ModelError, match="take larger cells"):
            axis_weights(kernel, min(length, 1e300) * 1e6, cell)


@pytest.mark.parametrize(
    ("column", "value", "wanted"),
    [
        ("x_mm", "1e9", "within 1 m"),
        ("y_mm", "-1e300", "within 1 m"),
        ("time_s", "1e308", "0.001 s to 1e6 s"),
        ("time_s", "0", "0.001 s to 1e6 s"),
        ("up_loss_nm", "1e12", "at most 5 mm"),
        ("up_loss_nm", "-1e308", "at most 5 mm"),
        ("step_left_nm", "1e300", "at most 5 mm"),
        ("step_left_nm", "1e400", "a finite number"),
        ("up_loss_nm", "1_000", "a number"),
    ],
)
def test_one_absurd_cell_of_a_table_of_steps_is_named(tmp_path, column, value, wanted):
    lines = [line.split(",") for line in STEPS.read_text().splitlines() if not line.startswith("#")]
    lines[7][lines[0].index(column)] = value
    path = tmp_path / "steps.csv"
    path.write_text("\n".join(",".join(line) for line in lines))
    with pytest.raises(DataError) as caught:
        read_steps(path)
    assert all(word in str(caught.value) for word in ("line 8", column, value, wanted)), str(caught.value)


def test_steps_that_no_length_fits_end_in_a_refusal_or_finite_figures():
    maps = make_maps("density-blocks", cell=100e-6)
    sound = read_steps(STEPS)
    rng = np.random.default_rng(3)
    outcomes = []
    for _ in range(12):
        columns = {name: getattr(sound, name).copy() for name in ("time", "up_loss", "step_left")}
        for name, values in columns.items():
            if rng.random() < 0.6:
                values[rng.integers(0, len(values), 3)] = 10.0 ** rng.uniform(
                    *((-2, 5) if name == "time" else (-10, -3))
                )
        inside = (
            np.abs(sound.x) * 0 + 1e-3,
            np.abs(sound.y) * 0 + 1e-3 * rng.uniform(0.1, 1.9, len(sound.y)),
        )
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            try:
                found = fit_planarization(maps, StepTable(*inside, **columns), step=8e-7)
            except FitError:
                outcomes.append("refused")
                continue
        outcomes.append("fitted")
        assert np.isfinite([found.length.value, found.rate.value, found.residual_sd]).all()
    assert set(outcomes) <= {"refused", "fitted"}
