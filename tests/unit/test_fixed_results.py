"""Nothing that planish hands out can be written to, so nobody changes what the next caller gets."""

from __future__ import annotations

import copy
import pickle
from dataclasses import FrozenInstanceError, fields, is_dataclass
from pathlib import Path

import numpy as np
import pytest

import planish
from planish.engine.fixed import FixedDict, fixed
from planish.engine.record import same
from planish.errors import PlanishError
from planish.fit.against import fit_wafer
from planish.measure.sites.pairing import pair
from planish.measure.sites.profile import radial_profile
from planish.measure.sites.read import read_sites
from planish.physics.pattern.kernels import _elliptic_exact, _elliptic_rule
from planish.physics.pattern.planarization_length import _table
from planish.physics.pressure.plate import _share_beyond
from planish.physics.pressure.radial_grid import _ring_functions, wafer_areas, wafer_functions
from planish.predict.die.fields import polish_fields
from planish.predict.lot.pad_rings import pad_rings
from planish.predict.wafer.contact_model import prepare
from planish.setup.attached import film_sites, summit_heights
from planish.setup.parts import catalogue

EXAMPLES = Path(__file__).parents[2] / "examples"
BEFORE, AFTER = EXAMPLES / "data" / "wafer-before.csv", EXAMPLES / "data" / "wafer-after.csv"


def arrays(value, path="it", seen=None):
    """Yield (where, array) of every array that can be reached from a value by its fields."""
    seen = set() if seen is None else seen
    if id(value) in seen:
        return
    seen.add(id(value))
    if isinstance(value, np.ndarray):
        yield path, value
    elif is_dataclass(value):
        for field in fields(value):
            if field.compare:  # the rest is what a record notes for itself
                yield from arrays(getattr(value, field.name), f"{path}.{field.name}", seen)
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from arrays(item, f"{path}[{key!r}]", seen)
    elif isinstance(value, list | tuple):
        for index, item in enumerate(value):
            yield from arrays(item, f"{path}[{index}]", seen)


def assert_fixed(value, least=1):
    found = list(arrays(value))
    assert len(found) >= least
    loose = [where for where, array in found if array.flags.writeable]
    assert not loose


@pytest.fixture(scope="module")
def setup():
    return planish.load(EXAMPLES / "rotary.toml")


@pytest.fixture(scope="module")
def wafer(setup):
    return planish.polish(setup)


@pytest.fixture(scope="module")
def maps():
    return planish.read_layout_maps(EXAMPLES / "data" / "test-blocks.gds", 1, 0, 400e-6, cache=False)


def test_a_written_result_changes_no_later_polish(setup, wafer):
    with pytest.raises(ValueError, match="read-only"):
        wafer.radius[0] = 5.0
    with pytest.raises(ValueError, match="read-only"):
        wafer.radius.base[...] = 5.0  # the cached grid itself
    with pytest.raises(ValueError, match="WRITEABLE"):
        wafer.radius.flags.writeable = True
    assert planish.polish(setup).radius[0] < 0.01


def test_the_wafer_is_fixed(wafer):
    assert_fixed(wafer, least=20)
    assert_fixed(wafer.maps(41), least=3)
    for array in (wafer.removed, wafer.rate, wafer.times, wafer.temperatures):
        assert not array.flags.writeable
    with pytest.raises(FrozenInstanceError):
        wafer.radius = np.zeros(3)
    with pytest.raises(FrozenInstanceError):
        wafer.steps[0].duration = 1.0
    wafer.document()["notes"].append("mine")
    wafer.sources().append("mine")
    assert "mine" not in wafer.document()["notes"]
    assert "mine" not in wafer.sources()


def test_the_labelled_data_are_ones_own(wafer):
    with pytest.raises(ValueError, match="read-only"):
        wafer.data["pressure"].values[:] = 0.0
    mine = wafer.data
    mine["extra"] = 1.0
    del mine["removed"]
    assert "removed" in wafer.data
    assert "extra" not in wafer.data


