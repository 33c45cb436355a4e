"""Saved results, saved maps and kept maps, damaged at random: each opens with identical numbers or is refused.

Seeded; several hundred damages: bits flipped, bytes taken out, put in, written over or swapped, files cut
short, pieces of a folder removed, swapped or emptied.
"""

from __future__ import annotations

import json
import shutil
import zlib
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import DataError, PlanishError
from planish.measure.layout import store as layout_store
from planish.measure.layout.gds_write import write_rects
from planish.measure.layout.make import make_maps
from planish.measure.layout.maps import FIELDS, LayoutMaps
from planish.measure.layout.read import read_layout_maps
from planish.predict.die.polish import polish_die
from planish.predict.lot.run import polish_lot
from planish.results.saved import open_result
from planish.setup.load import load

ROOT = Path(__file__).parents[2]
ROTARY = ROOT / "examples" / "rotary.toml"


def spoiled(data: bytes, rng: np.random.Generator) -> bytes:
    """Return bytes with one to three damages."""
    out = bytearray(data)
    for _ in range(int(rng.integers(1, 4))):
        at, length = int(rng.integers(0, max(1, len(out)))), int(rng.integers(1, 64))
        kind = int(rng.integers(0, 7))
        if kind == 0 and out:
            out[at] ^= 1 << int(rng.integers(0, 8))
        elif kind == 1:
            del out[at : at + length]
        elif kind == 2:
            out[at:at] = rng.bytes(length)
        elif kind == 3:
            out[at : at + length] = rng.bytes(len(out[at : at + length]))
        elif kind == 4:
            out[at : at + length] = bytes(len(out[at : at + length]))
        elif kind == 5:
            del out[at:]
        else:
            other = int(rng.integers(0, max(1, len(out) - length)))
            one, two = bytes(out[at : at + length]), bytes(out[other : other + length])
            if len(one) == len(two):
                out[at : at + length], out[other : other + length] = two, one
    return bytes(out)


def spoil_folder(folder: Path, rng: np.random.Generator) -> None:
    """Damage one thing in a folder of files."""
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    one, two = (files[int(i)] for i in rng.choice(len(files), 2, replace=False))
    kind = int(rng.integers(0, 5))
    if kind == 0:
        one.unlink()
    elif kind == 1:
        first, second = one.read_bytes(), two.read_bytes()
        one.write_bytes(second)
        two.write_bytes(first)
    elif kind == 2:
        one.write_bytes(b"")
    else:
        one.write_bytes(spoiled(one.read_bytes(), rng))


def outcome(open_it, same) -> str:
    """Open something damaged: "same", or "refused" in one line. Anything else fails the test."""
    try:
        found = open_it()
    except PlanishError as error:
        said = str(error)
    else:
        same(found)
        return "same"
    assert "\n" not in said
    assert len(said) < 700
    return "refused"


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    folder = tmp_path_factory.mktemp("results")
    setup = load(ROTARY)
    planish.polish(setup).save(folder / "wafer.nc")
    polish_die(setup, make_maps("density-blocks", cell=200e-6), place="centre").save(folder / "die.nc")
    polish_lot(setup, 3).save(folder / "lot")
    return {name: folder / name for name in ("wafer.nc", "die.nc", "lot/lot.nc")}


@pytest.mark.parametrize("name", ["wafer.nc", "die.nc", "lot/lot.nc"])
def test_a_damaged_result_is_refused(results, tmp_path, name):
    data = results[name].read_bytes()
    sound = open_result(results[name])
    path = tmp_path / "damaged.nc"
    rng = np.random.default_rng(zlib.crc32(name.encode()))

    def same(found):
        assert found.data.identical(sound.data)
        assert found.summary() == sound.summary()
        assert found.sources() == sound.sources()

    told = []
    for _ in range(150):
        damaged = spoiled(data, rng)
        path.write_bytes(damaged)
        told.append(outcome(lambda: open_result(path), same))
        assert told[-1] == "refused" or damaged == data
    assert told.count("refused") > 140


