"""A table of runs whose site files lie wherever they are kept: laid together, missing ones named, fitted as the command does."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest

import planish
from planish.errors import DataError, PlanishError
from planish.jobs.calibrated import fitted_to, sentences
from planish.jobs.calibrating import told_runs
from planish.jobs.run_fits import fit_runs, gathered, may_be_free, runs_told
from planish.jobs.site_files import SiteFile, told_of
from planish.web.depth import job_fit
from planish.web.packing import unpack

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
RUNS = EXAMPLES / "data" / "runs"


@pytest.fixture(scope="module")
def setup():
    return planish.load(EXAMPLES / "rotary.toml")


@pytest.fixture
def table(tmp_path):
    """Two wafers of the invented runs, each file in a folder of its own under another name."""
    lines = [line for line in (RUNS / "runs.csv").read_text().splitlines() if line[:1] != "#"]
    kept = [
        line.replace(",W0", ",maps/W0") for line in lines if line.split(",")[0] in ("wafer", "W01", "W04")
    ]
    path = tmp_path / "kept" / "data.csv"
    path.parent.mkdir()
    path.write_text("\n".join(kept))
    files = {}
    for name in ("W01-pre.csv", "W01-post.csv", "W04-pre.csv", "W04-post.csv"):
        there = tmp_path / name.removesuffix(".csv") / "data.csv"
        there.parent.mkdir()
        shutil.copy(RUNS / name, there)
        files[name] = SiteFile(there)
    return path, files


def test_files_are_laid_beside_the_table_and_gone_after(setup, table, tmp_path) -> None:
    path, files = table
    scratch = tmp_path / "scratch"
    with gathered(path, "runs.csv", files, scratch, None, setup) as laid:
        assert sorted(p.name for p in scratch.rglob("*.csv")) == sorted([*files, "runs.csv"])
        assert laid.missing == []
    assert not scratch.exists()
    assert path.exists()
    found = runs_told(setup, path, "runs.csv", files, scratch)
    assert found["runs"] == 2
    assert found["understood"].startswith("runs.csv: 2 rows; wafer is 'wafer'")
    assert not scratch.exists()


def test_missing_files_are_named(setup, table, tmp_path) -> None:
    path, files = table
    del files["W04-post.csv"]
    found = runs_told(setup, path, "runs.csv", files, tmp_path / "scratch")
    assert (found["missing"], found["understood"]) == (["maps/W04-post.csv"], "")
    with pytest.raises(DataError, match=r"runs.csv: names site files that are not there: maps/W04-post.csv"):
        fit_runs(setup, path, "runs.csv", files, tmp_path / "scratch")


@pytest.mark.parametrize("name", ["../W01-pre.csv", "/etc/passwd", "C:\\W01-pre.csv"])
def test_a_name_that_leads_elsewhere_is_refused(setup, table, tmp_path, name) -> None:
    path, files = table
    files |= {"passwd": files["W01-pre.csv"]}
    path.write_text(path.read_text().replace("maps/W01-pre.csv", name))
    with pytest.raises(DataError, match="line 2, column 'pre file'") as refused:
        runs_told(setup, path, "runs.csv", files, tmp_path / "scratch")
    assert str(tmp_path) not in str(refused.value)


def test_a_column_that_means_nothing_is_refused_until_it_is_left_out(setup, table, tmp_path) -> None:
    path, files = table
    path.write_text(path.read_text().replace("disk_h", "colour"))
    with pytest.raises(DataError, match="column 'colour': means nothing here"):
        runs_told(setup, path, "runs.csv", files, tmp_path / "scratch")
    told = told_runs((), ["colour"])
    assert runs_told(setup, path, "runs.csv", files, tmp_path / "scratch", told)["runs"] == 2


def test_what_may_be_free_begins_with_the_usual_number(setup) -> None:
    found = may_be_free(setup)
    assert (found[0]["path"], found[0]["usual"]) == ("removal.oxide.rate", True)
    assert all(one["spread"] for one in found[1:])
    assert {"pad.top.shore_d", "conditioner.grit_size"} <= {one["path"] for one in found}


def test_the_fit_is_that_of_the_files_side_by_side_whatever_map_each_needs(setup, table, tmp_path) -> None:
    path, files = table
    beside = tmp_path / "beside"
    (beside / "maps").mkdir(parents=True)
    shutil.copy(path, beside / "runs.csv")
    for name in files:
        shutil.copy(RUNS / name, beside / "maps" / name)
    same = fitted_to(setup, [beside / "runs.csv"], ahead=0)
    # One file as another gauge writes it, in its own map's units: an angstrom is 0.1 nm.
    odd = files["W04-post.csv"]
    rows = [line.split(",") for line in Path(odd.path).read_text().splitlines() if line[:1].isdigit()]
    text = "\n".join(f"{s};{x};{y};{10 * float(t):.2f}" for s, x, y, t in rows)
    Path(odd.path).write_text(f"Nr;Pos A;Pos B;T1\n{text}\n")
    told = told_of(
        {
            "columns": {"x": "Pos A", "y": "Pos B", "thickness": "T1"},
            "units": {"x": "mm", "y": "mm", "thickness": "A"},
        }
    )
    with pytest.raises(PlanishError, match=r"W04-post\.csv"):
        fit_runs(setup, path, "runs.csv", files, tmp_path / "scratch")
    files["W04-post.csv"] = SiteFile(odd.path, told)
    read: list[bool] = []
    found = fit_runs(
        setup,
        path,
        "runs.csv",
        files,
        tmp_path / "scratch",
        ["removal.oxide.rate"],
        read=lambda: read.append(True),
    )
    assert read == [True]
    assert np.allclose(found.values(), same.values(), rtol=1e-6)
    assert [one.name for one in found.observed] == [one.name for one in same.observed]
    assert sentences(found.document())[1] == "these data tell every free number"


def test_the_job_gives_what_the_page_shows(setup, table, tmp_path) -> None:
    path, files = table
    options = {
        "document": setup.document,
        "file": str(path),
        "file_name": "runs.csv",
        "files": {name: {"path": str(one.path)} for name, one in files.items()},
        "free": ["removal.oxide.rate"],
        "column": [],
        "leave_out": [],
    }
    folder, said = tmp_path / "job", []
    folder.mkdir()
    job_fit(json.loads(json.dumps(options)), folder, said.append)
    assert max(said) == pytest.approx(0.2)
    assert sorted(p.name for p in folder.iterdir()) == ["answer.bin", "fitted.toml"]
    header, _ = unpack((folder / "answer.bin").read_bytes())
    assert header["fitted_for"] == setup.digest()
    fitted = planish.loads((folder / "fitted.toml").read_text())
    rate = header["parameters"]["removal.oxide.rate"]["value"]
    assert float(str(fitted.get("removal.oxide.rate")).split()[0]) == pytest.approx(rate, rel=1e-5)
    assert any("with qualified staff" in note for note in header["notes"])
