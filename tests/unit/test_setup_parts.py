"""The catalogue, the keys and the JSON Schema."""

from __future__ import annotations

import json
import math

import jsonschema
import pytest

from planish.errors import SetupError
from planish.explain.retracing import retracing_steps
from planish.setup.fields import keys
from planish.setup.load import loads
from planish.setup.motions.known import MOTIONS
from planish.setup.new import new_setup
from planish.setup.part import KINDS
from planish.setup.parts import catalogue, list_parts
from planish.setup.schema import json_schema
from planish.units import to_si


def test_every_value_has_a_source_and_every_part_a_summary() -> None:
    rows = list_parts()
    assert len(rows) > 350
    for row in rows:
        assert row.source.strip(), row
        assert row.value.strip(), row
    for kind in KINDS:
        for part in catalogue(kind).values():
            assert part.summary


def test_citations_from_memory_say_so() -> None:
    # A year in a source means a citation: it was read (itself or as quoted) or it says it is from memory.
    for row in list_parts():
        if any(str(year) in row.source for year in range(1900, 2027)):
            marks = ("(from memory)", "(abstract)", "(read", "invented")
            assert any(mark in row.source for mark in marks), row


def test_each_part_makes_a_sound_setup() -> None:
    base = loads(new_setup("rotary"))
    for kind in ("pad", "conditioner"):
        for name in catalogue(kind):
            assert base.with_part(kind, name).rig.title
    for name, part in catalogue("slurry").items():
        material = next(key.split(".")[1] for key in part.values if key.startswith("removal."))
        assert base.replace({"slurry.part": name, "wafer.film.1.material": material}).rig.slurry.name


def test_listing_can_be_narrowed() -> None:
    assert {row.kind for row in list_parts("pad")} == {"pad"}
    rows = list_parts(name="soft-felt")
    assert {row.part for row in rows} == {"soft-felt"}
    thickness = next(row for row in rows if row.key == "top.thickness")
    assert (thickness.value, thickness.unit) == ("1.5", "mm")
    with pytest.raises(SetupError, match="must be one of"):
        list_parts("engine")
    with pytest.raises(SetupError, match="must be one of"):
        list_parts(name="gold-plated")


@pytest.mark.parametrize("motion", MOTIONS.names())
def test_keys_know_units_limits_and_typical_ranges(motion: str) -> None:
    known = {info.path: info for info in keys(motion)}
    gap = known["head.ring.gap"]
    assert gap.unit == "mm"
    assert gap.low == 0.0
    assert gap.typical == pytest.approx((2e-4, 1e-3))
    assert "soft-felt" in known["pad.part"].parts
    assert known["recipe.step.*.flow"].unit == "ml/min"
    assert known["pad.top.cells"].choices == ("none", "open", "closed")
    for info in known.values():
        assert info.description, info
        if info.typical is not None:
            assert info.low is not None
            assert info.high is not None
            assert info.low <= info.typical[0] <= info.typical[1] <= info.high * (1 + 1e-12), info


def test_schema_accepts_what_new_writes_and_refuses_what_it_should() -> None:
    schema = json_schema()
    json.dumps(schema)
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    for motion in MOTIONS.names():
        document = loads(new_setup(motion)).document
        assert list(validator.iter_errors(document)) == []
        wrong = {**document, "pad": {"part": "no-such-pad"}}
        assert not validator.is_valid(wrong)
        assert not validator.is_valid({**document, "pud": {}})
        bare = {**document, "head": {"wall_width": 3}}
        assert not validator.is_valid(bare)


def test_schema_describes_units_and_meaning() -> None:
    gap = json_schema()["$defs"]["RingSection"]["properties"]["gap"]
    assert "wafer edge" in gap["description"]
    text = json.dumps(json_schema())
    assert "ml/min" in text
    assert '"null"' not in text


def _mm(kind: str, part: str, key: str) -> float:
    return to_si(catalogue(kind)[part].values[key].value, "length") * 1e3


