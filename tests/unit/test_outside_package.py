"""A package that planish knows nothing of adds a law, a part, a film, a motion and a die process.

It is built, installed aside, and polished with.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

import planish
from planish.setup.processes import PROCESSES

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "tests" / "outside_package"
PAGES = [(ROOT / "docs" / "guide" / name).read_text("utf-8") for name in ("extend.md", "add_process.md")]
_, USE = re.findall(r"^```toml\n(.*?)^```", PAGES[1], re.M | re.S)
BLOCKS = ROOT / "examples" / "data" / "test-blocks.gds"
PSI = 6894.757293168
P_HALF = 6 * PSI
RATE = 300e-9 / 60  # at 3 psi and 1 m/s, as the film says


@pytest.fixture(scope="module")
def installed(tmp_path_factory) -> Path:
    """The folder into which the package's wheel is unpacked, as an installer would; without network."""
    build = tmp_path_factory.mktemp("wheel")
    done = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(build)],
        cwd=PACKAGE,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    (wheel,) = build.glob("*.whl")
    target = tmp_path_factory.mktemp("site")
    zipfile.ZipFile(wheel).extractall(target)
    return target


@pytest.fixture
def ask(installed, tmp_path):
    def run(*words: str, code: int = 0) -> str:
        source = str(Path(planish.__file__).parents[1])
        env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(installed), source])}
        done = subprocess.run(
            [sys.executable, "-c", "from planish.cli.main import run; run()", *words],
            cwd=tmp_path,
            env=env,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == code, done.stdout + done.stderr
        return done.stdout if code == 0 else done.stderr

    return run


def setup(folder: Path, pressure: str, removal: str, name: str = "setup.toml") -> str:
    """Write a wafer of the film ``glass`` on the outside pad, one timed step at one pressure."""
    text = f"""
[wafer]
part = "silicon-300"
[[wafer.film]]
material = "glass"
thickness = "2000 nm"
[polisher]
part = "rotary-300"
[pad]
part = "outside-firm"
[removal.glass]
{removal}
[[recipe.step]]
name = "main"
zone_pressures = "{pressure}"
ring_pressure = "{pressure}"
platen_speed = "60 rpm"
carrier_speed = "53 rpm"
flow = "250 ml/min"
time = "30 s"
"""
    (folder / name).write_text(text)
    return name


def constant(pressure: float) -> float:
    """k_p of the proportional law that goes as fast at one pressure, from the outside law's formula by hand."""
    k_p = RATE * (1 + 3 * PSI / P_HALF) / (3 * PSI * 1.0)  # so that 3 psi and 1 m/s give the measured rate
    return k_p / (1 + pressure / P_HALF)


@pytest.mark.parametrize("psi", [1.5, 6.0])
def test_a_film_with_the_outside_law_goes_as_its_formula_says(ask, tmp_path, psi):
    outside = setup(tmp_path, f"{psi} psi", 'part = "outside-glass"')
    own = setup(
        tmp_path,
        f"{psi} psi",
        f'law = "preston"\ncoefficients.k_p = "{constant(psi * PSI):.12e} 1/Pa"\nreference.pad = "outside-firm"',
        "own.toml",
    )
    got, wanted = (json.loads(ask("polish", name, "--json")) for name in (outside, own))
    assert "Levelling off with pressure: invented" in got["sources"]
    rates = [each["mean_removal_rate_nm_per_min"] for each in (got, wanted)]
    # Only where the pressure is not even, at the very edge, do the two laws differ.
    assert rates[0] == pytest.approx(rates[1], rel=2e-3)
    assert rates[0] > 50


def test_the_measured_rate_comes_out_where_it_was_measured(installed, tmp_path):
    name = setup(tmp_path, "3 psi", 'part = "outside-glass"')
    code = (
        "import planish, json; from planish.physics.removal.laws import LAWS, removal_rate\n"
        f"r = planish.load({str(tmp_path / name)!r}).rig.removal['glass']\n"
        f"print(json.dumps([r.coefficients['k_p'], float(removal_rate(r.law, r.coefficients, {3 * PSI}, 1.0)),"
        f"float(removal_rate(r.law, r.coefficients, {9 * PSI}, 2.0)), LAWS.origin(r.law)]))"
    )
    source = str(Path(planish.__file__).parents[1])
    env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(installed), source])}
    k_p, once, more, origin = json.loads(subprocess.check_output([sys.executable, "-c", code], env=env))
    assert k_p == pytest.approx(RATE * 1.5 / (3 * PSI), rel=1e-12)
    assert once == pytest.approx(RATE, rel=1e-12)
    assert more == pytest.approx(k_p * 9 * PSI / (1 + 9 / 6) * 2.0, rel=1e-12)
    assert origin == "outside-polish"


