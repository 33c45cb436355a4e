"""Odd inputs to every verb of the command line, looking for what escapes: run ``python benchmarks/fuzz_inputs.py``.

Cases are drawn from a seed and run in this package's own process for speed, in a worker with a limit of memory
and, for each case, of time. A case fails if it ends in a traceback or exit code 70, takes too long, prints
anything but one line where it refuses, prints JSON with NaN or infinity in it, or leaves a broken file.
"""

from __future__ import annotations

import argparse
import collections
import contextlib
import faulthandler
import io
import json
import multiprocessing
import os
import resource
import shutil
import sys
import tempfile
import time
import traceback
import warnings
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parent))

from fuzz_cases import Case
from fuzz_verbs import QUICK, SHARES, draw

LIMIT_S = 20.0  # of the processor's time: the machine may be busy with other work
PATIENCE_S = 200.0  # by the clock, for what waits without working
LIMIT_BYTES = 8 * 2**30  # of address space: numba and the like map much more than they use
CODES = (0, 2, 3)


@dataclass
class Outcome:
    """What one use of the command line gave."""

    code: int | None
    out: str
    err: str
    trace: str
    seconds: float


def call(words: list[str]) -> Outcome:
    """Run the command line with `words` in this process, its errors handled as ever."""
    from planish.cli.main import run

    out, err = io.StringIO(), io.StringIO()
    code: int | None = 0
    trace = ""
    argv, sys.argv = sys.argv, ["planish", *words]
    begun = time.perf_counter()
    os.environ["PLANISH_TRACEBACK"] = "1"  # what would be exit code 70 comes out as what it is
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), warnings.catch_warnings():
            warnings.simplefilter("always")
            run()
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 1 if end.code else 0
    except BaseException:  # noqa: BLE001  (whatever comes is what is looked for)
        code, trace = None, traceback.format_exc()
    finally:
        sys.argv = argv
    return Outcome(code, out.getvalue(), err.getvalue(), trace, time.perf_counter() - begun)


def complaints(case: Case, got: Outcome, folder: Path) -> list[str]:
    """Return what is wrong with an outcome, one line each."""
    if got.trace:
        *_, last = got.trace.strip().splitlines()
        places = [line.strip() for line in got.trace.splitlines() if "/planish/" in line]
        return [f"escaped: {last[:200]} at {places[-1] if places else '?'}"]
    found = []
    if got.code not in CODES:
        found.append(f"exit code {got.code}: {got.err[-200:]}")
    if got.code == 2 and case.verb != "check":
        lines = got.err.strip().splitlines()
        if len(lines) != 1 or not lines[0].startswith("planish: "):
            found.append(f"refused in {len(lines)} lines: {got.err[:200]!r}")
    if "Warning" in got.err:
        found.append(f"warning: {got.err.strip()[:300]!r}")
    if "--json" in case.words and "--help" not in case.words and got.code == 0:
        found += _json(got.out)
    elif got.code == 0 and case.verb not in ("check", "words") and " nan" in got.out:
        found.append("prints nan")
    for path in folder.rglob("*"):
        if path.name.endswith(".part") or (
            path.is_file() and not path.stat().st_size and path.parts[-2] == "out"
        ):
            found.append(f"left behind: {path.name}")
    return found


def _json(text: str) -> list[str]:
    def refuse(word: str) -> Any:
        raise ValueError(f"holds {word}")

    try:
        json.loads(text, parse_constant=refuse)
    except ValueError as error:
        return [f"JSON: {error}: {text[:100]!r}"]
    return []


def run_case(case: Case) -> tuple[Outcome, list[str]]:
    """Run one case in a folder of its own."""
    folder, home = Path(tempfile.mkdtemp(prefix="fuzz-")), Path.cwd()
    try:
        for name, content in case.files.items():
            (folder / name).write_bytes(content)
        os.chdir(folder)
        got = call(case.words)
        return got, complaints(case, got, folder)
    finally:
        os.chdir(home)
        shutil.rmtree(folder, ignore_errors=True)