def test_the_lot_is_fixed(setup):
    lot = planish.polish_lot(setup, 3, events=["2 pad"])
    assert_fixed(lot, least=25)
    assert not lot.wiwnu_sigma.flags.writeable
    with pytest.raises(FrozenInstanceError):
        lot.records.rate = np.zeros(3)
    with pytest.raises(ValueError, match="read-only"):
        lot.records.rate[0] = 0.0


def test_the_die_is_fixed(setup, maps):
    die = planish.polish_die(setup, maps, place="mid")
    assert_fixed(die, least=10)
    assert_fixed(maps, least=4)
    fields = polish_fields(setup, maps, centres=[(0.0, 0.0)], workers=1)
    with pytest.raises(TypeError, match="read-only"):
        fields.fields[0].named["mine"] = (0.0, 0.0, 0.0)
    with pytest.raises(ValueError, match="read-only"):
        fields.data["within_die_range"].values[0] = 0.0
    with pytest.raises(TypeError, match="read-only"):
        die.dies[0].fields.named["mine"] = maps.density


def test_measurements_and_fits_are_fixed(wafer):
    before, after = read_sites(BEFORE), read_sites(AFTER)
    assert_fixed(before, least=3)
    paired = pair(before, after)
    assert_fixed(paired, least=3)
    assert_fixed(fit_wafer(wafer, paired), least=6)
    assert_fixed(radial_profile(paired.removal), least=4)


def test_ones_own_arrays_stay_ones_own():
    """A record sees an array that it was made from without taking it away."""
    x = np.array([0.0, 0.1, 0.0])
    made = planish.SiteMap(x, np.zeros(3), np.ones(3), ("1", "2", "3"), "removal", "nm", "made")
    x[0] = 0.05
    assert not made.x.flags.writeable


def test_si_records_are_fixed(setup):
    rig = setup.rig
    assert_fixed(rig, least=4)
    with pytest.raises(TypeError, match="read-only"):
        rig.removal["oxide"] = None
    with pytest.raises(TypeError, match="read-only"):
        rig.removal["oxide"].coefficients["k_p"] = 1.0
    with pytest.raises(ValueError, match="read-only"):
        rig.steps[0].zone_pressures[0] = 1.0


def test_si_records_travel_to_other_processes(setup):
    for other in (pickle.loads(pickle.dumps(setup.rig)), copy.deepcopy(setup.rig)):
        assert same(other, setup.rig)
        assert isinstance(other.removal, FixedDict)


def test_what_is_cached_is_fixed(setup, maps, tmp_path):
    planish.polish(setup)
    model = prepare(setup.rig)
    assert_fixed(model, least=15)
    assert_fixed([item for item in model.operator.memo.values() if isinstance(item, np.ndarray)])
    assert_fixed(pad_rings(setup.rig, model.grid), least=6)
    assert_fixed(
        (wafer_areas(96), wafer_functions(96, 5), _ring_functions(16), _share_beyond(96, 0.5, 0.01)), 8
    )
    assert_fixed((_elliptic_exact(3.0, 4), _elliptic_rule(), _table("elliptic")), 6)
    heights = tmp_path / "heights.csv"
    heights.write_text("height_um\n" + "\n".join(str(0.1 * n) for n in range(40)), encoding="utf-8")
    assert_fixed(
        (
            film_sites("wafer-before.csv", BEFORE.parent, "film"),
            summit_heights(heights.name, tmp_path, "pad"),
        ),
        4,
    )
    with pytest.raises(TypeError, match="read-only"):
        catalogue("pad").clear()


def test_a_kernel_is_the_same_after_somebody_tried_to_write_it():
    first = _elliptic_exact(2.5, 3)
    with pytest.raises(ValueError, match="read-only"):
        first[0, 0] = 9.0
    assert _elliptic_exact(2.5, 3).sum() == pytest.approx(1.0)


