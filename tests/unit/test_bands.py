"""Bands of a prediction from stated spreads, against what can be worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from planish.engine.record import same
from planish.errors import SetupError
from planish.physics.removal.laws import LAWS
from planish.predict.die.bands import die_band
from planish.predict.lot.bands import lot_band
from planish.predict.wafer.bands import LAYERS, Moved, polish_band, spreads, wafer_figures, without_effect
from planish.setup.load import loads
from planish.setup.models import Setup
from planish.setup.new import new_setup
from planish.setup.parts import catalogue
from planish.setup.resolve import STIFFNESS_KEYS
from planish.setup.spread import moved, step_of

KINDS = ("wafer", "pad", "conditioner", "slurry")
PARTS = [
    (kind, name)
    for kind in KINDS
    for name in catalogue(kind)
    if any(v.spread for v in catalogue(kind)[name].values.values())
]


def without_spreads(rig):
    """Return the pad with no spread of moduli or of the flow pressure, and none that softens."""
    layers = tuple(replace(layer, modulus_spread=0.0, softening=0.0) for layer in rig.pad.layers)
    return replace(rig.pad, layers=layers, surface=replace(rig.pad.surface, flow_spread=0.0))


def test_a_spread_of_the_rate_alone_gives_the_same_relative_band() -> None:
    """Timed steps, no heat, no shortage: the removed amount is proportional to k_p."""
    rig = loads(new_setup("rotary")).rig
    pad = without_spreads(rig)
    film = rig.wafer.films[0].material
    law = replace(rig.removal[film], relative_spread=0.07)
    steps = (replace(rig.steps[1], stop="time", stop_value=20.0, flow=1.0),)
    rig = replace(rig, pad=pad, removal={film: law}, steps=steps)
    band = polish_band(rig)["mean_removed_nm"]
    assert band.sd / band.value == pytest.approx(0.07, rel=0.05)  # the fresh share still moves a little
    assert list(band.shares) == [f"rate of {film}"]


def test_shares_add_in_quadrature_and_every_stated_spread_is_moved() -> None:
    rig = loads(new_setup("rotary")).rig
    bands = polish_band(rig)
    names = [one.name for one in spreads(rig)]
    assert len(names) >= 3
    for band in bands.values():
        assert band.sd == pytest.approx(sum(s**2 for s in band.shares.values()) ** 0.5)
    rate = bands["mean_removal_rate_nm_per_min"]
    assert set(rate.shares) == set(names)
    assert rate.shares["modulus of the top pad"] > 0  # stiffer summits polish faster


def test_without_spreads_there_is_no_band() -> None:
    rig = loads(new_setup("linear")).rig
    removal = {key: replace(law, relative_spread=0.0) for key, law in rig.removal.items()}
    assert polish_band(replace(rig, pad=without_spreads(rig), removal=removal)) == {}


@pytest.fixture(scope="module")
def density_maps() -> SimpleNamespace:
    density = np.kron(np.random.default_rng(1).uniform(0.2, 0.8, (3, 3)), np.ones((20, 20)))
    widths = {
        "line_width": 4e-6 * density,
        "space": 4e-6 * (1 - density),
        "perimeter": np.full((60, 60), 5e5),
    }
    return SimpleNamespace(density=density, cell=1.5e-4, origin=(0.0, 0.0), **widths)


def with_part(kind: str, name: str) -> Setup:
    """Return a setup that holds a part, with every film that its slurry polishes on the wafer."""
    setup = loads(new_setup("rotary"))
    if kind == "slurry":
        laws = catalogue(kind)[name].tree()["removal"]
        films = [{"material": each, "thickness": "400 nm"} for each in laws]
        return setup.replace({kind: {"part": name}, "removal": None, "wafer.film": films})
    if kind == "wafer":
        size = float(str(catalogue(kind)[name].values["diameter"].value).split()[0])
        head = {150.0: "one-zone-150", 200.0: "three-zone-200", 300.0: "five-zone-300"}[size]
        film = [{"material": "oxide", "thickness": "800 nm"}]
        pressed = {f"recipe.step.{number}.zone_pressures": "2 psi" for number in (1, 2, 3)}
        return setup.replace({"wafer": {"part": name, "film": film}, "head": {"part": head}, **pressed})
    return setup.with_part(kind, name)


def told_as(setup: Setup, path: str) -> str:
    """Return the name under which a stated spread counts."""
    for material, law in setup.rig.removal.items():
        if path in (
            f"removal.{material}.rate",
            f"removal.{material}.coefficients.{LAWS.get(law.law).leading}",
        ):
            return f"rate of {material}"
    for layer, words in zip(LAYERS, ("top pad", "sub-pad"), strict=True):
        if path in [f"pad.{layer}.{key}" for key in STIFFNESS_KEYS]:
            return f"modulus of the {words}"
    return path


@pytest.mark.parametrize(("kind", "name"), PARTS)
def test_every_spread_that_a_part_states_is_moved(kind: str, name: str) -> None:
    """Each moves the setup both ways, or one way where the other side is none; nothing stated is passed over."""
    setup, part = with_part(kind, name), catalogue(kind)[name]
    stated = [
        key if key.startswith("removal.") else f"{kind}.{key}"
        for key, value in part.values.items()
        if value.spread
    ]
    found = {one.name: one for one in spreads(setup)}
    assert stated
    for path in stated:
        one = found[told_as(setup, path)]
        sides = [side for side in (one.up, one.down) if side is not None]
        assert sides, path
        assert all(not same(side, setup.rig) for side in sides), path


@pytest.mark.parametrize("kind", KINDS)
def test_a_large_spread_alone_widens_the_band_or_its_value_does_not_come_in(kind: str) -> None:
    """Every value of a part that states a spread, put two spreads off by itself: what it moves has a share in the bands."""
    setup = with_part(kind, next(name for each, name in PARTS if each == kind))
    bands = polish_band(setup)
    idle, middle = without_effect(bands), wafer_figures(setup.rig)
    for path, origin in setup.origins.items():
        if not origin.spread or not path.startswith(kind):
            continue
        far = wafer_figures(setup.replace({path: moved(origin.value, origin.spread, 2)}).rig)
        moves = any(
            isinstance(value, float)
            and key != "force_balance_error"
            and abs(far[key] - value) > 1e-6 * abs(value)
            for key, value in middle.items()
        )
        assert moves == (told_as(setup, path) not in idle), path
    assert {name for band in bands.values() for name in band.shares} == {one.told for one in spreads(setup)}


def test_what_a_new_pad_s_wafer_does_not_feel_a_lot_does() -> None:
    """How soon a disk dulls and a pad wears comes into no single wafer on a new pad; that is computed, not listed."""
    setup = loads(new_setup("rotary"))
    wear = "pad.polish_wear_coefficient"
    assert {wear, "conditioner.halving_time"} <= set(without_effect(polish_band(setup)))
    bands = lot_band(setup, 3)
    assert wear not in without_effect(bands)
    assert bands["last_rate_nm_per_min"].shares[wear] < 0  # summits that wear sooner polish slower
    assert "wafers" not in bands
    assert "seed" not in bands


def test_bands_are_the_same_on_any_number_of_workers() -> None:
    setup = loads(new_setup("rotary"))
    assert same(lot_band(setup, 2, seed=5), lot_band(setup, 2, seed=5, workers=2))


def test_a_spread_of_a_value_that_the_setup_gives_itself_is_nobody_s() -> None:
    setup = loads(new_setup("rotary")).replace({"slurry.friction_boundary": 0.35})
    assert "slurry.friction_boundary" not in [one.name for one in spreads(setup)]
    quiet = setup.replace({"removal.oxide.spread": 0.0})
    assert "rate of oxide" in [one.name for one in spreads(setup)]
    assert "rate of oxide" not in [one.name for one in spreads(quiet)]


def test_one_doubt_told_twice_counts_once_and_the_larger() -> None:
    """A top pad's spread key says 10 %, that of the hardness which its modulus follows from three points, which is more."""

    def top(setup: Setup) -> float:
        (one,) = [one for one in spreads(setup) if one.name == "modulus of the top pad"]
        assert one.up is not None
        return one.up.pad.layers[0].modulus / setup.rig.pad.layers[0].modulus

    setup = loads(new_setup("rotary"))
    harder = (
        setup.replace({"pad.top.shore_d": 58}).rig.pad.layers[0].modulus / setup.rig.pad.layers[0].modulus
    )
    assert top(setup) == pytest.approx(harder)
    assert harder > 1.1
    assert top(setup.replace({"pad.top.modulus_spread": 0.02})) == pytest.approx(1.02)
    assert not [one.name for one in spreads(setup) if "shore" in one.name]