def _work(pipe: Connection, quick: bool) -> None:
    resource.setrlimit(resource.RLIMIT_AS, (LIMIT_BYTES, LIMIT_BYTES))
    stuck = open(os.environ["FUZZ_STUCK"], "w+")  # noqa: SIM115  (open as long as the worker lives)
    while True:
        seed, number = pipe.recv()
        stuck.truncate(0)
        stuck.seek(0)
        begun = time.process_time()
        faulthandler.dump_traceback_later(LIMIT_S - 1, repeat=True, file=stuck)
        got, found = run_case(draw(seed, number, QUICK if quick else SHARES))
        faulthandler.cancel_dump_traceback_later()
        pipe.send((got.code, time.process_time() - begun, found))


def _worked(pid: int) -> float:
    """Return the processor time of a process [s]."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _answer(
    worker: multiprocessing.process.BaseProcess, pipe: Connection, room: float
) -> tuple[int | None, float, list[str]]:
    """Return what the worker says of a case, or raise TimeoutError where it works or waits too long."""
    begun, before = time.monotonic(), _worked(worker.pid or 0)
    while not pipe.poll(0.25):
        if not worker.is_alive():
            raise EOFError
        if _worked(worker.pid or 0) - before > LIMIT_S + room or time.monotonic() - begun > PATIENCE_S:
            raise TimeoutError
    return pipe.recv()  # type: ignore[no-any-return]


def main() -> None:
    """Run the cases asked for and print what was found, each kind once with its first case."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--cases", type=int, default=1000)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--first", type=int, default=0, help="number of the first case")
    asked.add_argument("--seconds", type=float, default=3600.0, help="stop after so long")
    asked.add_argument("--show", type=int, help="print one case and what it gives, and stop")
    given = asked.parse_args()
    if given.show is not None:
        case = draw(given.seed, given.show)
        for name, content in case.files.items():
            if not name.endswith(".gds"):
                print(f"--- {name}\n{content.decode('utf-8', 'replace')}")
        got, found = run_case(case)
        print(case.words, got, *found, sep="\n")
        return
    kept = tempfile.NamedTemporaryFile(prefix="fuzz-stuck-")  # noqa: SIM115
    os.environ["FUZZ_STUCK"] = kept.name
    context = multiprocessing.get_context("spawn")
    worker, pipe = None, None
    seen: dict[str, list[int]] = {}
    codes: collections.Counter[str] = collections.Counter()
    begun, done = time.monotonic(), 0
    for number in range(given.first, given.first + given.cases):
        if time.monotonic() - begun > given.seconds:
            break
        if worker is None:
            pipe, theirs = context.Pipe()
            worker = context.Process(target=_work, args=(theirs, False), daemon=True)
            worker.start()
            theirs.close()
            fresh = 60.0  # the first case also loads the package
        pipe.send((given.seed, number))
        verb = draw(given.seed, number).verb
        try:
            code, seconds, found = _answer(worker, pipe, fresh)
            fresh = 0.0
            codes[f"{verb} {code}"] += 1
            if seconds > LIMIT_S:
                found = [*found, f"took {seconds:.0f} s"]
        except (TimeoutError, EOFError, ConnectionError) as error:
            worker.kill()
            worker.join()
            stack = [line.strip() for line in open(kept.name) if "planish" in line][:2]  # noqa: SIM115
            found = [f"{verb}: {type(error).__name__} at {' < '.join(stack)}"]
            worker = None
        done += 1
        for line in found:
            if line not in seen:
                print(f"case {number} ({verb}): {line}", flush=True)
            seen.setdefault(line, []).append(number)
        if done % 500 == 0:
            print(
                f"  {done} cases, {len(seen)} kinds of finding, {time.monotonic() - begun:.0f} s", flush=True
            )
    if worker is not None:
        worker.kill()
    print(f"\n{done} cases in {time.monotonic() - begun:.0f} s; by verb and exit code:")
    for name, count in sorted(codes.items()):
        print(f"  {name:24} {count}")
    print(f"{len(seen)} kinds of finding")
    for line, numbers in seen.items():
        print(f"  {len(numbers):5} x, first case {numbers[0]}: {line}")
    sys.exit(1 if seen else 0)


if __name__ == "__main__":
    main()
