"""Setups: read, filled in, replaced, written."""

from __future__ import annotations

import math
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from planish.errors import SetupError
from planish.physics.surface.summit_flow import tail_pressure
from planish.setup.check import check
from planish.setup.load import load, loads
from planish.setup.models import Setup
from planish.setup.motions.known import MOTIONS
from planish.setup.new import new_setup

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture(scope="module")
def rotary() -> Setup:
    return loads(new_setup("rotary"))


@pytest.mark.parametrize("motion", MOTIONS.names())
def test_new_setup_is_complete_and_sound(motion: str, tmp_path: Path) -> None:
    file = tmp_path / "new.toml"
    file.write_text(new_setup(motion), encoding="utf-8")
    assert check(file) == []  # no error, no warning, and no default was needed
    rig = load(file).rig
    assert rig.polisher.motion == motion
    assert len(rig.steps) == 3
    assert rig.sources


@pytest.mark.parametrize("motion", MOTIONS.names())
def test_commented_values_are_what_the_parts_say(motion: str) -> None:
    text = new_setup(motion)
    bare = re.sub(r"(?m)^# (?=[a-z_.]+ = |\[removal)", "", text)
    bare = re.sub(r"(?m)^(profile|sites) = .*\n", "", bare)
    assert bare.count("\n# ") < text.count("\n# ") - 40
    assert loads(bare) == loads(text)


@pytest.mark.parametrize("motion", MOTIONS.names())
def test_every_line_of_a_new_setup_says_what_it_is(motion: str) -> None:
    seen: set[str] = set()
    for line in new_setup(motion).splitlines():
        match = re.match(r"(?:# )?([a-z_.]+) = .*", line)
        if match is None or match.group(1) in ("title", "part"):
            continue
        name = match.group(1)
        explained = "  # " in line
        assert explained or name in seen, line  # steps after the first are brief
        seen.add(name)


@pytest.mark.parametrize("name", ["rotary", "linear", "orbital", "three-zone-copper"])
def test_examples_load(name: str) -> None:
    setup = load(EXAMPLES / f"{name}.toml")
    assert setup.rig.steps
    assert setup.warnings == ()


def test_examples_are_what_new_writes() -> None:
    for motion in MOTIONS.names():
        assert (EXAMPLES / f"{motion}.toml").read_text(encoding="utf-8") == new_setup(motion)


def test_numbers_arrive_in_si(rotary: Setup) -> None:
    b = rotary.rig
    assert b.wafer.radius == pytest.approx(0.15)
    assert b.wafer.thickness == pytest.approx(775e-6)
    assert b.polisher.centre_offset == pytest.approx(0.2)
    assert b.polisher.platen_radius == pytest.approx(0.4)
    assert np.allclose(b.head.zone_outer_radii, [0.05, 0.09, 0.12, 0.14, 0.15])
    assert b.steps[1].platen_speed == pytest.approx(90 * 2 * math.pi / 60)
    assert b.steps[1].zone_pressures == pytest.approx([3 * 6894.757] * 5, rel=1e-6)
    assert b.steps[1].stop == "removed"
    assert b.steps[1].stop_value == pytest.approx(550e-9)
    assert b.steps[1].flow == pytest.approx(250e-6 / 60)
    assert b.conditioner is not None
    assert b.conditioner.downforce == pytest.approx(7 * 4.448222, rel=1e-6)
    # 250 nm/min at 3 psi and 1 m/s is a Preston coefficient of 2.01441e-13 /Pa (closed form)
    assert b.removal["oxide"].coefficients["k_p"] == pytest.approx(2.01441e-13, rel=1e-5)


