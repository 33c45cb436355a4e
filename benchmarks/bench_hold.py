"""Control charts and run lengths: how long a month's chart takes, and how long and how exact a run length is.

Run: ``python benchmarks/bench_hold.py``.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

import planish

MONTH = 30_000


def row(what: str, measured: str, bar: str) -> None:
    print(f"| {what} | {measured} | {bar} |")


def spent(call: Callable[[], object], times: int = 5) -> float:
    """Return the least of some timings [ms], the first one not counted."""
    call()
    found = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        found.append(time.perf_counter() - start)
    return 1e3 * min(found)


def main() -> None:
    values = np.random.default_rng(1).standard_normal(MONTH)
    several = np.random.default_rng(2).standard_normal((MONTH, 4))
    given = {
        "x": values,
        **dict(zip("abcd", several.T, strict=True)),
        "lot": np.repeat(np.arange(MONTH // 25), 25),
    }
    print("| what | measured | bar |\n|---|---|---|")
    charts = {
        "single values": {"value": "x"},
        "single values, handbook's rules": {"value": "x", "rules": ["handbook"]},
        "EWMA": {"value": "x", "chart": "ewma"},
        "CUSUM": {"value": "x", "chart": "cusum"},
        "T squared of 4 columns": {"value": list("abcd"), "chart": "t2"},
    }
    for name, options in charts.items():
        took = spent(lambda options=options: planish.hold_chart(given, baseline=500, **options))
        row(f"{name}, {MONTH} wafers", f"{took:.0f} ms", "300 ms")
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "month.csv"
        lines = (f"{at},{at // 25},{value:.3f}" for at, value in enumerate(500 + values))
        file.write_text("wafer,lot,thickness [nm]\n" + "\n".join(lines), encoding="utf-8")
        took = spent(lambda: planish.hold_chart(file, "thickness", baseline=500), 3)
        row(f"single values, {MONTH} wafers, from a CSV file", f"{took:.0f} ms", "–")
    lengths = {
        "EWMA, weight 0.1": lambda: planish.hold_run_length("ewma", 2.814, weight=0.1),
        "EWMA, weight 0.03": lambda: planish.hold_run_length("ewma", 2.437, weight=0.03, shift=0.5),
        "EWMA, drift 0.01": lambda: planish.hold_run_length("ewma", 2.814, weight=0.1, drift=0.01),
        "EWMA, drift 0.0001": lambda: planish.hold_run_length("ewma", 2.814, weight=0.1, drift=1e-4),
        "CUSUM, two-sided": lambda: planish.hold_run_length("cusum", 5.0),
        "CUSUM, two-sided, drift 0.01": lambda: planish.hold_run_length("cusum", 5.0, drift=0.01),
        "single points, handbook's rules": lambda: planish.hold_run_length("individuals", rules=["handbook"]),
        "limit of an EWMA for 500 samples": lambda: planish.hold_limit("ewma", 500, weight=0.1),
    }
    for name, call in lengths.items():
        found = call()
        row(
            name,
            f"{found.arl:.6g}, {spent(call, 3):.1f} ms, error {found.length.error / found.arl:.0e}",
            "error 1e-6",
        )


if __name__ == "__main__":
    main()
