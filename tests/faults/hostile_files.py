"""About 450 hostile files, as a stranger might send them: each must be refused or read within bounds.

``FILES`` maps a name to the ending of the file and a function that returns its bytes; nothing is made until
asked for. Run as a script it reads the files named on its standard input, each in a process of its own, and
prints one JSON line a file: peak memory, seconds, and how it ended (see ``benchmarks/bench_hostile.py``).
A number as argument limits the addresses that each process may map [MB].
"""

from __future__ import annotations

import json
import os
import resource
import signal
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import hostile_gdsii
import hostile_oasis
import hostile_tables
import hostile_workbooks
from hostile_list import FILES, MB, QUICK

LISTS = (hostile_tables, hostile_workbooks, hostile_gdsii, hostile_oasis)
__all__ = ["FILES", "LISTS", "QUICK"]

CELL = 10e-6  # what the command takes where nothing is said


def read(file: Path, ending: str) -> str:
    """Read a file in every way that a person may ask for; returns how it ended."""
    from planish.errors import PlanishError

    told = []
    for reader in _readers(ending):
        try:
            reader(file)
            told.append("read")
        except PlanishError as error:
            said = str(error)
            if "\n" in said or len(said) > 2100:
                raise AssertionError(f"a refusal that is no line: {said[:200]}") from error
            told.append(f"refused: {said.replace(str(file), 'FILE')[:160]}")
    return next((word for word in told if word == "read"), told[-1])


def _readers(ending: str) -> list[Callable[[Path], object]]:
    if ending in (".csv", ".parquet"):
        from planish.measure.layout.sources import maps_from_csv
        from planish.measure.nested import read_nested
        from planish.measure.sites.read import read_sites
        from planish.measure.steps import read_steps
        from planish.measure.traces.read import read_rates, read_traces
        from planish.measure.traces.wafers import cut_wafers

        return [
            read_sites, lambda f: cut_wafers(read_traces(f)), read_rates, read_steps, maps_from_csv,
            lambda f: read_nested(f, ["site"], "thickness_nm"),
        ]  # fmt: skip
    if ending == ".xlsx":
        from planish.measure.sites.read import read_sites

        return [read_sites]
    from planish.measure.layout.read import list_layers, read_layout_maps

    def drawn(file: Path) -> None:
        layers = list_layers(file)
        layer = max(layers, key=lambda key: layers[key], default=(1, 0))
        read_layout_maps(file, *layer, CELL, cache=False)

    return [drawn]


def _one(name: str, folder: Path) -> dict[str, object]:
    """Make and read one file in a child of this process; its peak memory counts what it and its children took."""
    ending, make = FILES[name]
    file = folder / f"file{ending}"
    maker = os.fork()
    if maker == 0:  # so that what making it takes is not counted
        try:
            file.write_bytes(make())
        finally:
            os._exit(0)
    os.waitpid(maker, 0)
    size = file.stat().st_size
    out, into = os.pipe()
    start = time.perf_counter()
    child = os.fork()
    if child == 0:
        told: dict[str, object] = {}
        try:
            signal.alarm(int(os.environ.get("HOSTILE_SECONDS", "600")))
            told["ended"] = read(file, ending)
        except BaseException as error:  # noqa: BLE001 - what escapes is what this is for
            told["ended"] = f"FAILED {type(error).__name__}: {str(error)[:200]}"
            told["where"] = traceback.format_exc(limit=-4)
        used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
        told["cpu_s"] = round(sum(each.ru_utime + each.ru_stime for each in used), 2)
        told["peak_mb"] = max(each.ru_maxrss for each in used) / 1024
        os.write(into, json.dumps(told).encode())
        os._exit(0)
    os.close(into)
    with os.fdopen(out, "rb") as pipe:
        answer = pipe.read()
    _, status, usage = os.wait4(child, 0)
    told = json.loads(answer) if answer else {
        "ended": f"FAILED with status {status}", "peak_mb": usage.ru_maxrss / 1024,
        "cpu_s": round(usage.ru_utime + usage.ru_stime, 2),
    }  # fmt: skip
    file.unlink()
    return {"name": name, "bytes": size, "seconds": round(time.perf_counter() - start, 2), **told}


def main() -> None:
    import tempfile

    import polars  # noqa: F401 - once, before the processes part
    from scipy.spatial import cKDTree  # noqa: F401

    from planish.measure.layout.read import compile_kernels

    limit = int(sys.argv[1]) * MB if len(sys.argv) > 1 else 0
    compile_kernels()
    if limit:
        resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
    with tempfile.TemporaryDirectory(prefix="planish-hostile-") as folder:
        for name in sys.stdin.read().splitlines():
            sys.stdout.write(json.dumps(_one(name, Path(folder))) + "\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