def test_modulus_follows_hardness_polymer_pores_and_filler(rotary: Setup) -> None:
    from planish.physics.surface import hardness

    def top(**keys: object) -> float:
        return rotary.replace({"pad": {"top": keys}}).rig.pad.layers[0].modulus

    assert top(shore_d=55) == pytest.approx(hardness.shore_modulus(55, "D"))
    assert top(shore_a=62) == pytest.approx(hardness.shore_modulus(62, "A"))
    assert top(modulus="120 MPa") == pytest.approx(120e6)
    assert top(polymer_modulus="200 MPa", porosity=0.5) == pytest.approx(50e6)
    filled = top(polymer_modulus="200 MPa", porosity=0.0, filler_share=0.1)
    assert filled == pytest.approx(200e6 * 1.391)
    summit = rotary.replace({"pad": {"top": {"modulus": "100 MPa", "porosity": 0.5}}}).rig.pad.surface.modulus
    assert summit == pytest.approx(400e6)  # the solid between the pores


def test_own_key_beside_a_part_wins_and_rivals_go(rotary: Setup) -> None:
    soft = rotary.replace({"pad.top.modulus": "40 MPa"})
    assert soft.rig.pad.layers[0].modulus == pytest.approx(40e6)
    assert soft.model.pad.top.shore_d is None
    assert soft.get("pad.sub.shore_a") == 55
    bare = rotary.replace({"pad.sub": "none", "head.ring": "none", "recipe.step.1.ring_pressure": None,
                           "recipe.step.2.ring_pressure": None, "recipe.step.3.ring_pressure": None})  # fmt: skip
    assert len(bare.rig.pad.layers) == 1
    assert bare.rig.head.ring is None


def test_removal_in_the_ways_it_can_be_given(rotary: Setup) -> None:
    p, v, rate = 3 * 6894.757293168361, 1.0, 250e-9 / 60

    def oxide(table: dict[str, object]):
        return rotary.replace({"removal.oxide": table}).rig.removal["oxide"]

    assert oxide({"rate": "500 nm/min"}).coefficients["k_p"] == pytest.approx(2 * rate / (p * v))
    assert oxide({"coefficients": {"k_p": "3e-13 1/Pa"}}).coefficients == {"k_p": pytest.approx(3e-13)}
    power = oxide(
        {"law": "power", "coefficients": {"alpha": 0.8, "beta": 0.5}, "reference": {"speed": "2 m/s"}}
    )
    assert power.coefficients["k"] * p**0.8 * 2.0**0.5 == pytest.approx(rate)
    limit = oxide({"law": "threshold", "coefficients": {"p_threshold": "1 psi"}})
    assert limit.coefficients["k_p"] * (p - p / 3) * v == pytest.approx(rate)
    step = oxide({"law": "two-step", "coefficients": {"a": 10.0, "e_a": "30 kJ/mol", "k_m": 1e-6, "friction": 0.4,
                                                      "molar_volume": 7.1e-6}})  # fmt: skip
    assert step.coefficients["e_a"] == pytest.approx(30e3)


def test_an_energy_goes_with_the_law_that_it_was_stated_for() -> None:
    rotary = loads(new_setup("rotary"))
    steps = {"a": 4e-3, "e_a": "10 kJ/mol", "k_m": 1.0, "friction": 0.3, "molar_volume": 7e-6}
    twice = rotary.replace({"removal.oxide": {"law": "two-step", "coefficients": steps}})
    assert twice.rig.removal["oxide"].activation_energy == 0.0
    (told,) = [note for note in twice.rig.notes if "activation_energy" in note]
    assert "11 kJ/mol" in told
    assert "'two-step'" in told
    own = rotary.replace(
        {"removal.oxide": {"law": "two-step", "coefficients": steps, "activation_energy": "5 kJ/mol"}}
    )
    assert own.rig.removal["oxide"].activation_energy == pytest.approx(5e3)
    assert not [note for note in own.rig.notes if "activation_energy" in note]
    same = rotary.replace({"removal.oxide": {"law": "preston", "rate": "100 nm/min"}})
    assert same.rig.removal["oxide"].activation_energy == pytest.approx(11e3)


