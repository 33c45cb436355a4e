"""Fifty people at once on a team's bench: how long a quick lot takes, what the wafer costs meanwhile, and both
again while others send files made to be slow or large.

python benchmarks/bench_many_people.py [--people 50] [--only quiet,hostile]
"""

from __future__ import annotations

import argparse
import asyncio
import os
import re
import statistics
import struct
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterable
from pathlib import Path

import httpx
import numpy as np

PASSWORD = "only for this benchmark"
WATCHING = 2  # people who keep moving a slider meanwhile
PAUSE = 0.05  # [s] between two moves of a slider
PATIENCE = 300.0  # [s]
LONGEST_ATTACK = 120.0  # [s] after which this gives up waiting for the server to stop a hostile run
ATTACK_BEFORE = 2.0  # [s] that the hostile files are sent before everyone asks


class Server:
    """A team's bench in processes of its own; its memory is watched all the time."""

    def __init__(self, folder: Path) -> None:
        self.process = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "planish.cli.main",
                "serve",
                "--team",
                "--port",
                "0",
                "--data",
                str(folder),
            ],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self.url = re.search(r"http://localhost:\d+/", self.process.stdout.readline()).group()
        self.largest = 0.0
        threading.Thread(target=self.process.stdout.read, daemon=True).start()
        threading.Thread(target=self._watch, daemon=True).start()

    def family(self) -> set[int]:
        """Return the numbers of its processes, the workers too."""
        parents = {}
        for entry in Path("/proc").iterdir():
            if entry.name.isdigit():
                try:
                    parents[int(entry.name)] = int((entry / "stat").read_text().rsplit(")", 1)[1].split()[1])
                except OSError:
                    continue
        family, grown = {self.process.pid}, True
        while grown:
            more = {pid for pid, parent in parents.items() if parent in family} - family
            family |= more
            grown = bool(more)
        return family

    def _watch(self) -> None:
        page = os.sysconf("SC_PAGE_SIZE")
        while self.process.poll() is None:
            for pid in self.family():
                try:
                    held = int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * page
                except OSError:
                    continue
                self.largest = max(self.largest, held / 1e6)
            time.sleep(0.1)

    def stop(self) -> None:
        self.process.terminate()
        try:
            self.process.wait(timeout=20)
        except subprocess.TimeoutExpired:
            self.process.kill()


def one_line() -> bytes:
    """Return 60 MB of a table whose only line never ends."""
    return b"1.5," * 15_000_000


def _record(kind: int, *content: int | bytes) -> bytes:
    body = b"".join(part if isinstance(part, bytes) else struct.pack(">h", part) for part in content)
    return struct.pack(">hH", 4 + len(body), kind) + body


def many_shapes(levels: int = 1, times: int = 30_000) -> bytes:
    """Return a GDSII file of a few hundred bytes that stands for times ** (2 levels) rectangles.

    Records by GDSII Stream Format, release 6.0 (from memory).
    """
    stamps = [1] * 12
    out = [_record(0x0002, 600), _record(0x0102, *stamps), _record(0x0206, b"L\0")]
    out.append(_record(0x0305, bytes.fromhex("3e4189374bc6a7f0"), bytes.fromhex("3944b82fa09b5a54")))
    corners = struct.pack(">10i", 0, 0, 0, 1, 1, 1, 1, 0, 0, 0)
    out += [_record(0x0502, *stamps), _record(0x0606, b"A\0"), _record(0x0800), _record(0x0D02, 1)]
    out += [_record(0x0E02, 0), _record(0x1003, corners), _record(0x1100), _record(0x0700)]
    for level in range(levels):
        name, below = bytes([66 + level, 0]), bytes([65 + level, 0])
        places = struct.pack(">6i", 0, 0, 2 * times, 0, 0, 2 * times)
        out += [_record(0x0502, *stamps), _record(0x0606, name), _record(0x0B00), _record(0x1206, below)]
        out += [_record(0x1302, times, times), _record(0x1003, places), _record(0x1100), _record(0x0700)]
    out.append(_record(0x0400))
    return b"".join(out)


async def signed_in(url: str, name: str) -> httpx.AsyncClient:
    client = httpx.AsyncClient(base_url=url, timeout=PATIENCE)
    reply = await client.post("/api/sign-in", json={"name": name, "password": PASSWORD})
    reply.raise_for_status()
    return client


def own_document(index: int) -> dict:
    """Return a setup that nobody else has, so that no answer can be shared."""
    from planish.jobs.exchange import fresh

    document = fresh(("rotary", "linear", "orbital")[index % 3])
    document["recipe"]["step"][1]["ring_pressure"] = f"{4 + 1e-4 * index:.4f} psi"
    return document


async def lot(client: httpx.AsyncClient, index: int, times: list[float], wrong: list[str]) -> None:
    document, began = own_document(index), time.perf_counter()
    try:
        reply = await client.post("/api/lot", json={"document": document})
    except httpx.HTTPError as error:
        wrong.append(f"{error!r} after {PATIENCE:.0f} s")
    else:
        if reply.status_code != 200:
            wrong.append(reply.text[:200])
    times.append(time.perf_counter() - began)


async def slide(client: httpx.AsyncClient, index: int, times: list[float], until: asyncio.Event) -> None:
    rng, document = np.random.default_rng(index), own_document(index)
    while not until.is_set():
        changes, began = (
            {"recipe.step.2.ring_pressure": f"{3 + 2 * rng.random():.3f} psi"},
            time.perf_counter(),
        )
        reply = await client.post("/api/wafer", json={"document": document, "changes": changes, "step": 1})
        reply.raise_for_status()
        times.append(time.perf_counter() - began)
        await asyncio.sleep(PAUSE)


