"""Wafers that pass a machine against closed forms of queueing and of flow lines.

M/M/1 and M/D/1 (Pollaczek and Khinchine), the bottleneck of a deterministic line, availability = up/(up + down): textbook
closed forms, worked out here; common knowledge of queueing, no one source.
"""

from __future__ import annotations

import numpy as np
import pytest

from planish.cost.flow import Chance, Change, pass_wafers
from planish.cost.pace import Station, bottleneck

LINES = {
    "one platen": (Station("platen", 85.0, 35.0, platen=True),),
    "platens are slowest": (
        Station("loading", 20.0),
        Station("platens", 85.0, 35.0, 3, platen=True),
        Station("cleaner", 25.0),
        Station("metrology", 60.0, share=0.25),
    ),
    "the cleaner is slowest": (
        Station("loading", 20.0),
        Station("platens", 85.0, 35.0, 3, platen=True),
        Station("cleaner", 55.5),
    ),
    "loading is slowest": (Station("loading", 61.0), Station("platens", 85.0, 35.0, 2, platen=True)),
    "two visits": (
        Station("first", 50.0, 20.0, 2, platen=True),
        Station("second", 50.0, 20.0, 2, platen=True),
        Station("cleaner", 12.0),
    ),
    "metrology is slowest": (
        Station("platens", 60.0, 20.0, 4, platen=True),
        Station("metrology", 90.0, share=0.5),
    ),
}


def cycle(passed, skip, count):
    return float(passed.left[skip + count] - passed.left[skip]) / count


@pytest.mark.parametrize("name", LINES)
def test_a_line_without_chance_goes_at_its_bottleneck(name):
    line = LINES[name]
    passed = pass_wafers(line, 400)
    assert cycle(passed, 120, 240) == pytest.approx(bottleneck(line).kept, rel=1e-9)
    at = line.index(bottleneck(line))
    assert passed.busy[at] > 0.97
    assert sum(passed.states.values()) == pytest.approx(passed.left[-1], rel=1e-12)


def test_changes_and_monitors_take_what_the_sum_says():
    """Of 100 wafers on a pad 2 are monitors; each change takes 1800 s: 98 wafers of product in 100 cycles and a change."""
    line = (Station("platen", 60.0, platen=True),)
    passed = pass_wafers(line, 98 * 12, (Change("pad", 100, 1800.0, 2),))
    assert cycle(passed, 98, 98 * 10) == pytest.approx((100 * 60.0 + 1800.0) / 98, rel=1e-9)
    assert (passed.changes, passed.monitors) == (11, 22)
    # The change and the two monitors behind it are scheduled down; all the rest makes product.
    assert passed.states[4] == pytest.approx(11 * (1800.0 + 2 * 60.0), rel=1e-9)
    assert passed.states[1] == pytest.approx(98 * 12 * 60.0, rel=1e-9)


def test_stops_at_their_mean_leave_the_availability():
    line = (Station("platen", 60.0, platen=True),)
    passed = pass_wafers(line, 6000, chance=Chance(failure_every=3000.0, repair=500.0, stops=False))
    # 6000 wafers are 120 times 50 wafers; a stop after each 3000 s up but, perhaps, the last
    assert passed.stops in (119, 120)
    assert passed.left[-1] == pytest.approx(6000 * 60.0 + passed.stops * 500.0, rel=1e-9)
    assert passed.states[5] == pytest.approx(passed.stops * 500.0, rel=1e-9)


def test_stops_by_chance_leave_the_availability_within_their_scatter():
    line = (Station("platen", 60.0, platen=True),)
    down = [
        (one := pass_wafers(line, 3000, chance=Chance(failure_every=1500.0, repair=300.0, seed=seed))).states[
            5
        ]
        / sum(one.states.values())
        for seed in range(6)
    ]
    error = np.std(down, ddof=1) / np.sqrt(6)
    assert np.mean(down) == pytest.approx(300.0 / 1800.0, abs=4 * error)
    assert error < 0.01


@pytest.mark.parametrize("random", [True, False])
def test_waiting_before_one_server(random):
    """M/M/1 waits rho/(mu - lambda) before service, M/D/1 half of that."""
    service, gap = 60.0, 120.0
    rate, arrivals = 1 / service, 1 / gap
    waits = []
    for seed in range(6):
        passed = pass_wafers(
            (Station("server", service),), 4000, chance=Chance(arrival=gap, times=random, seed=seed)
        )
        waits.append(float((passed.entered - passed.arrived).mean()))
    known = (arrivals / rate) / (rate - arrivals) * (1.0 if random else 0.5)
    error = np.std(waits, ddof=1) / np.sqrt(6)
    assert np.mean(waits) == pytest.approx(known, abs=4 * error)
    assert error < 0.08 * known
    assert passed.states[1] / sum(passed.states.values()) == pytest.approx(service / gap, abs=0.04)


def test_the_same_seed_sees_the_same():
    chance = Chance(arrival=150.0, failure_every=5000.0, repair=900.0, seed=4)
    changes = (Change("pad", 70, 600.0, 1), Change("disk", 35, 120.0))
    one, two = (pass_wafers(LINES["platens are slowest"], 300, changes, chance) for _ in range(2))
    assert np.array_equal(one.left, two.left)
    assert one.states == two.states
    other = pass_wafers(LINES["platens are slowest"], 300, changes, Chance(150.0, 5000.0, 900.0, seed=5))
    assert not np.array_equal(one.left, other.left)