def test_laws_are_those_of_the_physics(rotary: Setup) -> None:
    from planish.physics.removal.laws import LAWS, removal_rate
    from planish.setup.removal import coefficients_of

    for law in LAWS:
        assert list(coefficients_of(law)) == [c.name for c in law.coefficients]
    for removal in [*rotary.rig.removal.values(), *rotary.with_part("slurry", "copper-bulk")
                    .replace({"wafer.film.1.material": "copper"}).rig.removal.values()]:  # fmt: skip
        ref = removal.reference
        rate = removal_rate(removal.law, removal.coefficients, ref.pressure, ref.speed)
        assert 0 < rate * 6e10 < 2000  # nm/min


def test_a_power_law_gives_back_the_measured_rate() -> None:
    from planish.physics.removal.laws import removal_rate

    for part, material, nm in (("tungsten-oxidiser", "tungsten", 300), ("ceria-sti", "oxide", 240)):
        setup = loads(new_setup("rotary")).replace({"slurry.part": part, "wafer.film.1.material": material})
        r = setup.rig.removal[material]
        rate = removal_rate(r.law, r.coefficients, r.reference.pressure, r.reference.speed)
        assert float(rate) * 6e10 == pytest.approx(nm, rel=1e-12)


def on_the_tail(setup: Setup) -> float:
    """Real pressure on an exponential tail of the pad's summits, at the temperature its modulus is stated for."""
    s = setup.rig.pad.surface
    modulus = s.modulus / (1 - s.poisson**2)
    return tail_pressure(
        s.tail_length, tip_radius=s.tip_radius, modulus=modulus, flow_pressure=s.flow_pressure
    )


def test_reference_real_pressure_is_the_tail_of_the_summits(rotary: Setup) -> None:
    # an exponential tail: mean pressure on the summits E* sqrt(s/(pi R)) at any load (derived in docs/theory),
    # a little less as the highest flow, on a pad as warm as the law's reference
    law = rotary.rig.removal["oxide"].reference
    left = np.exp(-0.015 * (law.temperature - 296.15))
    assert law.real_pressure == pytest.approx(left * on_the_tail(rotary), rel=1e-14)
    s = rotary.rig.pad.surface
    elastic = s.modulus / (1 - s.poisson**2) * np.sqrt(s.tail_length / (np.pi * s.tip_radius))
    assert on_the_tail(rotary) == pytest.approx(elastic, rel=0.02)
    given = rotary.replace({"removal.oxide.reference.real_pressure": "20 MPa"})
    assert given.rig.removal["oxide"].reference.real_pressure == pytest.approx(20e6)


def test_hard_pad_touches_about_as_much_as_was_measured(rotary: Setup) -> None:
    # Sun, Zhuang, Borucki & Philipossian 2010, Jpn. J. Appl. Phys. 49, 066501 (abstract): 0.026, 0.045, 0.059 % at
    # 2, 4, 6 psi on one used hard pad, dry and static; the default lies within a factor of two of each.
    real = on_the_tail(rotary)
    for psi, share in ((2, 0.026e-2), (4, 0.045e-2), (6, 0.059e-2)):
        assert 0.5 < psi * 6894.757 / real / share < 2.0


def test_zone_pressures_in_three_shapes(rotary: Setup) -> None:
    one = rotary.replace({"recipe.step.1.zone_pressures": "2 psi"})
    many = rotary.replace({"recipe.step.1.zone_pressures": ["2 psi"] * 5})
    named = dict.fromkeys(("centre", "inner", "middle", "outer", "edge"), "2 psi")
    table = rotary.replace({"recipe.step.1.zone_pressures": named})
    for setup in (one, many, table):
        assert setup.rig.steps[0].zone_pressures == pytest.approx([2 * 6894.757293] * 5)
    edge = one.replace({"recipe.step.1.zone_pressures.5": "3 psi"})
    assert edge.get("recipe.step.1.zone_pressures") == ["2 psi"] * 4 + ["3 psi"]


