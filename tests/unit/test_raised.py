"""What one wafer raises, a lot raises too, and says in which wafer first; the die names the wafer beneath."""

from __future__ import annotations

import re
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

import planish
from planish.explain.findings import findings
from planish.predict.die.pad import pad_after
from planish.predict.die.polish import polish_die
from planish.predict.lot.run import polish_lot
from planish.predict.lot.variation import Variation
from planish.predict.raised import Raised
from planish.predict.wafer.polish import polish
from planish.setup.load import loads
from planish.setup.models import Setup
from planish.setup.new import new_setup

EXAMPLES = Path(__file__).parents[2] / "examples"
STILL = Variation.none()
HARD_AND_FAST = {
    "recipe.step.2.zone_pressures": "9 psi",
    "recipe.step.2.ring_pressure": "12 psi",
    "recipe.step.2.platen_speed": "150 rpm",
    "recipe.step.2.carrier_speed": "143 rpm",
}
CASES = {
    "ended by max_time": {"recipe.step.2.max_time": "20 s"},
    "all films are gone in places": {
        "wafer.film": [
            {"material": "oxide", "profile": [["0 mm", "900 nm"], ["130 mm", "900 nm"], ["150 mm", "300 nm"]]}
        ]
    },
    "all films are gone inside": {"wafer.film.1.thickness": "555 nm"},
    "nothing given beyond": {
        "wafer.film": [{"material": "oxide", "profile": [["0 mm", "900 nm"], ["100 mm", "900 nm"]]}]
    },
    "water would boil off": {**HARD_AND_FAST, "ambient.platen_temperature": "80 degC"},
    "the summits model holds up to a few per cent": {"pad.top.shore_d": None, "pad.top.modulus": "0.02 MPa"},
    "summits flow in touch down, main, buff": {"pad.surface.flow_pressure": "15 MPa"},
    "no fresh slurry reaches the wafer in touch down": {"recipe.step.1.flow": "0 ml/min"},
    "is fresh in step main: the rate is starved": {"recipe.step.2.flow": "15 ml/min"},
    "would be sucked below what it can bear in main": {
        "pad.grooves": "none",
        "pad.film_offset": "-12 um",
        "slurry.viscosity": "5 mPa*s",
        "recipe.step.2.zone_pressures": "15 psi",
        "recipe.step.2.ring_pressure": "6 psi",
    },
    "the liquid film in touch down, main, buff is found only up to": {  # a gap that is nearly closed
        "pad.grooves": "none",
        "pad.surface.height_sd": "0.5 um",
        "pad.surface.tail_length": "1 um",
        "pad.film_offset": "-8 um",
    },
    "the liquid sucks the wafer down by": {
        "pad.grooves": "none",
        "slurry.viscosity": "10 mPa*s",
        "recipe.step.2.ring_pressure": "1 psi",
    },
    "the liquid carries": {
        "pad.grooves": "none",
        "slurry.viscosity": "10 mPa*s",
        "recipe.step.2.zone_pressures": ["3 psi", "3 psi", "3 psi", "2.5 psi", "1 psi"],
    },
    "of it by the liquid's shear": {"slurry.viscosity": "100 mPa*s"},
    "the carrier does not turn": {"recipe.step.2.carrier_speed": "0 rpm"},
    "Nothing is removed with these settings": {f"recipe.step.{i}.flow": "0 ml/min" for i in (1, 2, 3)},
    "The edge polishes": {f"recipe.step.{i}.ring_pressure": "0.3 psi" for i in (1, 2, 3)},
    "Removal is even": {"recipe.step.2.zone_pressures": ["3 psi", "3 psi", "3 psi", "4 psi", "2 psi"]},
}


def _rotary(changes: dict[str, object]) -> Setup:
    return loads(new_setup("rotary")).replace(changes)


def _plain(words: str) -> str:
    """Without numbers, and without the place where the edge is worst: the lot's pad has warmed differently."""
    return re.sub(r"[\d.]+", "N", words)


@pytest.mark.parametrize("words", CASES)
def test_one_wafer_and_a_lot_raise_the_same(words: str) -> None:
    setup = _rotary(CASES[words])
    wafer = polish(setup)
    told = [*wafer.document()["notes"], *(item.text for item in findings(wafer, remedies=False))]
    assert any(words in note for note in told), told
    lot = polish_lot(setup, 1, variation=STILL).document()["notes"]
    assert any(words in note for note in lot), lot
    for note in wafer.document()["notes"]:
        assert any(_plain(other).startswith(_plain(note)) for other in lot), (note, lot)
    for item in wafer.raised():
        assert any(_plain(other).startswith(_plain(item.words.rstrip("."))) for other in lot), (item, lot)


