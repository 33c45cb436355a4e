"""The files that an answer comes in: the same from Python as by the command, in order, and told where there are none."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import DataError
from planish.jobs.dwell import dwell_table
from planish.jobs.layouts import read_cells
from planish.jobs.written import write_files

EXAMPLES = Path(__file__).parents[2] / "examples"
ROTARY = EXAMPLES / "rotary.toml"
BLOCKS = EXAMPLES / "data" / "test-blocks.gds"
BEFORE, AFTER = (EXAMPLES / "data" / f"wafer-{when}.csv" for when in ("before", "after"))


@pytest.mark.parametrize(
    "words, answer",
    [
        (("lot", ROTARY, "-n", 3), lambda: planish.polish_lot(ROTARY, 3)),
        (("dwell", ROTARY, "--zones", 4), lambda: dwell_table(planish.load(ROTARY), 4)),
        (("measure", BEFORE, AFTER), lambda: planish.measure_wafer(BEFORE, AFTER)),
        (("measure", BLOCKS, "--layer", "1/0", "--cell", "1mm"), lambda: read_cells(BLOCKS, 1e-3, "1/0")),
    ],
    ids=("lot", "dwell", "sites", "layout"),
)
def test_python_writes_the_files_that_the_command_writes(words, answer, tmp_path):
    done = CliRunner().invoke(
        app, [*map(str, words), "--json", "--out", str(tmp_path / "by")], catch_exceptions=False
    )
    told = [Path(line.removeprefix("wrote ")) for line in done.stderr.splitlines()]
    (tmp_path / "of").mkdir()
    found = write_files(answer(), tmp_path / "of")
    assert [path.name for path in found] == [path.name for path in told]
    assert {path.name for path in found} == {path.name for path in (tmp_path / "of").iterdir()}
    for path, other in zip(found, told, strict=True):
        if path.suffix in (".png", ".svg", ".toml", ".json"):
            assert path.read_bytes() == other.read_bytes(), path.name


def test_an_answer_without_files_is_refused_and_those_with_files_are_named(tmp_path):
    with pytest.raises(DataError, match=r"files of an answer = 'cleaning': must be one of one wafer, lot, "):
        write_files(planish.clean_wafer(ROTARY), tmp_path)
    assert not list(tmp_path.iterdir())


def test_a_layer_is_refused_by_the_name_that_the_door_gives_it():
    with pytest.raises(DataError, match=r"^layer: not given: "):
        read_cells(BLOCKS, 1e-3)
    with pytest.raises(DataError, match=r"^field layer = 'metal': "):
        read_cells(BLOCKS, 1e-3, "metal", named="field layer")
