"""Odd but possible inputs: refused in one line, or answered with a note; no warnings, no infinities, no waiting."""

from __future__ import annotations

import io
import json
import math
import os
import subprocess
import sys
import warnings

import numpy as np
import pytest

import planish
from planish.cli.main import run
from planish.errors import DataError, PlanishError
from planish.fit.against import fit_wafer
from planish.measure.nested import nested_variance
from planish.measure.sites.pairing import pair
from planish.measure.sites.read import read_sites
from planish.measure.sites.wafer import measure_wafer
from planish.setup.check import check
from planish.setup.load import loads
from planish.setup.new import new_setup

STEPS = (1, 2, 3)
BASES = {motion: loads(new_setup(motion), motion) for motion in ("rotary", "linear", "orbital")}


def every(key, value):
    return {f"recipe.step.{index}.{key}": value for index in STEPS}


# motion, changes, words that must stand in a note ("" for none)
ODD = {
    "ring without a gap": ("rotary", {"head.ring.gap": "0 mm"}, ""),
    "ring without a gap on an orbit": ("orbital", {"head.ring.gap": "0 mm"}, ""),
    "rubber belt": ("linear", {"polisher.belt_modulus": "10 MPa"}, ""),
    "slack belt": ("linear", {"polisher.belt_tension": "0 kN/m"}, ""),
    "carrier over the platen's middle": ("rotary", {"polisher.centre_offset": "0 mm"}, "brings no slurry"),
    "platen stands": ("rotary", every("platen_speed", "0 rpm"), "brings no slurry"),
    "belt stands": ("linear", every("belt_speed", "0 m/s"), "brings no slurry"),
    "nothing moves": (
        "rotary",
        every("platen_speed", "0 rpm") | every("carrier_speed", "0 rpm"),
        "nothing moves",
    ),
    "orbit stands": ("orbital", every("orbit_speed", "0 orbits/min"), "max_time"),
    "no slurry": ("rotary", every("flow", "0 ml/min"), "runs dry"),
    "one zone off": ("rotary", {"recipe.step.2.zone_pressures": ["0 psi", *["3 psi"] * 4]}, ""),
    "only the edge pressed": ("rotary", {"recipe.step.2.zone_pressures": [*["0 psi"] * 4, "20 psi"]}, "gone"),
    "heavy ring": ("rotary", {"recipe.step.2.ring_pressure": "60 psi"}, "boil"),
    "ring off": ("rotary", {"recipe.step.2.ring_pressure": "0 psi"}, "slip out"),
    "no ring": ("rotary", {"head.ring": "none", **every("ring_pressure", None)}, ""),
    "no conditioner": ("rotary", {"conditioner": None, **every("conditioning", False)}, ""),
    "disk without force": ("rotary", {"conditioner.downforce": "0 lbf"}, "cuts nothing"),
    "jelly": ("rotary", {"pad.top.modulus": "0.01 MPa"}, "real contact area"),
    "glass": ("rotary", {"pad.top.modulus": "20000 MPa"}, "gone inside the edge exclusion"),
    "wide exclusion": ("rotary", {"wafer.edge_exclusion": "20 mm"}, ""),
    "film of 200 um": ("rotary", {"wafer.film.1.thickness": "200 um"}, ""),
    "no abrasive": ("rotary", {"slurry.abrasive_fraction": 0.0}, "max_time"),
    "a blink": ("rotary", {"recipe.step.2.max_time": "1e-3 s"}, "max_time"),
    "one zone": (
        "rotary",
        {"head.zone": [{"name": "all", "outer_radius": "150 mm"}], **every("zone_pressures", "3 psi")},
        "",
    ),
    "forty zones": (
        "rotary",
        {
            "head.wall_width": "1 mm",
            "head.zone": [{"name": f"z{k}", "outer_radius": f"{3.75 * (k + 1)} mm"} for k in range(40)],
            **every("zone_pressures", "3 psi"),
        },
        "",
    ),
}


def numbers(value):
    if isinstance(value, dict):
        for item in value.values():
            yield from numbers(item)
    elif isinstance(value, list):
        for item in value:
            yield from numbers(item)
    elif isinstance(value, float):
        yield value


@pytest.mark.parametrize("name", ODD)
def test_odd_setup_is_answered(name):
    motion, changes, words = ODD[name]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        result = planish.polish(BASES[motion].replace(changes))
        figures = result.document()
    assert all(math.isfinite(value) for value in numbers(figures))
    assert words in " | ".join(figures["notes"])
    json.dumps(figures, allow_nan=False)


@pytest.mark.parametrize(
    "changes, words",
    [
        ({"recipe.step.2.zone_pressures": "0 psi"}, "above 0 psi in at least one zone"),
        ({"pad.top.modulus": "1e-300 psi"}, "too near 0"),
        ({"conditioner.disk_diameter": "1e-320 mm"}, "too near 0"),
        ({"head.ring.width": "1e-320 mm"}, "too near 0"),
        ({"pad.grooves.pitch": "0.61 mm"}, "at most 90 % of the pad"),
        ({"pad.top.thickness": "0.005 mm", "pad.grooves.pattern": "none"}, "from 0.1 mm"),
    ],
)
def test_setup_that_cannot_be(changes, words):
    with pytest.raises(PlanishError, match=words):
        BASES["rotary"].replace(changes)


