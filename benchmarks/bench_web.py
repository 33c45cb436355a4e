"""The bench in headless Chromium: slider to picture, A against B, start, large maps, twenty people, fuzzing.

python benchmarks/bench_web.py [--minutes 1] [--requests 5000] [--only slider,compare,...]
"""

from __future__ import annotations

import argparse
import asyncio
import base64
import json
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import textwrap
import threading
import time
import zlib
from pathlib import Path

import numpy as np

FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
MEASURES = "name => performance.getEntriesByName(name).map(entry => entry.duration)"


class Server:
    """A bench in processes of its own."""

    def __init__(self, folder: Path) -> None:
        self.began = time.perf_counter()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "planish.cli.main", "serve", "--port", "0", "--data", str(folder)],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self.url = re.search(r"http://localhost:\d+/", self.process.stdout.readline()).group()
        threading.Thread(target=self.process.stdout.read, daemon=True).start()

    def memory(self) -> float:
        """Return the memory of all its processes [MB]."""
        family, grown = {self.process.pid}, True
        parents = {}
        for entry in Path("/proc").iterdir():
            if entry.name.isdigit():
                try:
                    parents[int(entry.name)] = int((entry / "stat").read_text().rsplit(")", 1)[1].split()[1])
                except OSError:
                    continue
        while grown:
            more = {pid for pid, parent in parents.items() if parent in family} - family
            family |= more
            grown = bool(more)
        total = 0
        for pid in family:
            try:
                total += int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")
            except OSError:
                continue
        return total / 1e6

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(timeout=20)


def packed(value: object) -> str:
    """Return a document as the page writes it into its address."""
    squeeze = zlib.compressobj(9, zlib.DEFLATED, -15)
    body = squeeze.compress(json.dumps(value).encode()) + squeeze.flush()
    return base64.urlsafe_b64encode(body).decode().rstrip("=")


def opened(browser: object, url: str, wait: str = "html[data-ready]", **options: object) -> object:
    page = browser.new_context(viewport={"width": 1280, "height": 720}, **options).new_page()
    page.set_default_timeout(120_000)
    page.goto(url)
    page.wait_for_selector(wait)
    return page


def share95(values: list[float]) -> float:
    return float(np.percentile(values, 95))


def bench_slider(browser: object, server: Server) -> list[tuple[str, str, str]]:
    page = opened(browser, server.url)
    page.wait_for_selector("#lot-numbers b")
    page.locator("#plan [data-part=ring]").click()
    slider = page.locator('input[type=range][data-path="recipe.step.main.ring_pressure"]')
    slider.focus()
    for turn in range(62):  # the first presses warm caches and code
        page.keyboard.press("ArrowRight" if turn % 40 < 20 else "ArrowLeft")
        page.wait_for_timeout(110)
    times = page.evaluate(MEASURES, "slider to picture")[-50:]
    page.context.close()
    told = f"{statistics.median(times):.0f} / {share95(times):.0f} ms (n = {len(times)})"
    return [("slider to painted map and profile, median / 95 %", told, "<= 50 / 90 ms")]


def other_document() -> dict:
    """Return a setup that differs from the demo in all six groups."""
    from planish.jobs.exchange import choose, fresh
    from planish.setup.models import Setup

    setup = Setup(fresh("rotary"))
    for section, part in (("pad", "soft-felt"), ("conditioner", "cvd-film-fine"), ("slurry", "ceria-sti")):
        setup = choose(setup, section, part)
    changes = {
        "polisher.centre_offset": "185 mm",
        "head.ring.gap": "0.8 mm",
        "recipe.step.2.ring_pressure": "5 psi",
    }
    return setup.replace(changes).document


def bench_compare(browser: object, server: Server) -> list[tuple[str, str, str]]:
    from planish.jobs.exchange import fresh

    times = []
    for _ in range(5):
        address = f"{server.url}#s={packed(other_document())}&a={packed(fresh('rotary'))}"
        page = opened(browser, address, ".why-svg")
        page.wait_for_timeout(100)
        times += page.evaluate(MEASURES, "A against B")
        page.context.close()
    return [
        (
            "A against B with the why bar, 64 runs, median of 5",
            f"{statistics.median(times) / 1e3:.2f} s",
            "<= 1.5 s",
        )
    ]


def first_paint(browser: object, command: list[str], url: str | None, wait: str) -> float:
    """Return the time from starting a process to its first usable picture [s]."""
    from playwright.sync_api import Error

    context = browser.new_context(viewport={"width": 1280, "height": 720})
    page = context.new_page()
    page.set_default_timeout(60_000)
    began = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    try:
        if url is None:
            url = re.search(r"http://localhost:\d+/", process.stdout.readline()).group()
        while True:
            try:
                page.goto(url)
                break
            except Error as error:
                coming = "ERR_CONNECTION" in str(error) or "interrupted" in str(error)
                if not coming or time.perf_counter() - began > 60:
                    raise
                time.sleep(0.02)
        page.wait_for_selector(wait)
        return time.perf_counter() - began
    finally:
        context.close()
        process.terminate()
        process.wait(timeout=20)