def test_get_si_and_replace(rotary: Setup) -> None:
    assert rotary.get("head.ring.gap") == "0.5 mm"
    assert rotary.si("head.ring.gap") == pytest.approx(5e-4)
    assert rotary.si("recipe.step.2.platen_speed") == pytest.approx(9.424778, rel=1e-6)
    other = rotary.replace({"pad.part": "soft-felt", "recipe.step.1.ring_pressure": "4 psi"})
    assert other.rig.pad.family == "coated-felt"
    assert rotary.rig.pad.family == "microporous"
    assert other.replace({"pad.part": "hard-microporous", "recipe.step.1.ring_pressure": "2.2 psi"}) == rotary
    assert rotary.replace({"head.zone.5.name": "rim"}).get("head.zone.1.name") == "centre"
    longer = rotary.replace({"recipe.step.4": rotary.get("recipe.step.3")})
    assert len(longer.rig.steps) == 4
    assert longer.replace({"recipe.step.4": None}) == rotary
    assert rotary.replace({"conditioner": None, "recipe.step.1.conditioning": False,
                           "recipe.step.2.conditioning": False}).rig.conditioner is None  # fmt: skip


def test_with_part_drops_own_values(rotary: Setup) -> None:
    tuned = rotary.replace({"pad.top.shore_d": 50})
    assert tuned.with_part("pad", "hard-microporous").get("pad.top.shore_d") == 55
    assert rotary.with_part("wafer", "silicon-300") == rotary


@pytest.mark.parametrize("path", ["head.rng.gap", "recipe.step.10.flow", "recipe.step.x.flow", "title.x", ""])
def test_get_names_what_is_there(rotary: Setup, path: str) -> None:
    with pytest.raises(SetupError):
        rotary.get(path)


def test_digest_follows_content_not_spelling(rotary: Setup) -> None:
    assert rotary.digest() == loads(new_setup("rotary")).digest()
    assert rotary.digest() != rotary.replace({"recipe.step.1.flow": "251 ml/min"}).digest()
    assert len({rotary, loads(new_setup("rotary"))}) == 1


@pytest.mark.parametrize("motion", MOTIONS.names())
def test_written_setup_reads_back(motion: str) -> None:
    setup = loads(new_setup(motion)).replace({"recipe.step.1.zone_pressures": ["2 psi"] * 5})
    assert loads(setup.to_toml()) == setup


def test_default_used_is_a_note_with_its_part(rotary: Setup) -> None:
    setup = rotary.replace({"head": {"ring": {"width": "20 mm"}}})
    assert any("head: zone, wall_width" in note and "five-zone-300" in note for note in setup.notes)
    assert setup.origins["head.ring.gap"].source == "common practice, no source"
    assert setup.origins["head.ring.width"].origin == "setup"
    assert any("slurry" in note for note in rotary.replace({"slurry": None}).notes)


def test_equal_speeds_are_a_note_not_an_error(rotary: Setup) -> None:
    setup = rotary.replace({"recipe.step.1.platen_speed": "60 rpm", "recipe.step.1.carrier_speed": "60 rpm"})
    assert any("retrace" in note for note in setup.notes)


def test_film_profile_and_sites(tmp_path: Path) -> None:
    (tmp_path / "in.csv").write_text(
        "x_mm,y_mm,thickness_nm\n0,0,1000\n100,0,1010\n-100,0,990\n0,100,1005\n0,-100,995\n", encoding="utf-8"
    )
    text = new_setup("rotary").replace('thickness = "1000 nm"', 'sites = "in.csv"', 1)
    file = tmp_path / "s.toml"
    file.write_text(text, encoding="utf-8")
    film = load(file).rig.wafer.films[0]
    assert film.sites is not None
    assert film.sites[0] == pytest.approx([0, 0.1, -0.1, 0, 0])
    assert film.thickness == pytest.approx(1e-6)
    before = load(file).digest()
    (tmp_path / "in.csv").write_text("x_mm,y_mm,thickness_nm\n0,0,1001\n100,0,1010\n", encoding="utf-8")
    assert load(file).digest() != before
    with pytest.raises(SetupError, match="did not come from a file"):
        loads(text)
    film = loads(new_setup("rotary")).replace(
        {"wafer.film.1": {"material": "oxide", "profile": [["0 mm", "900 nm"], ["150 mm", "1200 nm"]]}}
    ).rig.wafer.films[0]  # fmt: skip
    assert film.profile is not None
    assert film.thickness == pytest.approx(1100e-9)  # area mean of a cone: a + 2/3 of the rise