async def send(client: httpx.AsyncClient, name: str, content: bytes, said: list[str]) -> str | None:
    """Send a file; return the name that the server gave it."""
    began = time.perf_counter()
    try:
        reply = await client.post("/api/uploads", params={"name": name}, content=content)
        words, known = reply.text, reply.json().get("id")
    except httpx.HTTPError as error:
        words, known = repr(error), None
    spent = time.perf_counter() - began
    said.append(f"{name} ({len(content):,} bytes): after {spent:.1f} s {words[:200]}")
    return known


async def attack_with_table(client: httpx.AsyncClient, said: list[str]) -> None:
    await send(client, "one-line.csv", one_line(), said)


async def attack_with_layout(client: httpx.AsyncClient, said: list[str]) -> None:
    """Start a run on a layout of 900 million shapes, and stop it after two minutes if the server has not."""
    file = await send(client, "many.gds", many_shapes(), said)
    if file is None:
        return
    began = time.perf_counter()
    asked = {"document": own_document(0), "kind": "die", "file": file, "cell_um": 10}
    reply = await client.post("/api/jobs", json=asked)
    if reply.status_code != 200:
        said.append(f"run on many.gds: {reply.text[:200]}")
        return
    job = reply.json()
    while job["state"] in ("waiting", "running") and time.perf_counter() - began < LONGEST_ATTACK:
        await asyncio.sleep(0.5)
        job = (await client.get(f"/api/jobs/{job['id']}")).json()
    spent = time.perf_counter() - began
    said.append(f"run on many.gds: after {spent:.1f} s {job['state']}: {job['message']}")
    if job["state"] == "running":
        await client.delete(f"/api/jobs/{job['id']}")


async def everyone(
    clients: list[httpx.AsyncClient], first: int
) -> tuple[list[float], list[float], list[str]]:
    """Let everyone ask for a quick lot at the same moment while a few keep sliding."""
    lots: list[float] = []
    wafers: list[float] = []
    wrong: list[str] = []
    done = asyncio.Event()
    sliding = [
        asyncio.create_task(slide(c, first + i, wafers, done)) for i, c in enumerate(clients[:WATCHING])
    ]
    await asyncio.gather(*(lot(client, first + i, lots, wrong) for i, client in enumerate(clients)))
    done.set()
    await asyncio.gather(*sliding)
    return lots, wafers, wrong


def told(name: str, lots: list[float], wafers: list[float], wrong: Iterable[str]) -> None:
    for what, times, unit, scale in (("quick lot", lots, "s", 1.0), ("wafer meanwhile", wafers, "ms", 1e3)):
        middle, high, most = np.percentile(times, [50, 95, 100]) * scale
        print(
            f"{name}: {what}: median {middle:.1f}, 95 % {high:.1f}, largest {most:.1f} {unit} (n = {len(times)})"
        )
    for words in sorted(set(wrong)):
        print(f"{name}: NOT ANSWERED: {words}")


async def measure(url: str, people: int, only: set[str], server: Server) -> None:
    names = [f"person{index}" for index in range(people)]
    clients = [await signed_in(url, name) for name in names]
    hostile = [await signed_in(url, f"hostile{index}") for index in range(2)]
    try:
        # warm: every pool loads its code before anything is counted
        await asyncio.gather(*(lot(c, 900 + i, [], []) for i, c in enumerate(clients[:6])))
        alone: list[float] = []
        done = asyncio.Event()
        asyncio.get_running_loop().call_later(6.0, done.set)
        await slide(clients[0], 950, alone, done)
        print(f"nobody else: wafer: median {statistics.median(alone) * 1e3:.1f} ms (n = {len(alone)})")
        if "quiet" in only:
            told(f"{people} people", *await everyone(clients, 1000))
        print(f"largest process so far: {server.largest:.0f} MB")
        if "hostile" in only:
            said: list[str] = []
            attacks = [
                asyncio.create_task(attack_with_table(hostile[0], said)),
                asyncio.create_task(attack_with_layout(hostile[1], said)),
            ]
            await asyncio.sleep(ATTACK_BEFORE)
            told(f"{people} people and two hostile files", *await everyone(clients, 2000))
            await asyncio.gather(*attacks)
            for words in said:
                print(f"hostile: {words}")
            print(f"largest process in all: {server.largest:.0f} MB (bar: 1000)")
    finally:
        for client in (*clients, *hostile):
            await client.aclose()


def main() -> None:
    """Start a server, let everyone in, measure, and print."""
    from planish.web.accounts import Accounts

    parser = argparse.ArgumentParser()
    parser.add_argument("--people", type=int, default=50)
    parser.add_argument("--only", default="quiet,hostile")
    asked, _ = parser.parse_known_args()
    people = min(asked.people, 50)
    with tempfile.TemporaryDirectory() as name:
        accounts = Accounts(Path(name) / "people.json")
        for index in range(people):
            accounts.add(f"person{index}", PASSWORD, "work")
        for index in range(2):
            accounts.add(f"hostile{index}", PASSWORD, "work")
        server = Server(Path(name))
        try:
            asyncio.run(measure(server.url, people, set(asked.only.split(",")), server))
        finally:
            server.stop()


if __name__ == "__main__":
    main()