def test_a_setup_is_changed_by_replace_alone(setup):
    digest = setup.digest()
    setup.document["title"] = "mine"
    setup.document["recipe"]["step"][0]["name"] = "mine"
    setup.tree["pad"]["top"]["thickness"] = "9 mm"
    setup.get("recipe.step")[0]["name"] = "mine"
    assert setup.title != "mine"
    assert setup.replace({"wafer.edge_exclusion": "5 mm"}).get("recipe.step.1.name") != "mine"
    assert setup.digest() == digest
    with pytest.raises(AttributeError, match="replace gives a new one"):
        setup.name = "mine"
    with pytest.raises(AttributeError):
        setup.document = {}
    with pytest.raises(TypeError, match="read-only"):
        setup.parts["pad"] = "mine"
    with pytest.raises(TypeError, match="read-only"):
        setup.origins["pad.family"] = None


def test_a_setup_does_not_follow_the_tables_it_was_made_from(setup):
    document = setup.document
    mine = planish.Setup(document, folder=EXAMPLES)
    document["recipe"]["step"][0]["name"] = "changed later"
    assert mine.get("recipe.step.1.name") != "changed later"
    assert pickle.loads(pickle.dumps(mine)) == mine


def test_fixed_tables_and_sequences():
    made = fixed({"a": [np.zeros(2), {"b": 1}], "c": (1, "two")})
    assert isinstance(made["a"], tuple)
    assert made["c"] == (1, "two")
    for change in (
        lambda: made.update(a=1),
        lambda: made.pop("a"),
        lambda: made["a"][1].clear(),
        lambda: made.setdefault("z", 1),
    ):
        with pytest.raises(TypeError, match="read-only"):
            change()
    assert dict(made) == made  # and a copy is an ordinary dict again
    assert made | {"z": 1} != made


def test_same_tells_apart_by_the_last_bit(setup):
    rig = setup.rig
    other = setup.replace({"recipe.step.1.zone_pressures": "1.5000001 psi"}).rig
    assert same(rig, planish.load(EXAMPLES / "rotary.toml").rig)
    assert not same(rig, other)
    assert same(np.array([np.nan, 1.0]), np.array([np.nan, 1.0]))
    assert not same((1.0, 2.0), (1.0,))


@pytest.mark.parametrize("bad", [None, 5, {"title": "x"}, b"setup.toml"])
def test_what_is_no_setup_is_refused_in_words(bad, setup, maps):
    for use in (
        lambda: planish.polish(bad),
        lambda: planish.polish_lot(bad, 2),
        lambda: planish.polish_die(bad, maps),
        lambda: planish.compare(setup, bad),
        lambda: planish.load(bad),
        lambda: planish.check(bad),
    ):
        with pytest.raises(PlanishError, match=f"a {type(bad).__name__} was given: must be"):
            use()


def test_the_path_of_a_setup_file_is_a_setup(setup, wafer, maps):
    from planish.predict.die.pad import pad_after
    from planish.predict.dwell import design_sweep
    from planish.predict.wafer.bands import polish_band

    path = EXAMPLES / "rotary.toml"
    for given in (path, str(path), setup.rig):
        assert np.array_equal(planish.polish(given).removed, wafer.removed)
    assert planish.polish_lot(path, 1).wafers == 1
    assert planish.polish_die(path, maps, place="mid").places == ["mid"]
    assert planish.polish_die([path, setup], maps, place="mid").dies[0].local.steps[-1].platen == 1
    assert planish.compare(path, str(path)).runs >= 1
    assert design_sweep(path, zones=4).zone_dwell.size == 4
    assert pad_after(path, 1).wafers == 1
    assert polish_band(path)["mean_removed_nm"].value > 0
    with pytest.raises(PlanishError, match="no such file"):
        planish.polish("no-such-setup.toml")
    with pytest.raises(PlanishError, match="must be the cell maps of a layer"):
        planish.polish_die(path, "layout.gds")