PEER = textwrap.dedent("""
    from nicegui import ui
    @ui.page('/')
    def page():
        ui.add_body_html('''<script>
          const again = () => { const c = document.getElementById('c'); if (!c) return setTimeout(again, 5);
            c.getContext('2d').fillRect(0, 0, 50, 50); requestAnimationFrame(() => document.documentElement.dataset.painted = '1'); };
          again();</script>''', shared=False)
        ui.slider(min=0, max=10, value=3)
        ui.html('<canvas id="c" width="300" height="300"></canvas>', sanitize=False)
    ui.run(port=8977, host='127.0.0.1', show=False, reload=False)
""")


def bench_start(browser: object) -> list[tuple[str, str, str]]:
    from playwright.sync_api import Error

    ours, peer = [], []
    with tempfile.TemporaryDirectory() as folder:
        script = Path(folder) / "peer.py"
        script.write_text(PEER)
        for _ in range(5):
            command = [sys.executable, "-m", "planish.cli.main", "serve", "--port", "0", "--data", folder]
            ours.append(first_paint(browser, command, None, "html[data-painted]"))
            try:
                peer.append(
                    first_paint(
                        browser, [sys.executable, str(script)], "http://127.0.0.1:8977/", "html[data-painted]"
                    )
                )
            except Error as error:
                print(f"peer not measured: {str(error).splitlines()[0]}")
    rows = [
        ("process start to first painted answer, median of 5", f"{statistics.median(ours):.2f} s", "<= 3 s")
    ]
    if peer:
        told = f"{statistics.median(peer):.2f} s (ours / this = {statistics.median(ours) / statistics.median(peer):.2f})"
        rows.append(("the same for an empty page of NiceGUI 3, no physics", told, "peer"))
    return rows


def bench_map(browser: object, folder: Path) -> list[tuple[str, str, str]]:
    """Frames while dragging and zooming a 2600 x 3300 map; the field is a sum of waves, as its content does not matter."""
    from planish.web.packing import pack
    from planish.web.tiles import write_pyramid

    job = folder / "jobs" / "0123456789abcdef"
    job.mkdir(parents=True, exist_ok=True)
    y, x = np.mgrid[0:3300, 0:2600].astype(np.float32)
    write_pyramid(job, "surface", 1e-7 * (np.sin(x / 90) + np.sin(y / 70) + 0.2 * np.sin(x * y / 9000)))
    told = {
        "id": job.name,
        "kind": "die",
        "title": "map",
        "owner": "you",
        "state": "done",
        "share": 1.0,
        "ended": time.time(),
    }
    (job / "job.json").write_text(json.dumps(told))
    (job / "answer.bin").write_bytes(pack({}, {}))
    own = Server(folder)
    try:
        page = opened(browser, own.url + "#view=runs")
        page.click('#jobs button:has-text("show")')
        page.wait_for_selector(".tiles canvas")
        page.wait_for_timeout(1500)
        box = page.locator(".tiles canvas").bounding_box()
        cx, cy = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.evaluate(
            "() => { window.gaps = []; let last = performance.now(); const tick = t => { gaps.push(t - last); last = t;"
            " if (gaps.length < 4000) requestAnimationFrame(tick); }; requestAnimationFrame(tick); planishTiles.frames = []; }"
        )
        began = time.perf_counter()
        page.mouse.move(cx, cy)
        for turn in range(40):
            page.mouse.wheel(0, -120 if turn < 20 else 110)
            page.wait_for_timeout(16)
        page.mouse.down()
        for turn in range(150):
            page.mouse.move(cx + 120 * np.sin(turn / 9), cy + 80 * np.cos(turn / 7))
        page.mouse.up()
        spent = time.perf_counter() - began
        frames = page.evaluate("() => planishTiles.frames.length")
        gaps = page.evaluate("() => gaps.slice(2)")
        page.context.close()
    finally:
        own.stop()
    rate = 1000 / statistics.median(gaps)
    slow = share95(gaps)
    said = f"{rate:.0f} frames/s, 95 % of gaps <= {slow:.0f} ms ({frames} repaints in {spent:.1f} s)"
    return [("2600 x 3300 map, drag and zoom", said, ">= 30 frames/s")]