def test_the_folder_of_a_lot_opens_and_its_damaged_file_is_named(results, tmp_path):
    shutil.copytree(results["lot/lot.nc"].parent, tmp_path / "lot")
    assert open_result(tmp_path / "lot").kind == "lot"
    data = bytearray((tmp_path / "lot" / "lot.nc").read_bytes())
    data[len(data) // 2] ^= 4
    (tmp_path / "lot" / "lot.nc").write_bytes(data)
    with pytest.raises(DataError, match=r"lot\.nc: damaged.*save it again"):
        open_result(tmp_path / "lot")
    with pytest.raises(DataError, match="no such file"):
        open_result(tmp_path)


def test_a_result_with_a_checksum_of_its_own_making_but_no_fields_is_refused(tmp_path):
    import xarray as xr

    class Odd(planish.Result):
        kind = "die"
        notes = ()

        def _content(self):
            return {}

        def sources(self):
            return []

        def dataset(self):
            return xr.Dataset(
                {"surface": ("place", np.zeros(3))}, attrs={"title": "planish-sha256:" + "1" * 64}
            )

    file = Odd().save(tmp_path / "odd.nc")
    assert open_result(file).kind == "die"
    command = ["die", str(ROTARY), "--layout", str(ROOT / "examples/data/test-blocks.gds"), "--layer", "1/0"]
    with pytest.raises(DataError, match=r"odd\.nc.*no die"):
        CliRunner().invoke(
            app, [*command, "--cell", "500um", "--from-die", str(file)], catch_exceptions=False
        )


def test_a_die_on_a_damaged_die_is_refused_by_the_command(results, tmp_path):
    data = bytearray(results["die.nc"].read_bytes())
    data[len(data) * 2 // 3] ^= 1
    (tmp_path / "die.nc").write_bytes(data)
    command = ["die", str(ROTARY), "--layout", str(ROOT / "examples/data/test-blocks.gds"), "--layer", "1/0"]
    with pytest.raises(DataError, match=r"die\.nc: damaged"):
        CliRunner().invoke(
            app, [*command, "--cell", "500um", "--from-die", str(tmp_path / "die.nc")], catch_exceptions=False
        )


@pytest.fixture
def maps(monkeypatch) -> LayoutMaps:
    monkeypatch.setattr(layout_store, "_CHUNK", 16)  # many pieces of a small map
    return make_maps("density-blocks", cell=100e-6)


def compare(maps: LayoutMaps):
    def same(found: LayoutMaps) -> None:
        for name in FIELDS:
            np.testing.assert_array_equal(getattr(found, name), getattr(maps, name))
        assert found.summary() == maps.summary()

    return same


def test_a_damaged_map_file_is_refused(maps, tmp_path):
    path = maps.save(tmp_path / "maps.npz")
    data = path.read_bytes()
    rng = np.random.default_rng(5)
    told = []
    for _ in range(150):
        path.write_bytes(spoiled(data, rng))
        told.append(outcome(lambda: LayoutMaps.open(path), compare(maps)))
    assert told.count("refused") > 100


def test_a_damaged_map_folder_is_refused(maps, tmp_path):
    sound = maps.save(tmp_path / "maps.zarr")
    compare(maps)(LayoutMaps.open(sound))
    rng = np.random.default_rng(6)
    told = []
    for number in range(100):
        path = tmp_path / f"{number}.zarr"
        shutil.copytree(sound, path)
        spoil_folder(path, rng)
        told.append(outcome(lambda path=path: LayoutMaps.open(path), compare(maps)))
        shutil.rmtree(path)
    assert told.count("refused") > 90


def pieces(folder: Path, field: str) -> list[Path]:
    return sorted(path for path in (folder / field).rglob("*") if path.is_file() and path.name != "zarr.json")


def remove(folder: Path) -> None:
    pieces(folder, "density")[0].unlink()


def swap(folder: Path) -> None:
    one, two = pieces(folder, "density")[:2]
    a, b = one.read_bytes(), two.read_bytes()
    assert a != b
    one.write_bytes(b)
    two.write_bytes(a)


def flip(folder: Path) -> None:
    piece = pieces(folder, "space")[-1]
    data = bytearray(piece.read_bytes())
    data[len(data) // 2] ^= 1
    piece.write_bytes(data)


def truncate(folder: Path) -> None:
    piece = pieces(folder, "perimeter")[0]
    piece.write_bytes(piece.read_bytes()[:-7])


DAMAGES = [remove, swap, flip, truncate]


@pytest.mark.parametrize("damage", DAMAGES)
def test_each_damage_to_a_map_folder_is_seen(maps, tmp_path, damage):
    path = maps.save(tmp_path / "maps.zarr")
    damage(path)
    with pytest.raises(DataError, match="read the layout again"):
        LayoutMaps.open(path)


@pytest.mark.parametrize("damage", DAMAGES)
def test_damaged_kept_maps_are_thrown_away_and_a_note_says_so(maps, tmp_path, monkeypatch, caplog, damage):
    monkeypatch.setenv("PLANISH_CACHE", str(tmp_path / "cache"))
    at = np.random.default_rng(8).integers(0, 400_000, (20_000, 2))
    layout = write_rects(tmp_path / "a.gds", np.hstack([at, at + 1500]).astype(np.int32))
    first = read_layout_maps(layout, 1, 0, 10e-6)
    (entry,) = (tmp_path / "cache" / "layouts").iterdir()
    damage(entry)
    again = read_layout_maps(layout, 1, 0, 10e-6)
    for name in FIELDS:
        np.testing.assert_array_equal(getattr(again, name), getattr(first, name))
    assert "damaged" in again.notes[-1]
    assert "damaged" in caplog.text
    third = read_layout_maps(layout, 1, 0, 10e-6)
    assert third.notes == first.notes
    np.testing.assert_array_equal(third.density, first.density)


def test_maps_that_say_they_are_huge_are_refused_before_room_is_made(maps, tmp_path):
    path = maps.save(tmp_path / "maps.zarr")
    for name in FIELDS:
        about = path / name / "zarr.json"
        told = json.loads(about.read_text())
        told["shape"] = [10**9, 10**9]
        about.write_text(json.dumps(told))
    with pytest.raises(DataError, match="cells, more than"):
        LayoutMaps.open(path)
