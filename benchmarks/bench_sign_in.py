"""Five hundred guesses at one password side by side, against a real server: how many are tried, what others feel.

python benchmarks/bench_sign_in.py [--guesses 500]
"""

from __future__ import annotations

import argparse
import asyncio
import json
import multiprocessing
import os
import re
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

PASSWORD = "the one right password"


class Server:
    """A team's bench in processes of its own."""

    def __init__(self, folder: Path) -> None:
        command = [sys.executable, "-m", "planish.cli.main", "serve", "--team", "--port", "0"]
        self.process = subprocess.Popen(
            [*command, "--data", str(folder)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        found = re.search(r"http://localhost:(\d+)/", line)
        assert found, line + self.process.stdout.read()
        self.port = int(found[1])
        threading.Thread(target=self.process.stdout.read, daemon=True).start()

    def memory(self) -> dict[str, float]:
        """Return the memory of all its processes now, and the highest of the server's own so far [MB]."""
        parents = {}
        for entry in Path("/proc").iterdir():
            if entry.name.isdigit():
                try:
                    parents[int(entry.name)] = int((entry / "stat").read_text().rsplit(")", 1)[1].split()[1])
                except OSError:
                    continue
        family = {self.process.pid}
        while more := {pid for pid, parent in parents.items() if parent in family} - family:
            family |= more
        pages = sum(int(Path(f"/proc/{pid}/statm").read_text().split()[1]) for pid in family)
        status = Path(f"/proc/{self.process.pid}/status").read_text()
        peak = int(re.search(r"VmHWM:\s+(\d+) kB", status)[1])  # type: ignore[index]
        return {"now": pages * os.sysconf("SC_PAGE_SIZE") / 1e6, "peak": peak * 1024 / 1e6}

    def loop(self) -> tuple[float, float]:
        """Return how long the event loop's thread has worked, and has waited for a core [s]."""
        worked, waited, _ = (
            Path(f"/proc/{self.process.pid}/task/{self.process.pid}/schedstat").read_text().split()
        )
        return int(worked) / 1e9, int(waited) / 1e9

    def settle(self) -> None:
        """Wait until its workers have loaded: what they load is no part of what the guesses cost."""
        last, still = 0.0, 0
        while still < 4:
            time.sleep(1)
            now = self.memory()["now"]
            still = still + 1 if abs(now - last) < 2 else 0
            last = now

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(timeout=20)


async def _guess(port: int, password: str) -> tuple[int, float]:
    body = json.dumps({"name": "ada", "password": password}).encode()
    began = time.perf_counter()
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    head = f"POST /api/sign-in HTTP/1.1\r\nHost: localhost:{port}\r\nContent-Type: application/json\r\n"
    writer.write(f"{head}Content-Length: {len(body)}\r\nConnection: close\r\n\r\n".encode() + body)
    status = int((await reader.readline()).split()[1])
    await reader.read()
    writer.close()
    return status, time.perf_counter() - began


async def _crowd(port: int, count: int) -> list[tuple[int, float]]:
    words = [f"a wrong password {i}" for i in range(count - 1)] + [PASSWORD]
    return await asyncio.gather(*(_guess(port, word) for word in words))


def guess_all(port: int, count: int, answers: Any) -> None:
    """Guess so many times side by side, the right one last."""
    answers.put(asyncio.run(_crowd(port, count)))


class Colleague:
    """Somebody signed in who goes on working: asks, waits a little, asks again, and notes how long it took.

    ``fresh``: over a new connection each time, as a page that is being opened; else over one that stays open,
    as a page that is open.
    """

    def __init__(self, port: int, name: str, fresh: bool) -> None:
        from planish.jobs import exchange

        self.fresh = fresh
        self.port, self.times = port, {"/api/me": [], "/api/wafer": []}  # type: dict[str, list[float]]
        self.document = json.dumps({"document": exchange.fresh("rotary")})
        self.codes: Counter[int] = Counter()
        connection = HTTPConnection("127.0.0.1", port, timeout=60)
        connection.request(
            "POST", "/api/sign-in", json.dumps({"name": name, "password": PASSWORD}), self._head({})
        )
        reply = connection.getresponse()
        assert reply.status == 200, reply.read()
        cookies = [value.partition(";")[0] for key, value in reply.getheaders() if key == "set-cookie"]
        self.cookie = {"Cookie": "; ".join(cookies)}
        reply.read()
        self.connection = connection
        self.ending = threading.Event()

    def _head(self, more: dict[str, str]) -> dict[str, str]:
        return {"Host": f"localhost:{self.port}", "Content-Type": "application/json", **more}

    def ask(self, path: str) -> None:
        """Ask once."""
        began = time.perf_counter()
        if self.fresh:
            self.connection.close()  # the next request opens it anew
        connection = self.connection
        method, body = ("POST", self.document) if path == "/api/wafer" else ("GET", None)
        connection.request(method, path, body, self._head(self.cookie))
        reply = connection.getresponse()
        reply.read()
        self.codes[reply.status] += 1
        self.times[path].append(time.perf_counter() - began)

    def work(self) -> None:
        while not self.ending.is_set():
            for path in self.times:
                self.ask(path)
            self.ending.wait(0.01)


def run(count: int, folder: Path) -> list[tuple[str, str, str]]:
    from planish.web.accounts import Accounts
    from planish.web.log import Log

    for name in ("ada", "bob"):
        Accounts(folder / "people.json").add(name, PASSWORD, "work")
    server = Server(folder)
    try:
        others = {"open": Colleague(server.port, "bob", False), "new": Colleague(server.port, "bob", True)}
        server.settle()
        for _ in range(20):
            for other in others.values():
                for path in other.times:
                    other.ask(path)
        calm = {path: statistics.median(times) for path, times in others["new"].times.items()}
        for other in others.values():
            other.times = {path: [] for path in other.times}
        before, (worked, waited) = server.memory(), server.loop()
        answers: Any = multiprocessing.get_context("spawn").Queue()
        crowd = multiprocessing.get_context("spawn").Process(
            target=guess_all, args=(server.port, count, answers)
        )
        working = [threading.Thread(target=other.work) for other in others.values()]
        for each in working:
            each.start()
        crowd.start()
        found = answers.get(timeout=120)
        crowd.join()
        for other in others.values():
            other.ending.set()
        for each in working:
            each.join()
        after, now = server.memory(), server.loop()
    finally:
        server.stop()
    codes = Counter(status for status, _ in found)
    tried = sum(entry["what"] == "sign-in failed" for entry in Log(folder).read(0)[0])
    rows = [
        (f"{count} guesses at one name side by side: passwords tried", str(tried), "<= 5"),
        (
            "their answers",
            ", ".join(f"{n} x {c}" for c, n in sorted(codes.items())),
            "no 200 (the last was right)",
        ),
        ("last of them answered after", f"{max(took for _, took in found):.2f} s", ""),
    ]
    told = f"{now[0] - worked:.2f} s, {now[1] - waited:.2f} s (load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores)"
    rows.append(("the event loop worked, and waited for a core", told, ""))
    for kind, other in others.items():
        for path, times in other.times.items():
            told = f"{max(times):.3f} s (n = {len(times)}; calm median {calm[path]:.3f} s)"
            rows.append((f"somebody else's {path}, {kind} connection, slowest", told, "<= 1 s"))
    refused = sum(n for other in others.values() for code, n in other.codes.items() if code != 200)
    rows.append(("their refusals", str(refused), "0"))
    rows.append(
        ("memory more, the server at its highest", f"{after['peak'] - before['peak']:.0f} MB", "<= 300 MB")
    )
    rows.append(
        ("memory more, all processes afterwards", f"{after['now'] - before['now']:.0f} MB", "<= 300 MB")
    )
    return rows


def main() -> int:
    options = argparse.ArgumentParser()
    options.add_argument("--guesses", type=int, default=500)
    count = options.parse_args().guesses
    with tempfile.TemporaryDirectory() as folder:
        rows = run(count, Path(folder))
    for what, measured, bar in rows:
        print(f"{what:58} {measured:55} {bar}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
