"""Every input of a setup moves an answer or says that it does not, and goes the way that is defined for it.

The audit of `planish inputs`, with three settings over each range and short lots. What the trade says of an input is
shown where planish goes another way, and not asserted; what follows from the very meaning of a key is.
"""

from __future__ import annotations

import pytest

from planish.inputs.moves import Moved, move_of
from planish.inputs.scenarios import table
from planish.inputs.stated import stated
from planish.inputs.tried import inputs, spaced, trial
from planish.jobs.inputs import inputs_moved

SETTINGS, WAFERS = 3, 6
MEANING = "by what the key means"


@pytest.fixture(scope="module")
def audit():
    return inputs_moved(settings=SETTINGS, wafers=WAFERS)


def remedy(row: Moved) -> str:
    """Say of an input that moves nothing what to do about it."""
    key = row.input.key
    if row.trial is None:
        return f"{key}: nothing says over which settings it is tried: give it a usual range, or a table in inputs/tried.toml"
    beside = f" beside {dict(row.trial.beside)}" if row.trial.beside else ""
    refused = f"; refused: {'; '.join(row.refused)}" if row.refused else ""
    return (
        f"{key}: moved over {', '.join(row.settings)} on {row.trial.on}{beside}, none of {', '.join(row.trial.asks)} "
        f"moves{refused}: wire it up, try it where it counts (inputs/tried.toml), or mark its field Descriptive()"
    )


def test_no_input_moves_nothing_unless_it_says_so(audit):
    assert not audit.dead, "\n".join(remedy(row) for row in audit.dead)


def test_what_is_marked_as_descriptive_moves_nothing(audit):
    told = [f"{row.input.key} moves {row.moves[0].answer}: take the mark away" for row in audit.mismarked]
    assert not told, "\n".join(told)


def test_every_input_of_the_schema_is_there(audit):
    keys = [row.input.key for row in audit.rows]
    assert len(keys) == len(set(keys)) > 200
    assert sum(bool(row.settings) for row in audit.rows) > 200


def test_what_follows_from_the_meaning_of_a_key_holds(audit):
    told = [
        f"{row.input.key}: {answer} {found}, by meaning {way}"
        for row, answer, found, way, source in audit.against
        if source == MEANING
    ]
    assert not told, "\n".join(told)


def test_what_goes_otherwise_than_stated_is_told(audit):
    assert audit.against, "the trade is not always followed by an invented setup"
    for row, answer, found, way, source in audit.against:
        assert f"{row.input.key}: {answer}: {found}; stated: {way} ({source})" in audit.notes


def test_tables_name_inputs_that_there_are():
    known = {one.key for one in inputs()}
    assert set(table("tried")) <= known
    assert {key for lines in table("stated").values() for key in lines} <= known


def test_every_number_has_a_usual_range_with_who_says_so():
    for one in inputs():
        if one.info.dimension and not one.key.split(" (")[0].endswith(
            (".k", ".b", ".c1", ".c2", ".a", ".k_m")
        ):
            assert one.info.usual, one.key
            assert one.info.source, one.key


def test_settings_cover_the_usual_range():
    assert spaced(0.0, 4.0, 5) == [0.0, 1.0, 2.0, 3.0, 4.0]
    assert spaced(1.0, 100.0, 3) == pytest.approx([1.0, 10.0, 100.0])
    flow = next(one for one in inputs() if one.key == "recipe.step.*.flow")
    tried = trial(flow, 5)
    assert [word for word, _ in tried.settings] == [
        "30 ml/min",
        "172.5 ml/min",
        "315 ml/min",
        "457.5 ml/min",
        "600 ml/min",
    ]
    assert tried.place == "recipe.step.main.flow"


@pytest.mark.parametrize(
    ("values", "way"),
    [
        ([1.0, 2.0, 3.0], "up"),
        ([3.0, 2.0, 1.0], "down"),
        ([1.0, 3.0, 1.5], "turns"),
        ([1.0, 3.0, 2.99], "up"),
        ([1.0, None, 2.0], "comes and goes"),
        ([5.0, 5.002, 5.001], None),
        ([None, None, None], None),
        ([0.0, 0.0, 0.0], None),
    ],
)
def test_directions(values, way):
    found = move_of("answer", values, ordered=True)
    assert (found.way if found else None) == way


def test_an_input_without_order_has_no_direction():
    assert move_of("answer", [1.0, 2.0, 4.0], ordered=False).way == "differs"


def test_sources_of_both_signs_are_met_by_either():
    (size,) = [one for one in stated("slurry.particle_size") if one.answer == "removal rate"]
    assert size.agrees("up")
    assert size.agrees("down")
    assert not size.agrees(None)
