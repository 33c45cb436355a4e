"""The figures of the shipped examples, every verb, and the file that keeps them.

``python tools/shipped_numbers.py`` says which figures have moved; ``--write`` stores them anew, which belongs into
a change whose purpose is that they move. A test compares them in every run.
"""

from __future__ import annotations

import argparse
import gzip
import hashlib
import json
import math
import platform
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from importlib.metadata import version
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
EXAMPLES = ROOT / "examples"
STORED = ROOT / "tests" / "unit" / "shipped_numbers.json.gz"
ON_ONE_MACHINE, ACROSS_MACHINES = 1e-12, 1e-9
# Below this a figure is rounding (a force balance of 1e-15), and not compared in relative terms.
ROUNDING = 1e-13
# Across machines some figures hang on rounding more than that: by case and start of path, what is allowed, and why.
HANGS_ON_ROUNDING = {
    ("fit rates", "check."): 1e-2,  # which of two splits a tree takes
    ("measure line", "flags."): 1e-7,  # a residual over the median of residuals near nothing
}
NUMERIC = ("numpy", "scipy", "numba", "llvmlite", "scikit-learn")

SETUPS = sorted(path.stem for path in EXAMPLES.glob("*.toml"))
BLOCKS = ("--layout", "DATA/test-blocks.gds", "--layer", "1/0")


def cases() -> dict[str, list[str]]:
    """Return the commands that are run, by name; DATA, OUT and a setup's name stand for their files."""
    found: dict[str, list[str]] = {}
    for name in SETUPS:
        found[f"polish {name}"] = ["polish", name, "--band"]
        found[f"lot {name}"] = ["lot", name, "-n", "60", "--seed", "3", "--event", "30 idle 15 min"]
        found[f"clean {name}"] = ["clean", name]
        found[f"die {name}"] = ["die", name, *BLOCKS, "--cell", "40um", "--place", "centre,edge"]
    for first, second in zip(SETUPS, SETUPS[1:] + SETUPS[:1], strict=True):
        found[f"compare {first} {second}"] = ["compare", first, second]
    found["lot run-to-run"] = ["lot", "rotary", "-n", "40", "--seed", "5", "--adjust", "run-to-run"]
    found["lot unconditioned"] = ["lot", "linear", "-n", "40", "--no-conditioning"]
    found["dwell rotary"] = ["dwell", "rotary"]
    found["dwell orbital"] = ["dwell", "orbital", "--zones", "6", "--least", "0.02"]
    found["die contact"] = ["die", "copper", *BLOCKS, "--cell", "60um", "--route", "contact"]
    found["die fill"] = ["die", "rotary", *BLOCKS, "--cell", "40um", "--fill", "--after", "50"]
    found["die then"] = ["die", "copper", *BLOCKS, "--cell", "40um", "--then", "copper-barrier"]
    found["die fields"] = ["die", "rotary", *BLOCKS, "--cell", "200um", "--fields", "--workers", "1"]
    found["measure sites"] = ["measure", "DATA/wafer-before.csv", "DATA/wafer-after.csv"]
    found["measure line"] = ["measure", "DATA/line-before.csv", "DATA/line-after.csv", "--time", "60s"]
    found["measure polar"] = ["measure", "DATA/wafer-before-polar.csv", "DATA/wafer-after-polar.csv"]
    found["measure nested"] = [
        "measure",
        "DATA/lots.csv",
        "--nested",
        "lot,wafer,site",
        "--value",
        "removal_nm",
    ]
    found["measure layout"] = ["measure", "DATA/test-blocks.gds", "--layer", "1/0"]
    found["fit sites"] = ["fit", "rotary", "DATA/wafer-before.csv", "DATA/wafer-after.csv"]
    found["fit steps"] = [
        "fit",
        "--steps",
        "DATA/steps.csv",
        "--layout",
        "DATA/test-blocks.gds",
        "--layer",
        "1/0",
    ]
    found["fit rates"] = ["fit", "OUT/traces.csv", "--rates", "OUT/rates.csv", "--check", "--folds", "1"]
    return found


def machine() -> dict[str, str]:
    """Return what rounding depends on: the processor and the numeric libraries."""
    processor = platform.machine()
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
        told = {line.split(":", 1)[0].strip(): line.split(":", 1)[1] for line in lines if ":" in line}
        flags = hashlib.sha256(" ".join(sorted(told.get("flags", "").split())).encode()).hexdigest()[:12]
        processor += f"{told.get('model name', '')} {flags}"
    except OSError:
        pass
    return {"processor": processor, **{name: version(name) for name in NUMERIC}}


def figures(command: list[str], out: Path) -> dict[str, Any]:
    """Run one verb and return the leaves of its JSON document, by dotted path."""
    from typer.testing import CliRunner

    from planish.cli.main import app

    def spelled(word: str) -> str:
        if word in SETUPS:
            return str(EXAMPLES / f"{word}.toml")
        return word.replace("DATA/", f"{EXAMPLES / 'data'}/").replace("OUT/", f"{out}/")

    done = CliRunner().invoke(app, [*map(spelled, command), "--json"])
    if done.exit_code != 0:
        raise RuntimeError(
            f"planish {' '.join(command)}: exit {done.exit_code}: {done.output}{done.exception!r}"
        )
    return dict(leaves(json.loads(done.stdout)))