def test_the_check_knows_the_law_and_refuses_as_for_its_own(ask, tmp_path):
    assert json.loads(ask("check", setup(tmp_path, "3 psi", 'part = "outside-glass"'), "--json"))["ok"]
    wrong = setup(tmp_path, "3 psi", 'part = "outside-glass"\ncoefficients.p_half = "6 rpm"')
    assert "removal.glass.coefficients.p_half = '6 rpm': must be in a unit of pressure" in ask(
        "check", wrong, code=2
    )
    near = setup(tmp_path, "3 psi", 'law = "leveling"\nrate = "300 nm/min"')
    assert "did you mean 'levelling'?" in ask("check", near, code=2)
    schema = json.loads(ask("schema"))["$defs"]["RemovalSection"]["properties"]
    assert "levelling" in schema["law"]["enum"]
    assert schema["part"]["enum"] == ["outside-glass"]


def test_the_catalogue_says_where_its_parts_are_from(ask):
    rows = json.loads(ask("parts", "--json"))
    outside = {(row["kind"], row["part"]) for row in rows if row["origin"] == "package outside-polish"}
    assert outside == {("pad", "outside-firm"), ("film", "outside-glass")}
    assert {row["origin"] for row in rows} == {"planish", "package outside-polish"}
    assert all(row["source"] for row in rows)
    assert "film: outside-glass (from package outside-polish)" in " ".join(ask("parts", "film").split())


@pytest.mark.parametrize(
    ("kind", "name"), [("law", "levelling"), ("process", "polymer-fill"), ("motion", "shuttle")]
)
def test_the_registries_say_where_its_records_are_from(ask, kind, name):
    rows = json.loads(ask("parts", kind, "--json"))
    outside = {row["part"] for row in rows if row["origin"] == "package outside-polish"}
    assert outside == {name}
    assert f"{kind}: {name} (from package outside-polish)" in " ".join(ask("parts", kind).split())


def test_without_the_package_its_names_are_refused(tmp_path):
    name = setup(tmp_path, "3 psi", 'part = "outside-glass"')
    with pytest.raises(planish.PlanishError, match=r"pad.part = 'outside-firm'"):
        planish.load(tmp_path / name)


def test_its_motion_is_written_and_polishes(ask, tmp_path):
    ask("new", "shuttle", "-o", "new.toml")
    assert 'motion = "shuttle"' in (tmp_path / "new.toml").read_text()
    assert json.loads(ask("polish", "new.toml", "--json"))["mean_removed_nm"] > 550


def test_its_process_polishes_a_die(ask, tmp_path):
    (tmp_path / "setup.toml").write_text(planish.new_setup("rotary").partition("[die]")[0] + USE, "utf-8")
    blocks = ("--layout", str(BLOCKS), "--layer", "1/0", "--cell", "200um")
    figures = json.loads(ask("die", "setup.toml", *blocks, "--json", "--out", "out"))
    assert figures["process"] == "polymer-fill"
    assert figures["sag_max_nm"] > 0
    assert any("invented for the example" in note for note in figures["notes"])
    assert (tmp_path / "out" / "die.nc").exists()
    assert "did you mean 'polymer-fill'" in ask(
        "die", "setup.toml", *blocks, "--process", "polymer-fil", code=2
    )
    assert "polymer-fill" in json.loads(ask("schema"))["$defs"]["DieSection"]["properties"]["process"]["enum"]
    assert "polymer-fill" not in PROCESSES


def test_the_digest_of_a_setup_counts_the_version_of_the_package_it_rests_on(installed, tmp_path):
    newer = tmp_path / "newer"
    shutil.copytree(installed, newer)
    (told,) = newer.glob("*.dist-info/METADATA")
    told.write_text(told.read_text().replace("Version: 1.0", "Version: 1.1"))
    name = setup(tmp_path, "3 psi", 'part = "outside-glass"')
    own = 'law = "preston"\nrate = "300 nm/min"\nreference.pad = "outside-firm"'
    without = setup(tmp_path, "3 psi", own, "own.toml")
    code = f"import planish; print(*(planish.load(p).digest() for p in {[str(tmp_path / n) for n in (name, without)]}))"
    source = str(Path(planish.__file__).parents[1])
    digests = []
    for place in (installed, newer):
        env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(place), source])}
        digests.append(subprocess.check_output([sys.executable, "-c", code], env=env, text=True).split())
    assert digests[0][0] != digests[1][0], "its law may have changed with the version"
    assert digests[0][1] == digests[1][1], "a part's values are in the setup, whoever gave them"


def test_the_pages_show_the_files_of_the_package():
    shown = re.findall(r"^`([\w./]+)`:\n\n```\w+\n(.*?)^```", PAGES[0] + PAGES[1], re.M | re.S)
    files = {
        path.relative_to(PACKAGE).as_posix()
        for path in PACKAGE.rglob("*.*")
        if path.suffix in (".py", ".toml")
    }
    assert {name for name, _ in shown} == files - {"outside_polish/__init__.py"}
    for name, text in shown:
        assert text == (PACKAGE / name).read_text(), name
    registration, _ = re.findall(r"^```toml\n(.*?)^```", PAGES[1], re.M | re.S)
    assert registration in (PACKAGE / "pyproject.toml").read_text()