def test_a_section_left_to_a_part_keeps_its_other_values() -> None:
    """Moving one value of it alone would take the rest for unsaid, and the pad's sub-pad away."""
    setup = loads(new_setup("rotary")).replace({"pad": None})
    assert "pad" not in setup.document
    (one,) = [one for one in spreads(setup) if one.name == "pad.top.thickness"]
    assert len(one.up.pad.layers) == len(setup.rig.pad.layers) == 2


def test_a_side_that_no_setup_can_take_is_told() -> None:
    rig = loads(new_setup("rotary")).rig
    assert Moved("slurry.entry_share", rig, None).told == "slurry.entry_share (upwards only)"
    assert Moved("slurry.entry_share", None, rig).told == "slurry.entry_share (downwards only)"
    assert Moved("slurry.entry_share", rig, rig).told == "slurry.entry_share"


def test_spreads_are_read_in_the_value_s_own_unit() -> None:
    assert step_of("150 nm", "20 %") == pytest.approx(30.0)
    assert step_of("775 um", "20 um") == 20.0
    assert step_of(0.06, "0.01") == 0.01
    assert step_of("20 %", "5 %") == 5.0
    assert moved("150 nm", "20 %", -1) == "120.0 nm"
    assert moved(55, "3", 1) == 58.0
    for value, text in (("150 nm", "20 um"), (0.5, "wide"), (0.5, "0 %"), (0.5, "-5 %"), ("1 nm", "nan nm")):
        with pytest.raises(SetupError, match="must be a share of the value"):
            step_of(value, text)


def test_a_die_moves_every_spread_too_and_one_that_it_does_not_feel_costs_no_die(
    density_maps, monkeypatch
) -> None:
    from planish.predict.die import bands as module

    setup = loads(new_setup("rotary"))
    polished, plain = [], module.polish_die
    monkeypatch.setattr(module, "polish_die", lambda *a, **k: polished.append(1) or plain(*a, **k))
    bands = die_band([setup], density_maps, place="centre")
    stated = {one.told for one in spreads(setup)}
    assert stated < set(next(iter(bands.values())).shares)
    idle = without_effect(bands)
    assert "conditioner.halving_time" in idle
    assert "pad.top.porosity" not in idle
    assert len(polished) <= 2 * (len(stated) + 1 - len(idle)) + 1