def test_nothing_is_raised_without_cause() -> None:
    setup = _rotary({})
    assert polish(setup).raised() == []
    assert polish_lot(setup, 40).notes == tuple(setup.rig.notes)


def test_the_lot_says_in_which_wafer_first() -> None:
    """Without its disk the pad glazes, until the main step no longer ends in time."""
    fresh = polish(_rotary({})).steps[1].duration
    limit = round(1.05 * fresh, 2)
    setup = _rotary({"recipe.step.2.max_time": f"{limit} s"})
    assert polish(setup).raised() == []
    lot = polish_lot(setup, 60, conditioning=False, variation=STILL)
    times = lot.records.step_time[:, 1]
    late = np.flatnonzero(times >= limit - 1e-9)
    assert 0 < late[0] < 60
    assert late.size == 60 - late[0]
    (note,) = [note for note in lot.notes if "ended by max_time" in note]
    assert note.endswith(f"(from wafer {late[0] + 1} on, in {late.size} of 60 wafers)")


def test_the_worst_wafer_is_named_where_the_pad_boils() -> None:
    """A pad that warms up from wafer to wafer: the note gives the lot's highest temperature."""
    setup = _rotary(HARD_AND_FAST)
    lot = polish_lot(setup, 20, variation=STILL)
    hot = lot.records.peak_temperature - 273.15
    (note,) = [note for note in lot.said if "boil" in note]
    assert f"pad at up to {hot.max():.0f} °C" in note
    assert note.endswith("(all 20 wafers)" if np.all(hot > 100) else f"in {np.sum(hot > 100)} of 20 wafers)")


@pytest.mark.parametrize(
    ("met", "words"),
    [
        ([0, 0, 1, 1], "from wafer 3 on, in 2 of 4 wafers"),
        ([0, 1, 1, 0], "wafers 2 to 3 of 4"),
        ([1, 0, 1, 0], "from wafer 1 on, in 2 of 4 wafers"),
        ([0, 0, 1, 0], "wafer 3"),
        ([1, 1, 1, 1], "all 4 wafers"),
        ([1], "the one wafer"),
    ],
)
def test_where_a_lot_met_it(met: list[int], words: str) -> None:
    assert Raised("doubt", "film", "", np.array(met, dtype=bool)).where() == words


def test_the_worst_of_several_is_a_limit() -> None:
    """A glazing pad: its edge polishes faster from wafer to wafer."""
    setup = _rotary({"pad.polish_wear_coefficient": "1e-14 1/Pa"})
    lot = polish_lot(setup, 4, conditioning=False, variation=STILL)
    steep = lot.records.seen(lot.rig, lot.radius, lot.areas).edge
    assert steep[0] < 6 < steep[1] < steep[2]
    note = f"The edge polishes up to {steep.max():.1f} % fast (from wafer 2 on, in 3 of 4 wafers)"
    assert note in lot.notes


def test_a_lot_says_where_summits_are_worn_flatter_than_it_follows() -> None:
    """The rate then jumps up and down, as no wear does; before, it only falls."""
    worn = _rotary({"pad.polish_wear_coefficient": "1e-14 1/Pa"})
    lot = polish_lot(worn, 14, conditioning=False, variation=STILL)
    unresolved = lot.records.unresolved
    from_here = int(np.argmax(unresolved))
    assert 0 < from_here < 13
    assert np.all(np.diff(lot.records.rate[:from_here]) < 0)
    assert np.any(np.diff(lot.records.rate[from_here:]) > 0)
    (note,) = [note for note in lot.notes if "worn to one height" in note]
    assert f"from wafer {from_here + 1} on" in note
    usual = polish_lot(_rotary({}), 40, conditioning=False, variation=STILL)
    assert not usual.records.unresolved.any()


def test_a_real_contact_of_more_than_a_few_per_cent_is_told() -> None:
    for modulus, told in (("1 MPa", False), ("0.5 MPa", True)):
        setup = _rotary(
            {"pad.top.shore_d": None, "pad.top.modulus": modulus, "pad.surface.flow_pressure": "1 GPa"}
        )
        wafer = polish(setup)
        assert any("real contact area" in note for note in wafer.doubts()) is told, modulus
        assert (max(step.real_fraction for step in wafer.steps) > 0.05) is told