def test_shallow_grooves_pass_smoothly_into_none():
    from planish.physics.pressure.layers import ElasticLayer, grooved_layers, surface_compliance

    base, layer = planish.physics.pressure.layers.rigid_base(), ElasticLayer(80e6, 0.3, 2e-3)
    wide = [10.0]  # 1/m: a load far wider than the pad is thick

    def give(depth):
        import numpy as np

        return float(surface_compliance(np.array(wide), grooved_layers(layer, 0.2, depth), base)[0])

    none, shallow, half, deep = give(0.0), give(1e-7), give(5e-5), give(1.0001e-4)
    assert none < shallow < half < deep
    assert shallow - none < 1e-3 * (deep - none)
    assert half - none == pytest.approx(0.5 * (deep - none), rel=0.01)


def test_less_abrasive_polishes_slower():
    rates = [
        planish.polish(BASES["rotary"].replace({"slurry.abrasive_fraction": share})).summary()[
            "mean_removal_rate_nm_per_min"
        ]
        for share in (0.02, 0.05, 0.1, 0.25)
    ]
    assert rates == sorted(rates)
    assert rates[2] == pytest.approx(
        planish.polish(BASES["rotary"]).summary()["mean_removal_rate_nm_per_min"]
    )


@pytest.mark.parametrize("longest", ["180 s", "3600 s", "36000 s"])
def test_a_stop_is_met_however_long_the_limit(longest):
    main = planish.polish(BASES["rotary"].replace({"recipe.step.2.max_time": longest})).document()["steps"][1]
    assert main["removed_nm"] == pytest.approx(550.0, abs=0.02)


SITES = "site,x_mm,y_mm,thickness_nm\n"
GRID = [(0, 0), (40, 0), (-40, 0), (0, 80), (0, -80), (120, 0), (-120, 0)]


def site_file(folder, name, thickness, head=""):
    path = folder / name
    path.write_text(head + SITES + "".join(f"{i},{x},{y},{thickness}\n" for i, (x, y) in enumerate(GRID)))
    return path


def test_swapped_files_are_named_in_nanometres(tmp_path):
    thick, thin = site_file(tmp_path, "a.csv", 1000), site_file(tmp_path, "b.csv", 400)
    with pytest.raises(DataError, match=r"-600 nm.*wrong way round"):
        measure_wafer(thin, thick, 60.0)
    result = planish.polish(BASES["rotary"].replace({"recipe.step.2.stop_on_removed": None,
                                                     "recipe.step.2.max_time": None,
                                                     "recipe.step.2.time": "60 s"}))  # fmt: skip
    with pytest.raises(DataError, match=r"-600 nm.*wrong way round"):
        fit_wafer(result, pair(read_sites(thin), read_sites(thick)).removal)


@pytest.mark.parametrize("time", [1e-300, 1e300, 0.0, -1.0, math.inf])
def test_times_that_are_no_polish(tmp_path, time):
    with pytest.raises(DataError, match="polish time"):
        measure_wafer(site_file(tmp_path, "a.csv", 1000), site_file(tmp_path, "b.csv", 400), time)


def test_wafers_of_two_sizes_are_no_pair(tmp_path):
    before = site_file(tmp_path, "a.csv", 1000, "# wafer: 300 mm\n")
    after = site_file(tmp_path, "b.csv", 400, "# wafer: 250 mm\n")
    with pytest.raises(DataError, match="must be the same wafer"):
        measure_wafer(before, after, 60.0)


def test_absurd_thickness_and_values(tmp_path):
    with pytest.raises(DataError, match="is the unit right"):
        read_sites(site_file(tmp_path, "a.csv", "1e300"))
    with pytest.raises(DataError, match="below 1e100"):
        nested_variance({"lot": ["a", "a", "b", "b"]}, [1e308, -1e308, 1e308, 1.0])


def test_devices_are_not_read(tmp_path):
    with pytest.raises(DataError, match="device or pipe"):
        read_sites("/dev/zero")


def spoken(capsys, monkeypatch, *words):
    """Run the command line in this process: (exit code, standard output, standard error)."""
    monkeypatch.setattr(sys, "argv", ["planish", *map(str, words)])
    code = 0
    try:
        run()
    except SystemExit as ended:
        code = ended.code
    told = capsys.readouterr()
    return code, told.out, told.err