def leaves(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Yield the numbers and truth values of a document by path; a long list by its length, sum and square sum."""
    if isinstance(value, dict):
        for key, item in value.items():
            yield from leaves(item, f"{path}.{key}" if path else str(key))
    elif isinstance(value, list):
        if len(value) > 60 and all(isinstance(item, int | float) for item in value):
            yield f"{path}.length", len(value)
            yield f"{path}.sum", math.fsum(value)
            yield f"{path}.squares", math.fsum(item * item for item in value)
            return
        for index, item in enumerate(value):
            yield from leaves(item, f"{path}.{index}")
    elif value is None or isinstance(value, bool | int | float):
        yield path, value


def all_figures(workers: int = 1) -> dict[str, dict[str, Any]]:
    """Return the figures of every case, by so many processes."""
    if workers == 1:
        return {name: figures_of(name) for name in cases()}
    with ProcessPoolExecutor(workers) as pool:
        return dict(zip(cases(), pool.map(figures_of, cases()), strict=True))


def figures_of(name: str) -> dict[str, Any]:
    """Return the figures of one case."""
    command = cases()[name]
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder)
        if any(word.startswith("OUT/") for word in command):
            write_traces(out)
        return figures(command, out)


def write_traces(folder: Path) -> None:
    """Write the invented traces and rates that ``fit --rates`` reads."""
    from planish.measure.traces.invented import invented_traces

    traces, rates = invented_traces(seed=11)
    traces.write_csv(folder / "traces.csv")
    rates.write_csv(folder / "rates.csv")


def moved(then: dict[str, Any], now: dict[str, Any], allowed: float) -> list[str]:
    """Return one line for each figure that is gone, new, or further off than ``allowed``."""
    found = []
    for case in sorted(then.keys() | now.keys()):
        old, new = then.get(case, {}), now.get(case, {})
        for path in sorted(old.keys() | new.keys()):
            if path not in old or path not in new:
                found.append(f"{case}: {path}: {'new' if path not in old else 'gone'}")
                continue
            a, b = old[path], new[path]
            if not same(a, b, _allowed(case, path, allowed), _of(path, old)):
                found.append(f"{case}: {path}: {a!r} -> {b!r}")
    return found


def moved_of(name: str, then: dict[str, Any]) -> list[str]:
    """Return one line for each figure of a case that is not what was stored, as near as this machine must come."""
    allowed = ON_ONE_MACHINE if then["machine"] == machine() else ACROSS_MACHINES
    return moved({name: then["figures"][name]}, {name: figures_of(name)}, allowed)


def _allowed(case: str, path: str, allowed: float) -> float:
    """Return how far a figure may be off: as all, but across machines for what hangs on rounding."""
    if allowed <= ON_ONE_MACHINE:
        return allowed
    more = [most for (of, start), most in HANGS_ON_ROUNDING.items() if case == of and path.startswith(start)]
    if path.startswith("bands.") and not path.endswith(".value"):
        more.append(100 * allowed)  # a difference over a small step loses two digits
    return max([allowed, *more])


def _of(path: str, figures: dict[str, Any]) -> float:
    """Return the figure that a figure is a small difference of: a band's parts are differences of its value."""
    if not path.startswith("bands."):
        return 0.0
    value = figures.get(f"{'.'.join(path.split('.')[:2])}.value")
    return abs(value) if isinstance(value, int | float) else 0.0


def same(a: Any, b: Any, allowed: float, of: float = 0.0) -> bool:
    """Return whether two leaves agree, to a share of themselves or of what they are differences of."""
    if a is None or b is None or isinstance(a, bool) or isinstance(b, bool):
        return a is b
    return abs(a - b) <= allowed * max(abs(a), abs(b), of) + ROUNDING


def stored() -> dict[str, Any]:
    """Return what was stored: ``machine`` and ``figures``."""
    return json.loads(gzip.decompress(STORED.read_bytes()))


def main() -> int:
    """Compare, or store anew."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--write", action="store_true", help="store the figures of now")
    words.add_argument("--workers", type=int, default=1, help="processes that share the work")
    given = words.parse_args()
    now = {"machine": machine(), "figures": all_figures(given.workers)}
    then = stored()
    if given.write:
        STORED.write_bytes(gzip.compress(json.dumps(now, indent=0, sort_keys=True).encode(), mtime=0))
    allowed = ON_ONE_MACHINE if then["machine"] == now["machine"] else ACROSS_MACHINES
    lines = moved(then["figures"], now["figures"], allowed)
    sys.stdout.write("\n".join([*lines, f"{len(lines)} figures moved (allowed {allowed:g})"]) + "\n")
    return 1 if lines and not given.write else 0


if __name__ == "__main__":
    sys.exit(main())
