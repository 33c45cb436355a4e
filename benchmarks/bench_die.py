"""Time of one die, and of 100 fields of a wafer on two local workers against one.

Beside it, in the same run, two processes that share nothing and do half the fields each: what the
machine has to give at that moment. On a machine busy with other work both fall short alike.
"""

from __future__ import annotations

import multiprocessing
import os
import statistics
import time
from functools import partial
from types import SimpleNamespace

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np

from planish.engine.execute import run_all
from planish.engine.record import same
from planish.physics.pressure.layers import ElasticLayer, rigid_base, surface_compliance
from planish.predict.die.cells import DieChoices
from planish.predict.die.conditions import LocalConditions, LocalStep, SurfaceState
from planish.predict.die.fields import _one_field
from planish.predict.die.model import DiePad, die_input
from planish.predict.die.processes.metal import MetalLevel
from planish.predict.die.processes.oxide import OxideLevel

CELL = 50e-6  # 26 x 33 mm field


def layout(rng: np.random.Generator) -> SimpleNamespace:
    blocks = (22, 26)
    density = np.kron(rng.uniform(0.1, 0.9, blocks), np.ones((30, 20)))
    width = np.kron(10 ** rng.uniform(-6.5, -4.5, blocks), np.ones((30, 20)))
    return SimpleNamespace(
        density=density,
        perimeter=2 * density / width,
        line_width=width,
        space=width * (1 - density) / density,
        cell=CELL,
        origin=(0.0, 0.0),
    )


def fields(level: object, rates: dict[str, float], count: int) -> tuple[partial, list]:
    stack = (ElasticLayer(150e6, 0.3, 2e-3), ElasticLayer(3.5e6, 0.2, 1.3e-3))
    compliance = partial(surface_compliance, layers=stack, base=rigid_base())
    pad = DiePad(compliance, SurfaceState(2e-7, 11e-6), 5.47)
    pieces = []
    for i in range(count):
        pressure = 20e3 * (1 + 0.002 * i)
        step = LocalStep("polish", 150.0, pressure, 1.0, rates)
        pieces.append((0.0, 0.0, LocalConditions("field", 0.0, (step,)), [pad]))
    work = partial(
        _one_field,
        cells=die_input(layout(np.random.default_rng(7)), level),
        level=level,
        choices=DieChoices(),
    )
    return work, pieces


def apart(work: partial, pieces: list) -> None:
    """Do the pieces in two processes that share nothing."""
    context = multiprocessing.get_context("fork")
    halves = [context.Process(target=_each, args=(work, pieces[start::2])) for start in (0, 1)]
    for half in halves:
        half.start()
    for half in halves:
        half.join()


def _each(work: partial, pieces: list) -> None:
    for piece in pieces:
        work(piece)


def main() -> None:
    print(f"{'what':58} | measured | bar")
    cases = {
        "oxide": (OxideLevel(), {"oxide": 250e-9 / 60}),
        "copper": (MetalLevel(), {"copper": 400e-9 / 60, "tantalum": 60e-9 / 60, "oxide": 20e-9 / 60}),
    }
    for name, (level, rates) in cases.items():
        work, pieces = fields(level, rates, 100)
        work(pieces[0])
        run_all(work, pieces[:4], workers=2, processes=True)  # processes are started once and kept
        start = time.perf_counter()
        work(pieces[0])
        print(f"{name}: one field, 660 x 520 cells{'':25} | {time.perf_counter() - start:6.3f} s |")
        ratios, peers, answers = [], [], {}
        for _ in range(3):
            seconds = {}
            for workers in (1, 2):
                start = time.perf_counter()
                answers[workers] = run_all(work, pieces, workers=workers, processes=True)
                seconds[workers] = time.perf_counter() - start
            ratios.append(seconds[1] / seconds[2])
            start = time.perf_counter()
            apart(work, pieces)
            peers.append(seconds[1] / (time.perf_counter() - start))
        print(
            f"{name}: the same in two separate processes, median{'':12} | {statistics.median(peers):5.2f} x  |"
        )
        alike = same(answers[1], answers[2])
        print(f"{name}: 100 fields, 1 worker{'':33} | {seconds[1]:6.2f} s |")
        print(
            f"{name}: 100 fields, 2 workers against 1, median of 3{'':9} | {statistics.median(ratios):5.2f} x  | 1.8 x"
            f"   ({', '.join(f'{r:.2f}' for r in ratios)}; same numbers: {alike})"
        )


if __name__ == "__main__":
    main()