def _carrier(head: str) -> float:
    """Radius [mm] of wafer, gap and ring."""
    zones = catalogue("head")[head].values["zone"].value
    edge = to_si(zones[-1]["outer_radius"], "length") * 1e3
    return edge + _mm("head", head, "ring.gap") + _mm("head", head, "ring.width")


def _up(value: float, to: float = 10.0) -> float:
    return to * math.ceil(value / to)


@pytest.mark.parametrize(
    ("part", "head", "wafer"), [("rotary-300", "five-zone-300", 300), ("rotary-200", "three-zone-200", 200)]
)
def test_turning_platens_are_worked_out_as_their_sources_say(part: str, head: str, wafer: int) -> None:
    offset = _mm("polisher", part, "centre_offset")
    assert offset == round(4 / 3 * wafer / 2, -1)
    assert _mm("polisher", part, "platen_diameter") == _up(2 * (offset + _carrier(head) + 25))
    assert _mm("polisher", part, "dispense_radius") == offset / 2


def test_belt_and_orbit_are_worked_out_as_their_sources_say() -> None:
    carrier = _carrier("five-zone-300")
    assert _mm("polisher", "linear-300", "belt_width") == _up(2 * (carrier + 35))
    roller = _mm("polisher", "linear-300", "roller_diameter")
    around = math.pi * roller + 2 * (2 * carrier + 2 * 240)
    assert _mm("polisher", "linear-300", "belt_length") == _up(around, 100)
    belt = catalogue("polisher")["linear-300"].values
    thickness = _mm("polisher", "linear-300", "belt_thickness")
    assert to_si(belt["belt_modulus"].value, "modulus") * thickness / roller == pytest.approx(317e6, rel=2e-3)
    orbit = _mm("polisher", "orbital-300", "orbit_radius")
    assert orbit == 5 * _mm("pad", "hard-microporous", "grooves.pitch")
    assert _mm("polisher", "orbital-300", "pad_diameter") == _up(2 * (carrier + orbit + 10))
    holes = float(catalogue("polisher")["orbital-300"].values["hole_fraction"].value)
    assert holes == pytest.approx(math.pi * 1.0**2 / 14.5**2, rel=0.01)


@pytest.mark.parametrize("motion", MOTIONS.names())
def test_speeds_of_the_scenario_are_worked_out_and_paths_close_late(motion: str) -> None:
    """Turns a minute of pad and carrier share no factor, so that a path closes only after a whole minute."""
    setup = loads(new_setup(motion))
    machine, gentle = setup.rig.polisher, 3 / 5 if motion == "linear" else 2 / 3
    for step, aim in zip(setup.rig.steps, (gentle, 1.0, gentle), strict=True):
        main = {"rotary": 1.9, "linear": 2.0, "orbital": 1.0}[motion]
        speed = machine.pad_speed(getattr(step, machine.drive.key)) / main
        assert speed == pytest.approx(aim, rel=0.02)
        carrier = round(step.carrier_speed * 30 / math.pi)
        turns = round((step.platen_speed or step.orbit_speed) * 30 / math.pi)
        assert motion == "linear" or math.gcd(turns, carrier) == 1
        assert not retracing_steps(setup.rig)


def test_the_disk_stays_on_the_pad_and_reaches_all_of_the_track() -> None:
    platen, offset = (
        _mm("polisher", "rotary-300", "platen_diameter"),
        _mm("polisher", "rotary-300", "centre_offset"),
    )
    for name in catalogue("conditioner"):
        disk = _mm("conditioner", name, "disk_diameter") / 2
        inner, outer = (_mm("conditioner", name, f"sweep.{end}") for end in ("inner", "outer"))
        assert outer + disk == pytest.approx(platen / 2)
        assert outer == pytest.approx(offset + 150)
        assert inner - disk < offset - _carrier("five-zone-300")
        assert _mm("conditioner", name, "sweep.pivot_distance") == pytest.approx(platen / 2 + 80)
        speed = to_si(catalogue("conditioner")[name].values["speed"].value, "angular_speed")
        assert speed * disk / 1e3 == pytest.approx(0.5, rel=0.01)
