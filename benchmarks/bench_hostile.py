"""Hostile files: peak memory and seconds of each, and the worst. The bar is 1 GB and 60 s.

Each file is read in a process of its own, in every way that a person may ask for. The files are those of
``tests/faults/hostile_files.py``.

Run: python benchmarks/bench_hostile.py [--quick] [--only WORD] [--json FILE]
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "faults"))
import hostile_files

from planish.engine.files import write_whole

MEMORY_MB, SECONDS = 1024, 60


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true", help="the part that every test run reads")
    parser.add_argument("--only", default="", help="names that hold this word")
    parser.add_argument("--json", type=Path, default=None, help="also write the figures to this file")
    args = parser.parse_args()
    names = [
        n for n in hostile_files.FILES if args.only in n and (not args.quick or n in hostile_files.QUICK)
    ]
    told = []
    with subprocess.Popen(
        [sys.executable, hostile_files.__file__], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as reader:
        assert reader.stdin is not None
        assert reader.stdout is not None
        reader.stdin.write("\n".join(names))
        reader.stdin.close()
        print(f"{'file':58} {'size':>10} {'peak MB':>8} {'cpu s':>6} {'s':>6}  how it ended")
        for line in reader.stdout:
            one = json.loads(line)
            told.append(one)
            print(
                f"{one['name'][:58]:58} {one['bytes']:10} {one['peak_mb']:8.0f} {one['cpu_s']:6.1f} "
                f"{one['seconds']:6.1f}  {one['ended'][:60]}",
                flush=True,
            )
    if args.json:
        write_whole(args.json, json.dumps(told, indent=1))
    over = [one for one in told if one["peak_mb"] > MEMORY_MB or one["cpu_s"] > SECONDS]
    failed = [one for one in told if one["ended"].startswith("FAILED")]
    most, longest = max(told, key=lambda one: one["peak_mb"]), max(told, key=lambda one: one["cpu_s"])
    print(
        f"\n{len(told)} files; {len(failed)} failed; {len(over)} over {MEMORY_MB} MB or {SECONDS} s of processor time"
    )
    print(f"most memory: {most['peak_mb']:.0f} MB, {most['name']}")
    print(
        f"longest: {longest['cpu_s']:.1f} s of processor time, {longest['seconds']:.1f} s waited, {longest['name']}"
    )
    return 1 if failed or len(told) < len(names) else 0


if __name__ == "__main__":
    sys.exit(main())
