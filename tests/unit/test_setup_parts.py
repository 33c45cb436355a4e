"""The catalogue, the keys and the JSON Schema."""

from __future__ import annotations

import json

import jsonschema
import pytest

from planish.errors import SetupError
from planish.setup.fields import keys
from planish.setup.load import loads
from planish.setup.new import new_setup
from planish.setup.parts import KINDS, catalogue, list_parts
from planish.setup.polisher import MOTIONS
from planish.setup.schema import json_schema


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
    # A year in a source means a citation: it was read (abstract or published) or it says it is from memory.
    for row in list_parts():
        if any(str(year) in row.source for year in range(1900, 2027)):
            marked = "(from memory)" in row.source or "(abstract)" in row.source or "invented" in row.source
            assert marked, row


def test_each_part_makes_a_sound_setup() -> None:
    base = loads(new_setup("rotary"))
    for kind in ("pad", "conditioner"):
        for name in catalogue(kind):
            assert base.with_part(kind, name).bench.title
    for name, part in catalogue("slurry").items():
        material = next(key.split(".")[1] for key in part.values if key.startswith("removal."))
        assert base.replace({"slurry.part": name, "wafer.film.0.material": material}).bench.slurry.name


def test_listing_can_be_narrowed() -> None:
    assert {row.kind for row in list_parts("pad")} == {"pad"}
    rows = list_parts(name="soft-felt")
    assert {row.part for row in rows} == {"soft-felt"}
    thickness = next(row for row in rows if row.key == "top.thickness")
    assert (thickness.value, thickness.unit) == ("1.3", "mm")
    with pytest.raises(SetupError, match="must be one of"):
        list_parts("engine")
    with pytest.raises(SetupError, match="must be one of"):
        list_parts(name="gold-plated")


@pytest.mark.parametrize("motion", MOTIONS)
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
    for motion in MOTIONS:
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