def bench_people(server: Server, minutes: float, people: int = 20) -> list[tuple[str, str, str]]:
    """Each of twenty drags on a setup of their own: the next question when the last is answered, at most 20 a second."""
    import httpx

    from planish.jobs.exchange import fresh

    times: list[float] = []
    errors: list[str] = []
    memory: list[float] = []

    async def person(client: httpx.AsyncClient, index: int, until: float) -> None:
        rng = np.random.default_rng(index)
        document = fresh(("rotary", "linear", "orbital")[index % 3])
        while time.perf_counter() < until:
            pressure = f"{3 + 2 * rng.random():.3f} psi"
            began = time.perf_counter()
            try:
                reply = await client.post(
                    server.url + "api/wafer",
                    json={
                        "document": document,
                        "changes": {"recipe.step.2.ring_pressure": pressure},
                        "step": 1,
                    },
                )
                if reply.status_code != 200:
                    errors.append(reply.text)
            except httpx.HTTPError as error:
                errors.append(repr(error))
            spent = time.perf_counter() - began
            times.append(spent)
            await asyncio.sleep(max(0.05 - spent, 0.0))

    async def watch(until: float) -> None:
        while time.perf_counter() < until:
            memory.append(server.memory())
            await asyncio.sleep(2)

    async def all_together() -> None:
        limits = httpx.Limits(max_connections=people, max_keepalive_connections=people)
        async with httpx.AsyncClient(limits=limits, timeout=30) as client:
            warm = time.perf_counter() + 5
            await asyncio.gather(*(person(client, i, warm) for i in range(people)))
            times.clear()
            until = time.perf_counter() + 60 * minutes
            await asyncio.gather(watch(until), *(person(client, i, until) for i in range(people)))

    asyncio.run(all_together())
    third = max(1, len(memory) // 3)
    first, last = statistics.median(memory[:third]), statistics.median(memory[-third:])
    said = f"median {statistics.median(times) * 1e3:.0f}, 95 % {share95(times) * 1e3:.0f} ms; {len(times)} answers, {len(errors)} errors"
    for words in sorted(set(errors))[:3]:
        print(f"error: {words[:300]}")
    flat = f"{first:.0f} MB in the first third, {last:.0f} MB in the last ({100 * (last / first - 1):+.1f} %)"
    return [
        (f"20 people dragging for {minutes:g} min", said, "95 % <= 1 s, 0 errors"),
        ("memory of the server over that time", flat, "flat"),
    ]


def bench_fuzz(requests: int) -> list[tuple[str, str, str]]:
    """Send requests made from the OpenAPI description, two in three with documents that nearly are setups."""
    import random

    from hypothesis import HealthCheck, given, settings

    sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "unit"))
    import test_web_fuzz as fuzz

    rng, sent, failed = random.Random(7), 0, []
    with tempfile.TemporaryDirectory() as folder:
        operations = [result.ok() for result in fuzz.make(Path(folder)).get_all_operations()]
        each = -(-requests // len(operations))
        while sent < requests:
            for operation in operations:

                @settings(
                    max_examples=each, deadline=None, database=None, suppress_health_check=list(HealthCheck)
                )
                @given(case=operation.as_strategy())
                def attack(case: object) -> None:
                    nonlocal sent
                    fuzz.put_documents(case, rng)
                    sent += 1
                    try:
                        reply = case.call()
                    except Exception as error:  # noqa: BLE001 (what escapes the server is what this looks for)
                        failed.append(f"{case.method} {case.path}: {type(error).__name__}: {error}")
                        return
                    if reply.status_code >= 500:
                        failed.append(f"{case.method} {case.path}: {reply.status_code}")

                attack()
    return [
        (
            f"API fuzzed from its OpenAPI, {sent} requests",
            f"{len(failed)} server errors {failed[:3] or ''}",
            "0",
        )
    ]


def main() -> None:
    """Measure, and print what was measured beside its bar."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--requests", type=int, default=5000)
    parser.add_argument("--only", default="start,slider,compare,map,people,fuzz")
    asked, _ = parser.parse_known_args()
    only = set(asked.only.split(","))
    found = next(
        (p for n in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(n))), None
    )
    rows: list[tuple[str, str, str]] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if found is None:
            print("NOT MEASURED in a browser: no Chromium (Debian: apt-get install chromium)")
            only &= {"people", "fuzz"}
        browser_needed = only & {"start", "slider", "compare", "map"}
        if browser_needed:
            from playwright.sync_api import sync_playwright

            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(executable_path=found, args=FLAGS)
                if "start" in only:
                    rows += bench_start(browser)
                if only & {"slider", "compare"}:
                    server = Server(folder / "one")
                    if "slider" in only:
                        rows += bench_slider(browser, server)
                    if "compare" in only:
                        rows += bench_compare(browser, server)
                    server.stop()
                if "map" in only:
                    rows += bench_map(browser, folder / "two")
                browser.close()
        if "people" in only:
            server = Server(folder / "three")
            rows += bench_people(server, asked.minutes)
            server.stop()
        if "fuzz" in only:
            rows += bench_fuzz(asked.requests)
    width = max(len(row[0]) for row in rows)
    print(f"{'what':<{width}} | measured | bar")
    for what, measured, bar in rows:
        print(f"{what:<{width}} | {measured} | {bar}")


if __name__ == "__main__":
    main()