def test_a_boiling_pad_is_told_once_with_keys_that_there_are() -> None:
    setup = _rotary({"recipe.step.main.ring_pressure": "9.9 psi", "ambient.platen_temperature": "55 degC"})
    for answer in (polish(setup), polish_lot(setup, 1, variation=STILL)):
        (note,) = [note for note in answer.document()["notes"] if "boil" in note]
        assert "no softer than at 100 °C" in note
        for key in note.split("look at ")[1].split(";")[0].split(", "):
            assert setup.get(key) is not None


def test_the_die_says_what_the_wafers_beneath_it_say(density_maps) -> None:
    setup = _rotary({"recipe.step.2.max_time": "20 s"})
    notes = polish_die(setup, density_maps, place="centre").notes
    assert any(note.startswith("the wafer: step main: ended by max_time 20 s") for note in notes)
    both = polish_die([_rotary({}), setup], density_maps, place="centre").notes
    assert any(note.startswith("platen 2: step main: ended by max_time") for note in both)
    assert not any(note.startswith("platen 1: step main") for note in both)
    worn = polish_die(setup, density_maps, place="centre", after=pad_after(setup, 5)).notes
    (told,) = [note for note in worn if note.startswith("the wafers before: step main")]
    assert told.endswith("(all 5 wafers)")


@pytest.fixture(scope="module")
def density_maps():
    density, width = np.full((16, 16), 0.4), np.full((16, 16), 2e-6)
    density[:, :8] = 0.7
    return SimpleNamespace(
        density=density,
        perimeter=2 * density / width,
        line_width=width,
        space=width * (1 - density) / density,
        cell=2e-4,
        origin=(0.0, 0.0),
    )


def test_lots_by_command_tell_it_too(tmp_path: Path) -> None:
    import json

    from typer.testing import CliRunner

    from planish.cli.main import app

    file = tmp_path / "setup.toml"
    file.write_text(_rotary(CASES["water would boil off"]).to_toml(), encoding="utf-8")
    told = CliRunner().invoke(app, ["lot", str(file), "--wafers", "3", "--json"])
    assert told.exit_code == 0, told.output
    assert any("boil" in note and "all 3 wafers" in note for note in json.loads(told.stdout)["notes"])


@pytest.mark.parametrize("name", ["copper", "sti"])
def test_even_because_the_film_is_gone_is_not_called_good(name):
    result = planish.polish(EXAMPLES / f"{name}.toml")
    assert result.cleared_share() > 0.9
    told = {one.subject: one for one in findings(result, remedies=False)}
    assert told["uniformity"].weight != "good"
    assert "how even they came in" in told["uniformity"].text
    assert any("gone everywhere" in note for note in result.notes)
    lot = planish.polish_lot(EXAMPLES / f"{name}.toml", 3)
    assert any("gone everywhere" in note for note in lot.notes)


def test_a_film_that_lasts_is_not_said_to_be_gone():
    result = planish.polish(EXAMPLES / "rotary.toml")
    assert result.cleared_share() == 0.0
    assert not any("gone everywhere" in note for note in result.notes)


def test_a_carrier_at_rest_says_how_the_speed_differs_round_the_wafer() -> None:
    """Of a platen w at distance d the speed at the rim goes from w (d - R) to w (d + R); on a belt it is the same all over."""
    setup = _rotary({"recipe.step.2.carrier_speed": "0 rpm"})
    machine, turning = setup.rig.polisher, setup.rig.steps[1].platen_speed
    low, high = (turning * (machine.distance + sign * setup.rig.wafer.radius) for sign in (-1, 1))
    (note,) = [note for note in polish(setup).notes if "does not turn" in note]
    assert f"from {low:.3g} to {high:.3g} m/s" in note
    rim = setup.rig.wafer.radius
    x, y = np.meshgrid(*2 * [np.linspace(-rim, rim, 501)])
    speed = np.hypot(machine.distance + x, y)[
        np.hypot(x, y) <= rim
    ]  # over w: the distance from the platen's axis
    spread = 100 * speed.std() / speed.mean()
    told = float(re.search(r"by ([\d.]+) % \(1σ\)", note)[1])
    assert told == pytest.approx(spread, rel=0.01)
    belt = loads(new_setup("linear")).replace({"recipe.step.2.carrier_speed": "0 rpm"})
    (note,) = [note for note in polish(belt).notes if "does not turn" in note]
    assert "m/s all over" in note
    assert not [note for note in polish(_rotary({})).notes if "does not turn" in note]
