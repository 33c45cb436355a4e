"""A bench of its own for the browser tests, and Chromium; says plainly what is not run where there is none."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
PATIENCE = 60_000  # [ms]; a shared machine may be slow, and none of these tests is about time


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "browser" in str(item.path):
            item.add_marker(pytest.mark.browser)


class Bench:
    """A running server: its address and its folder."""

    def __init__(self, folder: Path, *options: str, path: Path | None = None) -> None:
        """Serve from ``folder``; what lies in ``path`` is imported before anything of the same name."""
        self.folder = folder
        command = [
            sys.executable,
            "-m",
            "planish.cli.main",
            "serve",
            "--port",
            "0",
            "--data",
            str(folder),
            *options,
        ]
        paths = [str(path)] if path is not None else []
        paths += [given] if (given := os.environ.get("PYTHONPATH")) else []
        env = {**os.environ, **({"PYTHONPATH": os.pathsep.join(paths)} if paths else {})}
        self.process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=env
        )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        found = re.search(r"http://localhost:\d+/", line)
        assert found, f"the server did not start: {line} {self.process.stdout.read()}"
        self.url = found.group()
        self.said: list[str] = []
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.said.append(line)

    def stop(self) -> None:
        self.process.terminate()
        try:
            self.process.wait(timeout=15)
        except subprocess.TimeoutExpired:
            self.process.kill()


@pytest.fixture(scope="session")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    running = Bench(tmp_path_factory.mktemp("bench"))
    yield running
    running.stop()
    assert not [line for line in running.said if "Traceback" in line], "".join(running.said)


# Not for the session: it keeps an event loop running, in which no other file's tests may start one.
@pytest.fixture(scope="module")
def browser(request: pytest.FixtureRequest) -> Iterator[object]:
    found = next((path for name in NAMES if (path := shutil.which(name))), None)
    if found is None:
        words = "NOT CHECKED: the bench in a browser needs Chromium (Debian: sudo apt-get install chromium)"
        if os.environ.get("CI", "").lower() == "true":
            pytest.fail(words + " (in CI this check must run)", pytrace=False)
        pytest.skip(words)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=found, args=FLAGS)
        yield running
        running.close()


class Visit:
    """One window: the page, and what must stay empty while it is open."""

    def __init__(
        self, browser: object, url: str, width: int = 1280, height: int = 720, **options: object
    ) -> None:
        self.home = url
        self.context = browser.new_context(
            viewport={"width": width, "height": height}, accept_downloads=True, **options
        )
        self.context.set_default_timeout(PATIENCE)
        self.page = self.context.new_page()
        self.errors: list[str] = []
        self.away: list[str] = []
        self.page.on(
            "console",
            lambda message: message.type in ("error", "warning") and self.errors.append(message.text),
        )
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("request", self._asked)

    def _asked(self, request: object) -> None:
        if not request.url.startswith((self.home, "blob:", "data:")):
            self.away.append(request.url)

    def open(self, fragment: str = "") -> object:
        self.page.goto(self.home + fragment)
        self.page.wait_for_selector("html[data-ready]")
        return self.page

    def close(self) -> None:
        self.context.close()
        assert not self.away, f"requests that left the machine: {self.away}"
        assert not self.errors, f"console: {self.errors}"


@pytest.fixture
def window(browser: object, bench: Bench) -> Iterator[Callable[..., Visit]]:
    """Opens windows that are strangers to each other, each checked when the test ends."""
    opened: list[Visit] = []

    def make(url: str = "", **options: object) -> Visit:
        opened.append(Visit(browser, url or bench.url, **options))
        return opened[-1]

    yield make
    for each in opened:
        each.close()


@pytest.fixture
def visit(window: Callable[..., Visit]) -> Visit:
    return window()


@pytest.fixture(scope="session")
def team(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """A team's bench with one person of each role."""
    from planish.web.accounts import Accounts

    folder = tmp_path_factory.mktemp("team")
    password = "a long enough password"
    for name, role in (("vera", "view"), ("walt", "work"), ("ada", "approve")):
        Accounts(folder / "people.json").add(name, password, role)
    running = Bench(folder, "--team")
    running.password = password
    yield running
    running.stop()


@pytest.fixture
def serve() -> Iterator[Callable[..., Bench]]:
    """Starts benches that nobody else uses, each checked when the test ends."""
    running: list[Bench] = []

    def make(folder: Path, *options: str, path: Path | None = None) -> Bench:
        running.append(Bench(folder, *options, path=path))
        return running[-1]

    yield make
    for each in running:
        each.stop()
        assert not [line for line in each.said if "Traceback" in line], "".join(each.said)


@pytest.fixture
def search_lists() -> Callable[[object], None]:
    """Searches two ring pressures with two pads: all four combinations, which takes a moment."""
    view = "#tradeoffs-view"

    def search(page: object) -> None:
        for label in ("main: pressure, all zones alike", "main: platen speed"):
            page.click(f'{view} [aria-label="do not turn {label}"]')
        for end, value in (("from, psi", "3"), ("to, psi", "5")):
            page.fill(f'{view} [aria-label="main: ring pressure, {end}"]', value)
        page.fill(f'{view} [aria-label^="main: ring pressure, how many"]', "2")
        page.click(f"{view} summary:has-text('pad: hard microporous, as it stands')")
        page.check(f"{view} [name='pad hard-solid']")
        page.wait_for_selector(f"{view} .foreseen:has-text('for all 4 combinations')")
        # the front of an earlier search may stand there, until this one is found
        page.evaluate(
            "for (const row of document.querySelectorAll('#tradeoffs-view .points tr')) row.dataset.old = 1"
        )
        page.click(f"{view} .send button")
        page.wait_for_selector(f"{view} .points tbody tr:not([data-old])", timeout=5 * PATIENCE)

    return search