def test_measured_heights(tmp_path: Path) -> None:
    heights = np.random.default_rng(7).normal(0, 5, 200)
    (tmp_path / "h.csv").write_text("height_um\n" + "\n".join(f"{h:.4f}" for h in heights), encoding="utf-8")
    file = tmp_path / "s.toml"
    file.write_text(
        new_setup("rotary").replace("[pad]", '[pad]\nsurface.heights = "h.csv"', 1), encoding="utf-8"
    )
    read = load(file).rig.pad.surface.heights
    assert read is not None
    assert read == pytest.approx(heights * 1e-6, abs=1e-10)


def test_windows_line_ends_and_byte_order_mark(tmp_path: Path) -> None:
    file = tmp_path / "w.toml"
    file.write_bytes(b"\xef\xbb\xbf" + new_setup("rotary").replace("\n", "\r\n").encode())
    assert load(file) == loads(new_setup("rotary"))


@pytest.mark.parametrize("size", ["150 mm", "200 mm"])
def test_other_wafer_sizes(size: str) -> None:
    setup = loads(
        f'[wafer]\ndiameter = "{size}"\n[[wafer.film]]\nmaterial = "oxide"\nthickness = "1 um"\n'
        '[polisher]\nmotion = "rotary"\n[[recipe.step]]\nname = "a"\nzone_pressures = "3 psi"\nring_pressure = "4 psi"\n'
        'platen_speed = "93 rpm"\ncarrier_speed = "87 rpm"\nflow = "200 ml/min"\ntime = "60 s"\n'
    )
    assert setup.rig.head.zone_outer_radii[-1] == pytest.approx(setup.rig.wafer.radius)


def test_vacuum_hold_warns_when_too_weak_or_too_strong(rotary: Setup) -> None:
    assert rotary.warnings == ()
    weak = rotary.replace({"head.vacuum_hold": "0.5 psi"})
    assert any("water film" in w for w in weak.warnings)
    thin = rotary.replace({"wafer.thickness": "200 um", "head.vacuum_span": "60 mm"})
    assert any("bends" in w for w in thin.warnings)
    bowed = rotary.replace({"wafer.film.1.stress": "-2000 MPa", "wafer.film.1.thickness": "100 um",
                            "head.vacuum_hold": "2 psi"})  # fmt: skip
    assert any("film stress" in w for w in bowed.warnings)


def test_loading_imports_neither_pint_nor_scipy() -> None:
    code = (
        f"import sys; from planish.setup.load import load; load({str(EXAMPLES / 'rotary.toml')!r}).rig;"
        "sys.exit(any(m in sys.modules for m in ('pint', 'scipy', 'numba', 'xarray', 'tomlkit')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_rate_of_ones_own_says_with_which_grains_it_was_measured() -> None:
    setup = loads(new_setup("rotary")).replace({"slurry.abrasive_fraction": 0.02})
    assert (
        setup.si("removal.oxide.reference.abrasive_fraction") == 0.1
    )  # the part's rate, with the part's grains
    assert not any("own rate" in note for note in setup.notes)
    own = setup.replace({"removal.oxide.rate": "250 nm/min"})
    (told,) = [note for note in own.notes if "own rate" in note]
    assert "abrasive_fraction here, 0.02, not with 0.1 as in the part 'fumed-silica-oxide'" in told
    said = own.replace({"removal.oxide.reference.abrasive_fraction": 0.1})
    assert not any("own rate" in note for note in said.notes)
