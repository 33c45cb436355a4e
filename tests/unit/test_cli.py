"""The command line: documented words, one JSON document, exit codes, no traceback."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
DATA = ROOT / "examples" / "data"


def planish(*words: str | Path, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "planish.cli.main", *map(str, words)]
    environment = {**os.environ, "COLUMNS": "120", "TERM": "dumb"}
    return subprocess.run(command, cwd=cwd, env=environment, capture_output=True, text=True, check=False)


@pytest.mark.parametrize("motion", ["rotary", "linear", "orbital"])
def test_new_check_polish(motion: str, tmp_path: Path) -> None:
    file = tmp_path / f"{motion}.toml"
    assert planish("new", motion, "-o", file).returncode == 0
    assert planish("check", file).returncode == 0
    done = planish("polish", file, "--json")
    assert done.returncode == 0, done.stderr
    figures = json.loads(done.stdout)
    for key in (
        "mean_removal_rate_nm_per_min",
        "wiwnu_sigma_percent",
        "wiwnu_range_percent",
        "mean_speed_m_per_s",
        "peak_temperature_C",
        "time_s",
    ):
        assert isinstance(figures[key], float), key
    assert figures["sources"]
    assert all(isinstance(line, str) for line in figures["sources"])


def test_new_does_not_overwrite(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text("keep me")
    done = planish("new", "rotary", "-o", file)
    assert done.returncode == 2
    assert file.read_text() == "keep me"
    assert "--force" in done.stderr


def test_measure_gives_the_same_statistics(tmp_path: Path) -> None:
    done = planish("measure", DATA / "wafer-before.csv", DATA / "wafer-after.csv", "--json")
    assert done.returncode == 0, done.stderr
    figures = json.loads(done.stdout)
    for key in ("mean_removal_rate_nm_per_min", "wiwnu_sigma_percent", "wiwnu_range_percent", "time_s"):
        assert isinstance(figures[key], int | float), key


def test_nested_variances() -> None:
    done = planish(
        "measure", DATA / "lots.csv", "--nested", "lot,wafer,site", "--value", "removal_nm", "--json"
    )
    assert done.returncode == 0, done.stderr
    figures = json.loads(done.stdout)
    assert set(figures["variance_components"]) == {"lot", "wafer", "site"}


def test_fit_and_report_with_measured_sites(tmp_path: Path) -> None:
    setup = ROOT / "examples" / "rotary.toml"
    pre, post = DATA / "wafer-before.csv", DATA / "wafer-after.csv"
    done = planish("fit", setup, pre, post, "--json", "--out", tmp_path / "fit")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["k_p_per_Pa"] > 0
    assert (tmp_path / "fit" / "fit.png").stat().st_size > 10_000
    page = tmp_path / "report.html"
    done = planish("report", setup, "-o", page, "--pre", pre, "--post", post)
    assert done.returncode == 0, done.stderr
    text = page.read_text(encoding="utf-8")
    assert "Predicted against measured" in text
    assert "safety data sheet" in text
    assert "http://" not in text.replace("http://www.w3.org", "").replace("http://purl.org", "").replace(
        "http://creativecommons.org", ""
    )


def test_out_writes_figures_table_and_result(tmp_path: Path) -> None:
    done = planish("polish", ROOT / "examples" / "linear.toml", "--json", "--out", tmp_path)
    assert done.returncode == 0, done.stderr
    json.loads(done.stdout)
    names = {path.name for path in tmp_path.iterdir()}
    assert {
        "profiles.png",
        "profiles.svg",
        "edge.png",
        "map.png",
        "machine.png",
        "wafer.nc",
        "profile.csv",
    } <= names


def test_units_si(tmp_path: Path) -> None:
    done = planish("polish", ROOT / "examples" / "rotary.toml", "--units", "si")
    assert done.returncode == 0, done.stderr
    assert "m/s" in done.stdout
    assert planish("polish", ROOT / "examples" / "rotary.toml", "--units", "furlong").returncode == 2


@pytest.mark.parametrize(
    "words",
    [
        ["polish", "nowhere.toml"],
        ["check", "nowhere.toml"],
        ["new", "sideways", "-o", "x.toml"],
        ["measure", "nowhere.csv"],
        ["measure", "a.csv", "b.csv", "c.csv"],
        ["measure", "nowhere.csv", "nowhere2.csv", "--time", "60"],
        ["measure", "nowhere.gds", "--layer", "68/20"],
        ["measure", "nowhere.gds", "--layer", "metal"],
        ["measure", "nowhere.csv", "--nested", "lot,wafer"],
        ["fit", "nowhere.toml"],
        ["fit", "nowhere.parquet", "--rates", "nowhere.parquet"],
        ["report", "nowhere.toml"],
        ["parts", "engines"],
        ["frobnicate"],
        ["polish"],
    ],
)
def test_bad_words_end_with_one_line_and_exit_code_2(words: list[str], tmp_path: Path) -> None:
    done = planish(*words, cwd=tmp_path)
    assert done.returncode == 2, (done.stdout, done.stderr)
    assert "Traceback" not in done.stderr
    assert done.stdout == "" or words[0] == "frobnicate"
    if words[0] not in ("frobnicate",) and len(words) > 1:
        assert len(done.stderr.strip().splitlines()) == 1, done.stderr
    assert not list(tmp_path.iterdir())