@pytest.mark.parametrize(
    "words, said",
    [
        (["polish"], "FILE"),
        (["polish", "a.toml", "--jsn"], "--jsn"),
        (["polsih", "a.toml"], "polsih"),
        (["new", "rotary"], "--output"),
        (["lot", "a.toml", "--wafers", "many"], "--wafers"),
        (["polish", "a.toml", "--out", "{file}"], "is a file, not a folder"),
        (["polish", "a.toml", "--out", "{file}/deeper"], "is a file, not a folder"),
        (["new", "rotary", "-o", "{folder}"], "is a folder"),
        (["new", "rotary", "-o", "n" * 300], "cannot be written"),
        (["schema", "-o", "{folder}"], "cannot be written"),
        (["schema", "-o", "{file}/x.json"], "cannot be written"),
        (["measure", "{before}", "{after}", "--time", "0 s"], "--time = '0 s'"),
        (["measure", "{before}", "{after}", "--time", "60"], "--time = '60'"),
        (["measure", "/dev/zero", "/dev/zero"], "device or pipe"),
        (["fit", "{setup}", "{before}", "{after}", "--time", "0 s"], "--time = '0 s'"),
        (["check", "{bad}"], "bad.toml: recipe.step.main.ring_pressure"),
    ],
)
def test_wrong_use_is_told_in_one_line(tmp_path, capsys, monkeypatch, words, said):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "setup.toml").write_text(new_setup("rotary"))
    (tmp_path / "bad.toml").write_text(new_setup("rotary").replace('"4.2 psi"', '"-4.2 psi"'))
    places = {
        "file": tmp_path / "setup.toml",
        "folder": tmp_path,
        "setup": tmp_path / "setup.toml",
        "bad": tmp_path / "bad.toml",
        "before": site_file(tmp_path, "a.csv", 1000),
        "after": site_file(tmp_path, "b.csv", 400),
    }
    code, out, err = spoken(capsys, monkeypatch, *[word.format(**places) for word in words])
    assert code == 2
    assert out == ""
    assert err.startswith("planish: "), err
    assert err.count("\n") == 1, err
    assert said in err
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]  # nothing half written


def test_a_terminal_that_cannot_spell(monkeypatch, tmp_path):
    (tmp_path / "setup.toml").write_text(new_setup("rotary"))
    for extra, wanted in (([], b"WIWNU, 1? [%]"), (["--json"], b'"wiwnu_sigma_percent"')):
        told = io.BytesIO()
        monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(told, encoding="ascii"))
        monkeypatch.setattr(sys, "argv", ["planish", "polish", str(tmp_path / "setup.toml"), *extra])
        run()
        sys.stdout.flush()
        assert wanted in told.getvalue()
        if extra:
            json.loads(told.getvalue().decode("ascii"))


def test_sources_stand_in_one_order_whatever_the_hash_seed():
    code = (
        "from planish.setup.load import loads; from planish.setup.new import new_setup;"
        "print('\\n'.join(loads(new_setup('rotary')).sources))"
    )
    told = [
        subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONIOENCODING": "utf-8"},
            capture_output=True,
            check=True,
        ).stdout
        for seed in ("0", "1", "2")
    ]
    assert told[0] == told[1] == told[2]


def test_check_lists_everything(tmp_path):
    path = tmp_path / "many.toml"
    path.write_text(new_setup("rotary").replace('"4.2 psi"', '"-4.2 psi"').replace('"90 rpm"', '"90 psi"'))
    assert sum(item.level == "error" for item in check(path)) == 2


def test_where_nothing_goes_no_wafer_is_called_even() -> None:
    still = BASES["rotary"].replace({"slurry.abrasive_fraction": 0})
    lot = planish.polish_lot(still, 3)
    figures = lot.summary()
    for which in ("first", "last", "worst"):
        assert figures[f"{which}_wiwnu_sigma_percent"] is None
    assert np.isnan(lot.wiwnu_sigma).all()
    wafer = planish.polish(still)
    assert any("Nothing is removed" in note for note in wafer.notes)
    assert any("Nothing is removed" in note for note in lot.notes)
    assert any(f.place == "slurry.abrasive_fraction" and f.level == "warning" for f in planish.check(still))


@pytest.mark.parametrize("changes", [None, 5, ["a"], {".".join(["a"] * 3000): "x"}, {5: "x"}])
def test_changes_that_are_none_are_refused(changes) -> None:
    with pytest.raises(planish.PlanishError):
        BASES["rotary"].replace(changes)


@pytest.mark.parametrize("outcomes", [None, "mean_removal_rate_nm_per_min", [5]])
def test_outcomes_that_are_no_list_of_names_are_refused(outcomes) -> None:
    with pytest.raises(planish.PlanishError, match="outcomes"):
        planish.compare(BASES["rotary"], BASES["linear"], outcomes=outcomes)


@pytest.mark.parametrize(
    "given", [{"handling_time": "30"}, {"handling_time": [1]}, {"wafers": "3"}, {"workers": 1.5}]
)
def test_arguments_of_a_lot_that_are_no_numbers_are_refused(given) -> None:
    with pytest.raises(planish.PlanishError, match=next(iter(given))):
        planish.polish_lot(BASES["rotary"], **{"wafers": 3, **given})


def test_a_time_between_wafers_may_be_text() -> None:
    text, number = (planish.polish_lot(BASES["rotary"], 3, handling_time=t) for t in ("1 min", 60.0))
    assert text.summary() == number.summary()
