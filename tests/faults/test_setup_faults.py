"""Broken setups: each gives one line that names the file, the place and what would be allowed; nothing else escapes."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest

from planish.errors import PlanishError, SetupError
from planish.setup.check import check
from planish.setup.load import load, loads
from planish.setup.models import Setup
from planish.setup.new import new_setup

BASE = """\
title = "base"
[wafer]
part = "silicon-300"
[[wafer.film]]
material = "oxide"
thickness = "1000 nm"
[polisher]
part = "rotary-300"
[head]
part = "five-zone-300"
[pad]
part = "hard-microporous"
[conditioner]
part = "electroplated-100-grit"
[slurry]
part = "fumed-silica-oxide"
[[recipe.step]]
name = "main"
zone_pressures = "3 psi"
ring_pressure = "4 psi"
platen_speed = "90 rpm"
carrier_speed = "83 rpm"
flow = "250 ml/min"
conditioning = true
time = "60 s"
"""

HEAD = 'part = "five-zone-300"'
PAD = 'part = "hard-microporous"'
WAFER = 'part = "silicon-300"'
POLISHER = 'part = "rotary-300"'
DISK = 'part = "electroplated-100-grit"'
SLURRY = 'part = "fumed-silica-oxide"'
FILM = 'thickness = "1000 nm"'
ZONES = 'zone_pressures = "3 psi"'
TIME = 'time = "60 s"'
LAW = "[removal.oxide]\n"

# name: (text taken out, text put in, place, words that must stand in the line)
CASES: dict[str, tuple[str, str, str, str]] = {
    "bare number": (
        'ring_pressure = "4 psi"',
        "ring_pressure = 4",
        "recipe.step.main.ring_pressure",
        "4 psi",
    ),
    "number in text": ('"4 psi"', '"4"', "recipe.step.main.ring_pressure", "unit is missing"),
    "wrong unit": ('"90 rpm"', '"90 psi"', "recipe.step.main.platen_speed", "angular speed"),
    "misspelt unit": ('"90 rpm"', '"90 rpmm"', "recipe.step.main.platen_speed", "did you mean 'rpm'"),
    "hertz for turning": ('"90 rpm"', '"2 Hz"', "recipe.step.main.platen_speed", "angular speed"),
    "not a number": ('"4 psi"', '"nan psi"', "recipe.step.main.ring_pressure", "finite"),
    "infinite": ('"4 psi"', '"inf psi"', "recipe.step.main.ring_pressure", "finite"),
    "overflowing": ('"4 psi"', '"1e999 psi"', "recipe.step.main.ring_pressure", "finite"),
    "comma": ('"1000 nm"', '"1,000 nm"', "wafer.film.oxide.thickness", "comma"),
    "negative pressure": ('"4 psi"', '"-4 psi"', "recipe.step.main.ring_pressure", "from 0 psi"),
    "absurd pressure": ('"4 psi"', '"4000 psi"', "recipe.step.main.ring_pressure", "60 psi"),
    "negative time": ('"60 s"', '"-60 s"', "recipe.step.main.time", "above 0 s"),
    "zero time": ('"60 s"', '"0 s"', "recipe.step.main.time", "above 0 s"),
    "yes for true": (
        "conditioning = true",
        'conditioning = "yes"',
        "recipe.step.main.conditioning",
        "true or false",
    ),
    "unknown section": ("[slurry]", "[slury]", "slury", "did you mean 'slurry'"),
    "unknown key": (HEAD, HEAD + '\nwall_with = "3 mm"', "head.wall_with", "did you mean 'wall_width'"),
    "key in wrong table": (
        HEAD,
        HEAD + '\nedge_exclusion = "3 mm"',
        "head.edge_exclusion",
        "belongs into [wafer]",
    ),
    "key of another motion": (
        POLISHER,
        POLISHER + '\nbelt_width = "400 mm"',
        "polisher.belt_width",
        "linear motion",
    ),
    "unknown part": (PAD, 'part = "hard-micropore"', "pad.part", "did you mean 'hard-microporous'"),
    "part is a number": (PAD, "part = 5", "pad.part", "catalogue part"),
    "no such motion": (POLISHER, 'motion = "circular"', "polisher.motion", "rotary, linear, orbital"),
    "no motion": (POLISHER, 'dispense_radius = "90 mm"', "polisher.motion", "rotary, linear, orbital"),
    "motion against part": (POLISHER, POLISHER + '\nmotion = "linear"', "polisher.motion", "'rotary'"),
    "section is text": ("[slurry]\n" + SLURRY, "", "", ""),  # replaced below
    "no film": ('[[wafer.film]]\nmaterial = "oxide"\n' + FILM, "", "wafer.film", "films"),
    "film without thickness": (FILM, "", "wafer.film.oxide", "thickness, profile, sites"),
    "film with two thicknesses": (
        FILM,
        FILM + '\nsites = "a.csv"',
        "wafer.film.oxide",
        "thickness and sites",
    ),
    "film of no thickness": ('"1000 nm"', '"0 nm"', "wafer.film.oxide.thickness", "above 0 nm"),
    "film without law": (
        'material = "oxide"',
        'material = "oxid"',
        "wafer.film.oxid.material",
        "did you mean 'oxide'",
    ),
    "profile is one pair": (
        FILM,
        'profile = [["0 mm", "1 um"]]',
        "wafer.film.oxide.profile",
        "two or more pairs",
    ),
    "profile of triples": (
        FILM,
        'profile = [["0 mm", "1 um", "2"], ["1 mm", "1 um", "2"]]',
        "wafer.film.oxide.profile",
        "pairs",
    ),
    "profile falls back": (
        FILM,
        'profile = [["9 mm", "1 um"], ["5 mm", "1 um"]]',
        "wafer.film.oxide.profile",
        "increasing",
    ),
    "profile off the wafer": (
        FILM,
        'profile = [["0 mm", "1 um"], ["160 mm", "1 um"]]',
        "wafer.film.oxide.profile",
        "150 mm",
    ),
    "no such site file": (FILM, 'sites = "gone.csv"', "wafer.film.oxide.sites", "a file that exists"),
    "site file outside": (
        FILM,
        'sites = "../../etc/passwd"',
        "wafer.film.oxide.sites",
        "in the folder of the setup",
    ),
    "films of one name": (
        FILM,
        FILM + '\n[[wafer.film]]\nmaterial = "oxide"\n' + FILM,
        "wafer.film.2.name",
        "no other film",
    ),
    "edge exclusion eats wafer": (
        WAFER,
        WAFER + '\nedge_exclusion = "30.1 mm"',
        "wafer.edge_exclusion",
        "30 mm",
    ),
    "poisson too large": (WAFER, WAFER + "\npoisson = 0.6", "wafer.poisson", "0.49"),
    "poisson not a number": (WAFER, WAFER + "\npoisson = nan", "wafer.poisson", "finite"),
    "zones fall back": (
        HEAD,
        HEAD + '\nzone = [{name="a", outer_radius="90 mm"}, {name="b", outer_radius="50 mm"}]',
        "head.zone.b.outer_radius",
        "above 90 mm",
    ),
    "zones stop short": (
        HEAD,
        HEAD + '\nzone = [{name="a", outer_radius="140 mm"}]',
        "head.zone.a.outer_radius",
        "wafer radius, 150 mm",
    ),
    "zone without radius": (HEAD, HEAD + '\nzone = [{name="a"}]', "head.zone.a.outer_radius", "given"),
    "zones of one name": (
        HEAD,
        HEAD + '\nzone = [{name="a", outer_radius="90 mm"}, {name="a", outer_radius="150 mm"}]',
        "head.zone.2.name",
        "no other zone",
    ),
    "no zones": (HEAD, HEAD + "\nzone = []", "head.zone", "at least one"),
    "wall wider than zone": (
        HEAD,
        HEAD + '\nwall_width = "12 mm"',
        "head.wall_width",
        "narrowest zone, 10 mm",
    ),
    "ring inside the wafer": (
        HEAD,
        HEAD + '\nring.gap = "-0.2 mm"',
        "head.ring.gap",
        "typical 0.2 mm to 1 mm",
    ),
    "ring without width": (HEAD, HEAD + '\nring.width = "0 mm"', "head.ring.width", "above 0 mm"),
    "ring off the platen": (
        HEAD,
        HEAD + '\nring.width = "60 mm"',
        "polisher.platen_diameter",
        "retaining ring hangs over",
    ),
    "ring pressure without ring": (
        HEAD,
        HEAD + '\nring = "none"',
        "recipe.step.main.ring_pressure",
        "no retaining ring",
    ),
    "more vacuum than air": (HEAD, HEAD + '\nvacuum_hold = "20 psi"', "head.vacuum_hold", "14.7 psi"),
    "wafer off the platen": (
        POLISHER,
        POLISHER + '\ncentre_offset = "300 mm"',
        "polisher.platen_diameter",
        "wafer hangs over",
    ),
    "swing off the platen": (
        POLISHER,
        POLISHER + '\noscillation_amplitude = "60 mm"\noscillation_frequency = "9 1/min"',
        "polisher.platen_diameter",
        "hangs over",
    ),
    "swing without frequency": (
        POLISHER,
        POLISHER + '\noscillation_amplitude = "5 mm"',
        "polisher.oscillation_frequency",
        "above 0",
    ),
    "dispense off the pad": (
        POLISHER,
        POLISHER + '\ndispense_radius = "500 mm"',
        "polisher.dispense_radius",
        "400 mm",
    ),
    "hardness and modulus": (
        PAD,
        PAD + '\ntop.shore_d = 55\ntop.modulus = "80 MPa"',
        "pad.top",
        "shore_d and modulus",
    ),
    "two hardnesses": (PAD, PAD + "\ntop.shore_d = 55\ntop.shore_a = 95", "pad.top", "shore_d and shore_a"),
    "hardness over 100": (PAD, PAD + "\ntop.shore_d = 157", "pad.top.shore_d", "100"),
    "groove deeper than pad": (
        PAD,
        PAD + '\ngrooves.depth = "2 mm"',
        "pad.grooves.depth",
        "below the pad's 2 mm",
    ),
    "groove wider than pitch": (
        PAD,
        PAD + '\ngrooves.width = "3 mm"',
        "pad.grooves.width",
        "below the pitch",
    ),
    "groove of no depth": (
        PAD,
        PAD + '\ngrooves.depth = "0 mm"',
        "pad.grooves.depth",
        "from 0.01 mm to 20 mm, or 0 mm with grooves.pattern = 'none'",
    ),
    "groove too shallow": (
        PAD,
        PAD + '\ngrooves.depth = "0.005 mm"',
        "pad.grooves.depth",
        "from 0.01 mm to 20 mm, or 0 mm with grooves.pattern = 'none'",
    ),
    "unknown groove": (
        PAD,
        PAD + '\ngrooves.pattern = "concentrical"',
        "pad.grooves.pattern",
        "did you mean 'concentric'",
    ),
    "all pores": (PAD, PAD + "\ntop.porosity = 1.0", "pad.top.porosity", "0.95"),
    "pores without cells": (
        PAD,
        PAD + '\ntop.polymer_modulus = "200 MPa"\ntop.cells = "none"',
        "pad.top.cells",
        "pores",
    ),
    "no summits": (PAD, PAD + '\nsurface.density = "0 1/mm^2"', "pad.surface.density", "above"),
    "no heights file": (
        PAD,
        PAD + '\nsurface.heights = "none.csv"',
        "pad.surface.heights",
        "a file that exists",
    ),
    "zero grit": (DISK, DISK + '\ngrit_size = "0 um"', "conditioner.grit_size", "above 0 µm"),
    "two diamonds": (
        DISK,
        DISK + '\ngrit_density = "0.001 1/mm^2"\ngrit_share = 0.2',
        "conditioner.grit_density",
        "three diamonds or more",
    ),
    **{
        f"{key} of before": (DISK, f"{DISK}\n{key} = {value}", f"conditioner.{key}", f"has gone: {words}")
        for key, value, words in (
            ("active_fraction", "0.01", "the share of the diamonds that cut follows from their size"),
            ("protrusion", '"60 um"', "how far diamonds reach into the pad follows from the force"),
            ("dulling_time", '"20 h"', "the cut rate falls as 1/(1 + use/time); say halving_time"),
            (
                "sharpness_floor",
                "0.15",
                "the cut rate falls as 1/(1 + use/time), which has no floor; say halving",
            ),
        )
    },
    "sweep backwards": (DISK, DISK + '\nsweep.inner = "355 mm"', "conditioner.sweep.inner", "below outer"),
    "sweep off the pad": (
        DISK,
        DISK + '\nsweep.outer = "410 mm"',
        "conditioner.sweep.outer",
        "at most 400 mm",
    ),
    "sweep below the axis": (
        DISK,
        DISK + '\nsweep.kind = "slide"\nsweep.inner = "-10 mm"',
        "conditioner.sweep.inner",
        "on the pad",
    ),
    "arm too short": (
        DISK,
        DISK + '\nsweep.arm_length = "100 mm"',
        "conditioner.sweep.arm_length",
        "reaches",
    ),
    "dwell without edges": (
        DISK,
        DISK + "\nsweep.zone_dwell = [1, 2]",
        "conditioner.sweep.zone_edges",
        "beside zone_dwell",
    ),
    "dwell miscounted": (
        DISK,
        DISK + '\nsweep.zone_dwell = [1, 2]\nsweep.zone_edges = ["60 mm", "90 mm"]',
        "conditioner.sweep.zone_edges",
        "3 edges",
    ),
    "dwell all zero": (
        DISK,
        DISK + '\nsweep.zone_dwell = [0]\nsweep.zone_edges = ["60 mm", "90 mm"]',
        "conditioner.sweep.zone_dwell",
        "above 0",
    ),
    "dwell off the sweep": (
        DISK,
        DISK + '\nsweep.zone_dwell = [1]\nsweep.zone_edges = ["60 mm", "400 mm"]',
        "conditioner.sweep.zone_edges",
        "within inner and outer",
    ),
    "ex situ for no time": (DISK, DISK + '\nmode = "ex-situ"', "conditioner.ex_situ_time", "above 0 s"),
    "no conditioner to use": (
        "[conditioner]\n" + DISK,
        "",
        "recipe.step.main.conditioning",
        "no [conditioner]",
    ),
    "a key that has gone": (
        SLURRY,
        SLURRY + "\nfriction_floor = 0.5",
        "slurry.friction_floor",
        "take the line out",
    ),
    "all abrasive": (SLURRY, SLURRY + '\nabrasive_fraction = "90 %"', "slurry.abrasive_fraction", "0.6"),
    "large below mean": (
        SLURRY,
        SLURRY + '\nlarge_particle_size = "100 nm"',
        "slurry.large_particle_size",
        "mean particle",
    ),
    "frozen slurry": (SLURRY, SLURRY + '\ntemperature = "-5 degC"', "slurry.temperature", "0 °C"),
    "unknown law": (
        "[slurry]",
        LAW + 'law = "prestonian"\n[slurry]',
        "removal.oxide.law",
        "did you mean 'preston'",
    ),
    "rate and coefficient": (
        "[slurry]",
        LAW + 'rate = "200 nm/min"\ncoefficients.k_p = "2e-13 1/Pa"\n[slurry]',
        "removal.oxide.rate",
        "k_p",
    ),
    "unknown coefficient": (
        "[slurry]",
        LAW + 'coefficients.kp = "2e-13 1/Pa"\n[slurry]',
        "removal.oxide.coefficients.kp",
        "did you mean 'k_p'",
    ),
    "bare coefficient": (
        "[slurry]",
        LAW + "coefficients.k_p = 2e-13\n[slurry]",
        "removal.oxide.coefficients.k_p",
        "1/Pa",
    ),
    "missing coefficient": (
        "[slurry]",
        LAW + 'law = "offset"\n[slurry]',
        "removal.oxide.coefficients",
        "k_p, b, c",
    ),
    "threshold above reference": (
        "[slurry]",
        LAW + 'law = "threshold"\ncoefficients.p_threshold = "5 psi"\n[slurry]',
        "removal.oxide.coefficients.p_threshold",
        "3 psi",
    ),
    "negative rate": ("[slurry]", LAW + 'rate = "-5 nm/min"\n[slurry]', "removal.oxide.rate", "0 nm/min"),
    "reference pad unknown": (
        "[slurry]",
        LAW + 'reference.pad = "softest"\n[slurry]',
        "removal.oxide.reference.pad",
        "catalogue pad",
    ),
    "missing zone": (
        ZONES,
        'zone_pressures = ["3 psi", "3 psi"]',
        "recipe.step.main.zone_pressures",
        "5 pressures",
    ),
    "bad zone entry": (
        ZONES,
        'zone_pressures = ["3 psi", "3 psi", "3 psi", 3, "3 psi"]',
        "recipe.step.main.zone_pressures.outer",
        "text",
    ),
    "unknown zone": (
        ZONES,
        'zone_pressures = {center = "3 psi"}',
        "recipe.step.main.zone_pressures.center",
        "did you mean 'centre'",
    ),
    "zone left out": (
        ZONES,
        'zone_pressures = {centre = "3 psi"}',
        "recipe.step.main.zone_pressures.inner",
        "each zone",
    ),
    "no platen speed": ('platen_speed = "90 rpm"\n', "", "recipe.step.main.platen_speed", "rotary"),
    "speed of another motion": (
        'platen_speed = "90 rpm"',
        'platen_speed = "90 rpm"\nbelt_speed = "2 m/s"',
        "recipe.step.main.belt_speed",
        "linear motion",
    ),
    "bearing on a platen": (
        TIME,
        TIME + '\nbearing_pressures = ["9 psi"]',
        "recipe.step.main.bearing_pressures",
        "linear motion",
    ),
    "step never ends": (TIME, "", "recipe.step.main.time", "stop_on_removed"),
    "step ends twice": (TIME, TIME + '\nstop_on_removed = "300 nm"', "recipe.step.main", "max_time"),
    "max_time beside time": (
        TIME,
        TIME + '\nmax_time = "90 s"',
        "recipe.step.main.max_time",
        "time ends the step",
    ),
    "removes more than there is": (
        TIME,
        'stop_on_removed = "3 um"',
        "recipe.step.main.stop_on_removed",
        "1000 nm",
    ),
    "remaining above incoming": (
        TIME,
        'stop_on_remaining = "1200 nm"',
        "recipe.step.main.stop_on_remaining",
        "below the incoming",
    ),
    "no steps": (BASE[BASE.index("[[recipe") :], "[recipe]\nstep = []\n", "recipe.step", "at least one"),
    "no recipe": (BASE[BASE.index("[[recipe") :], "", "recipe", "given"),
    "step without name": ('name = "main"\n', "", "recipe.step.1.name", "given"),
    "name of two lines": ('name = "main"', 'name = "ma\\nin"', "recipe.step.1.name", "one line"),
    "steps are no tables": (
        BASE[BASE.index("[[recipe") :],
        "[recipe]\nstep = [1]\n",
        "recipe.step.1",
        "table",
    ),
}
CASES["section is text"] = ('title = "base"', 'title = "base"\nambient = "warm"', "ambient", "table")
CASES["edge exclusion eats wafer"] = (
    WAFER,
    'diameter = "50 mm"\nedge_exclusion = "30 mm"',
    "wafer.edge_exclusion",
    "25 mm",
)


def test_base_is_sound(tmp_path: Path) -> None:
    file = tmp_path / "base.toml"
    file.write_text(BASE, encoding="utf-8")
    assert load(file).warnings == ()


@pytest.mark.parametrize("case", CASES)
def test_broken_setup(case: str, tmp_path: Path) -> None:
    old, new, place, words = CASES[case]
    assert old in BASE
    file = tmp_path / "broken.toml"
    file.write_text(BASE.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(SetupError) as caught:
        load(file)
    line = str(caught.value)
    assert line.startswith(f"broken.toml: {place}"), line
    assert words in line
    assert "\n" not in line
    assert len(line) < 400
    findings = check(file)
    assert any(f.level == "error" and f.place == place for f in findings), findings


LINEAR = {
    "belt too narrow": ("polisher.belt_width", "310 mm", "retaining ring hangs over"),
    "belt too short": ("polisher.belt_length", "1000 mm", "once round both rollers"),
    "bearing stops short": (
        "polisher.bearing.zone",
        [{"outer_radius": "90 mm", "pressure": "9 psi"}],
        "150 mm",
    ),
    "bearing pressures miscounted": ("recipe.step.main.bearing_pressures", ["9 psi"], "4 pressures"),
    "sweep off the belt": ("conditioner.sweep.inner", "-300 mm", "at least -210 mm"),
    "platen speed on a belt": ("recipe.step.main.platen_speed", "90 rpm", "rotary motion"),
}
ORBITAL = {
    "pad too small": ("polisher.pad_diameter", "320 mm", "wafer hangs over"),
    "no holes to feed through": ("polisher.hole_fraction", 0, "fed through"),
    "more hole than pad": ("polisher.hole_fraction", 0.8, "0.5"),
    "no orbit": ("polisher.orbit_radius", "0 mm", "above 0 mm"),
    "platen on an orbital": ("polisher.platen_diameter", "800 mm", "rotary motion"),
}


@pytest.mark.parametrize(
    ("motion", "case"), [("linear", c) for c in LINEAR] + [("orbital", c) for c in ORBITAL]
)
def test_broken_setup_of_another_motion(motion: str, case: str) -> None:
    path, value, words = (LINEAR if motion == "linear" else ORBITAL)[case]
    with pytest.raises(SetupError, match=r"^setup: ") as caught:
        loads(new_setup(motion)).replace({path: value})
    assert words in str(caught.value)


FILES: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "is empty"),
    "blank": (b" \n\n ", "is empty"),
    "only a comment": (b"# nothing here\n", "holds no keys"),
    "no TOML": (b"pressure: 3 psi\n", "is not TOML"),
    "unclosed text": (b'title = "x\n', "line 1"),
    "key twice": (b'title = "a"\ntitle = "b"\n', "is not TOML"),
    "binary": (b"\x89PNG\r\n\x1a\n\0\0\0", "binary"),
    "wrong encoding": ('title = "Ausrüstung µ"'.encode("latin-1"), "not UTF-8"),
    "UTF-16": ('title = "x"'.encode("utf-16"), "UTF-16"),
    "huge": (b'title = "' + b"x" * 2_100_000 + b'"', "at most"),
    "deep": (b"a = " + b"[" * 5000 + b"]" * 5000, "is not TOML"),
    "long number": (b"a = " + b"9" * 6000, "is not TOML"),
    "spreadsheet": (b"PK\x03\x04\x14\x00\x06\x00" + b"\0" * 30, "binary"),
    "JSON": (b'{"title": "x"}', "is not TOML"),
}


@pytest.mark.parametrize("case", FILES)
def test_file_that_is_no_setup(case: str, tmp_path: Path) -> None:
    raw, words = FILES[case]
    file = tmp_path / "file.toml"
    file.write_bytes(raw)
    with pytest.raises(SetupError) as caught:
        load(file)
    line = str(caught.value)
    assert "file.toml" in line
    assert words in line
    assert "\n" not in line
    assert [f.level for f in check(file)] == ["error"]


def test_no_file_directory_and_device(tmp_path: Path) -> None:
    with pytest.raises(SetupError, match="no such file"):
        load(tmp_path / "gone.toml")
    with pytest.raises(SetupError, match="directory"):
        load(tmp_path)
    with pytest.raises(SetupError, match="device"):
        load("/dev/null")
    with pytest.raises(SetupError, match="cannot be read"):
        load("bad\0name.toml")
    with pytest.raises(SetupError, match="cannot be read"):
        load("x" * 5000)


BAD_SITES: dict[str, tuple[str, str]] = {
    "empty": ("", "in.csv"),
    "no unit": ("x,y,thickness\n0,0,1\n", "unit"),
    "not a number": ("x_mm,y_mm,thickness_nm\n0,0,nan\n", "line 2"),
    "off the wafer": ("x_mm,y_mm,thickness_nm\n170,0,1000\n0,0,1000\n", "150 mm"),
    "a rate map": ("x_mm,y_mm,rate_nm_per_min\n0,0,250\n1,1,250\n", "map of thickness"),
}


@pytest.mark.parametrize("case", BAD_SITES)
def test_bad_site_file(case: str, tmp_path: Path) -> None:
    text, words = BAD_SITES[case]
    (tmp_path / "in.csv").write_text(text, encoding="utf-8")
    file = tmp_path / "s.toml"
    file.write_text(BASE.replace(FILM, 'sites = "in.csv"'), encoding="utf-8")
    with pytest.raises(SetupError) as caught:
        load(file)
    assert str(caught.value).startswith("s.toml: wafer.film.oxide.sites")
    assert words in str(caught.value)


JUNK: tuple[Any, ...] = (
    "", " ", "3", "3 psi", "-1 mm", "nan mm", "1e400 m", "none", "x" * 500, "a\nb", "\u0000", "💥", 0, -1, 3.5, float("nan"),
    float("inf"), 10**400, True, False, [], [[]], ["3 psi"], [1, 2], {}, {"a": 1}, {"part": "x"}, [{}], [{"name": "a"}], None,
)  # fmt: skip


def _paths(node: Any, where: str = "") -> list[str]:
    out = [where] if where else []
    items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, value in items:
        out += _paths(value, f"{where}.{key}" if where else str(key))
    return out


@pytest.mark.parametrize("motion", ["rotary", "linear", "orbital"])
def test_junk_anywhere_is_refused_in_one_line_or_used(motion: str) -> None:
    setup = loads(new_setup(motion))
    everything = Setup(dict(_told(setup).items()), "setup")
    paths = _paths(everything.document)
    assert len(paths) > 120
    source = random.Random(20240611)
    lines: list[str] = []
    for _ in range(1500):
        path, junk = source.choice(paths), source.choice(JUNK)
        try:
            _ = everything.replace({path: junk}).rig
        except PlanishError as error:
            lines.append(str(error))
    assert len(lines) > 1000
    assert not [line for line in lines if "\n" in line or len(line) > 700]


def _told(setup: Setup) -> dict[str, Any]:
    """Return the filled-in document as one that says everything itself."""

    def clean(node: Any) -> Any:
        if isinstance(node, dict):
            return {key: clean(value) for key, value in node.items() if value is not None}
        return [clean(item) for item in node] if isinstance(node, list) else node

    return dict(clean(setup.tree))
