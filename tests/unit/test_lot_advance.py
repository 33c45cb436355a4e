"""A lot's state is never written to: the same step twice is the same step, and any kept state can be gone on from."""

from collections.abc import Iterator
from copy import deepcopy
from dataclasses import fields, is_dataclass
from pathlib import Path

import numpy as np
import pytest

from planish.engine.record import same
from planish.predict.lot.advance import advance
from planish.predict.lot.events import read_events
from planish.predict.lot.plan import LotPlan, plan_lot
from planish.predict.lot.row import Records, Row
from planish.predict.lot.run import polish_lot
from planish.predict.lot.state import LotState, first_state
from planish.predict.lot.variation import Draws, Variation, draw
from planish.setup.load import load

EXAMPLES = Path(__file__).parents[2] / "examples"
CELLS, WAFERS, SEED = 24, 14, 7
EVENTS = ("3 slurry", "5 pad", "6 idle 10 min", "8 monitor", "9 condition 30 s", "11 disk")


@pytest.fixture(scope="module", params=["rotary", "linear", "orbital", "three-zone-copper"])
def lot(request: pytest.FixtureRequest) -> tuple[LotPlan, Draws]:
    rig = load(EXAMPLES / f"{request.param}.toml").rig
    happenings = read_events(EVENTS, WAFERS)
    plan = plan_lot(rig, WAFERS, adjust=True, events=happenings, cells=CELLS)
    return plan, draw(Variation(), WAFERS, SEED)


def states(plan: LotPlan, draws: Draws) -> tuple[list[LotState], list[Row]]:
    kept, rows = [first_state(plan)], []
    for wafer in range(WAFERS):
        state, row = advance(kept[-1], plan, draws.of(wafer))
        kept.append(state)
        rows.append(row)
    return kept, rows


def arrays(record: object) -> Iterator[np.ndarray]:
    if isinstance(record, np.ndarray):
        yield record
    elif isinstance(record, tuple):
        for item in record:
            yield from arrays(item)
    elif is_dataclass(record):
        for field in fields(record):
            yield from arrays(getattr(record, field.name))


def test_the_same_state_twice_gives_the_same_wafer_and_stays_as_it_was(lot) -> None:
    plan, draws = lot
    kept, rows = states(plan, draws)
    for wafer, state in enumerate(kept[:-1]):
        before = deepcopy(state)
        again, row = advance(state, plan, draws.of(wafer))
        assert same(row, rows[wafer])
        assert same(again, kept[wafer + 1])
        assert same(state, before)


def test_nothing_of_a_state_can_be_written_to(lot) -> None:
    plan, draws = lot
    state, row = advance(first_state(plan), plan, draws.of(0))
    found = [*arrays(state), *arrays(row)]
    assert len(found) > 10
    assert not [values.shape for values in found if values.flags.writeable]


def test_a_lot_goes_on_from_any_kept_state(lot) -> None:
    plan, draws = lot
    kept, rows = states(plan, draws)
    for begin in (1, 4, 5, 9, WAFERS - 1):
        state = deepcopy(kept[begin])
        for wafer in range(begin, WAFERS):
            state, row = advance(state, plan, draws.of(wafer))
            for field in fields(Row):
                got, want = getattr(row, field.name), getattr(rows[wafer], field.name)
                np.testing.assert_allclose(got, want, rtol=1e-12, atol=0.0, err_msg=field.name)


def test_another_chance_is_another_wafer(lot) -> None:
    plan, draws = lot
    state = first_state(plan)
    one, other = (advance(state, plan, draws.of(wafer))[1] for wafer in (0, 1))
    assert one.rate != other.rate


def test_a_lot_is_its_wafers_one_after_the_other(lot) -> None:
    plan, draws = lot
    _, rows = states(plan, draws)
    records = polish_lot(plan.rig, WAFERS, SEED, adjust="run-to-run", events=EVENTS, cells=CELLS).records
    for field in fields(Records):
        np.testing.assert_array_equal(
            getattr(records, field.name), [getattr(row, field.name) for row in rows]
        )
