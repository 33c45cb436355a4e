"""A few random setups of usual numbers answer without a jump, a cliff or a film below nothing (the bar of a benchmark)."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

from planish.setup.load import loads
from planish.setup.new import new_setup

BENCH = Path(__file__).parents[2] / "benchmarks" / "bench_random_setups.py"


@pytest.fixture(scope="module")
def bench():
    spec = importlib.util.spec_from_file_location("bench_random_setups", BENCH)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["bench_random_setups"] = module
    spec.loader.exec_module(module)
    return module


def test_random_setups_hold_the_bar(bench):
    found = bench.run(wafers=12, lots=3, dies=3, seed=11, steps=2, lot=80)
    lines = [f"{kind}: {line}" for kind, each in found.items() for line in each]
    assert not lines, "\n".join(lines)


def test_a_draw_is_usual_moves_many_numbers_and_comes_again(bench):
    for seed in range(4):
        setup = bench.drawn(np.random.default_rng(seed))
        assert setup.unlikely == ()
        assert len(loads(new_setup(setup.motion)).changes_to(setup)) > 15
        assert bench.drawn(np.random.default_rng(seed)) == setup


def test_what_is_looked_for_is_found(bench, monkeypatch):
    """A rate that jumps up in the middle of a lot, and a headline that leaps, do not get past."""
    setup = loads(new_setup("rotary"))
    assert list(bench.lot_faults(setup, 20)) == []
    lot = bench.polish_lot(setup, 20)
    jump = lot.records.expected_rate.copy()
    jump[12:] *= 1.2
    object.__setattr__(lot.records, "expected_rate", jump)
    monkeypatch.setattr(bench, "polish_lot", lambda *_, **__: lot)
    (told,) = bench.lot_faults(setup, 20)
    assert "after wafer 12" in told
    monkeypatch.setattr(bench, "CLIFF", 1e-4)
    assert list(bench.cliffs(setup, np.random.default_rng(0), 20))
