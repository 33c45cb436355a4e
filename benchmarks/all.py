"""Run every benchmark and print one table each: what, measured, bar. GPU ones run where a GPU is."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

HERE = Path(__file__).parent


def main() -> int:
    """Run the benchmarks one after the other (never side by side: they are timings)."""
    failed = []
    for file in sorted(HERE.glob("bench_*.py")):
        if file.stem.endswith("_gpu") and not _gpu():
            print(f"== {file.stem}: not run, no GPU here (see benchmarks/results for the last run)")
            continue
        print(f"== {file.stem}", flush=True)
        start = time.perf_counter()
        if subprocess.run([sys.executable, str(file)], check=False).returncode:
            failed.append(file.stem)
        print(f"   ({time.perf_counter() - start:.0f} s)\n", flush=True)
    if failed:
        print("failed:", ", ".join(failed))
    return 1 if failed else 0


def _gpu() -> bool:
    try:
        import cupy
    except ImportError:
        return False
    return bool(cupy.cuda.runtime.getDeviceCount())


if __name__ == "__main__":
    sys.exit(main())
