"""`planish parts law`, `process` and `motion`: the registries as the catalogue is listed."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from planish import units
from planish.cli.main import app
from planish.errors import SetupError
from planish.physics.removal.laws import LAWS
from planish.setup.motions.known import MOTIONS
from planish.setup.parts import PartRow
from planish.setup.processes import PROCESSES

REGISTRIES = {"law": LAWS, "process": PROCESSES, "motion": MOTIONS}


def listed(*words):
    answer = CliRunner().invoke(app, ["parts", *words], catch_exceptions=False)
    assert answer.exit_code == 0
    return answer.output


def rows(kind):
    return json.loads(listed(kind, "--json"))


@pytest.mark.parametrize("kind", REGISTRIES)
def test_every_record_is_listed_with_the_keys_of_a_part(kind):
    found = rows(kind)
    assert list(dict.fromkeys(row["part"] for row in found)) == list(REGISTRIES[kind].names())
    assert all(tuple(row) == PartRow._fields and row["kind"] == kind for row in found)
    assert all(row["origin"] == "planish" for row in found)
    meanings = [row for row in found if row["key"] == "meaning"]
    assert len(meanings) == len(REGISTRIES[kind].names())
    assert all(row["value"] and row["source"] for row in meanings)


def test_a_law_shows_its_formula_and_coefficients():
    for law in LAWS:
        told = {row["key"]: row for row in rows("law") if row["part"] == law.name}
        assert told["formula"]["value"] == law.formula
        assert [told[each.name]["unit"] for each in law.coefficients] == [
            each.unit for each in law.coefficients
        ]


def test_a_process_shows_the_usual_values_of_its_keys():
    for process in PROCESSES:
        told = {row["key"]: row for row in rows("process") if row["part"] == process.name}
        for name, key in process.level.known_keys().items():
            text = f"{told[name]['value']} {told[name]['unit']}".strip()
            usual = getattr(process.level, name)
            if key.quantity is None:
                assert text == usual
            else:
                assert units.to_si(text, key.quantity.dimension) == pytest.approx(usual, rel=1e-5)
            assert told[name]["source"] == process.source


def test_a_record_of_this_session_says_so():
    from dataclasses import replace

    LAWS.add(replace(next(iter(LAWS)), name="invented-here"))
    try:
        assert {row["origin"] for row in rows("law") if row["part"] == "invented-here"} == {"this session"}
        assert "law: invented-here (from this session)" in listed("law")
    finally:
        LAWS.remove("invented-here")


def test_what_cannot_be_listed_is_refused(tmp_path):
    for words, told in (
        (("law", "--folder", str(tmp_path)), r"folders for kind 'law' = .*: must be left out"),
        (("lau",), r"parts kind = 'lau': must be one of .*law, motion, pad, polisher, process"),
    ):
        with pytest.raises(SetupError, match=told):
            CliRunner().invoke(app, ["parts", *words], catch_exceptions=False)
