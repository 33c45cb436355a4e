"""Take the pictures in docs/screens: every view of the bench in both themes, and large for the back row.

python tools/screenshots.py [--only bench-light,...]
"""

from __future__ import annotations

import argparse
import math
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
OUT = ROOT / "docs" / "screens"
DATA = ROOT / "examples" / "data"
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
LESSONS = ("motions", "hardness", "roughness", "conditioning", "disks", "ring", "speeds")


def settle(page: Any) -> None:
    """Wait until die and lot have answered."""
    page.wait_for_selector("#die-numbers b")
    page.wait_for_selector("#lot-numbers b")
    page.wait_for_timeout(600)


def plain(page: Any) -> None:
    """The bench as it opens."""
    settle(page)


def motion(name: str) -> Any:
    """The bench with another motion."""

    def act(page: Any) -> None:
        settle(page)
        page.click(f"#motions [data-motion={name}]")
        page.wait_for_selector(f"#motions [data-motion={name}][aria-pressed=true]")
        page.wait_for_timeout(3000)
        page.wait_for_selector("#lot-card:not(.waiting)")
        page.wait_for_timeout(400)

    return act


def compared(page: Any) -> None:
    """A soft pad against the hard one, with the pad's settings open."""
    settle(page)
    page.click("text=hold this setup as A")
    page.click("#plan [data-part=pad]")
    page.wait_for_selector(".part-choice")
    page.select_option(".part-choice select", "soft-felt")
    page.wait_for_selector(".why-svg")
    page.select_option('#wafer-tools select[aria-label^="Which"]', "d")
    page.wait_for_timeout(2500)
    page.wait_for_selector("#lot-card:not(.waiting)")
    page.wait_for_timeout(400)


def enlarged(card: str) -> Any:
    """The bench with one of the answers large."""

    def act(page: Any) -> None:
        settle(page)
        page.click(f"#{card}-tools .grow-tool")
        page.wait_for_timeout(400)

    return act


def data(page: Any) -> None:
    """Own sites beside the prediction."""
    page.set_input_files("#pick", [str(DATA / "wafer-before.csv"), str(DATA / "wafer-after.csv")])
    page.wait_for_selector("#data-result table")
    settle(page)


def columns(page: Any) -> None:
    """A file of an invented gauge, told which column is what."""
    rings = [(r, k * math.tau / n) for r, n in ((0.0, 1), (1.9, 8), (3.8, 16), (5.75, 24)) for k in range(n)]
    rows = [
        f"{r * math.cos(a):.3f};{r * math.sin(a):.3f};{10120 - 9 * r + 15 * math.cos(a):.1f}"
        for r, a in rings
    ]
    text = "Log of an invented gauge;;;\nNr;Pos A;Pos B;T1\n" + "\n".join(
        f"{k};{row}".replace(".", ",") for k, row in enumerate(rows, start=1)
    )
    page.set_input_files("#pick", {"name": "bay 7.csv", "mimeType": "text/csv", "buffer": text.encode()})
    page.wait_for_selector("dialog.reading tbody tr")
    for name, value in (("column-measured", "T1"), ("unit-measured", "A"), ("column-x", "Pos A"), ("unit-x", "in"),
                        ("column-y", "Pos B"), ("unit-y", "in")):  # fmt: skip
        page.locator(f"dialog.reading [name='{name}']").select_option(value)
    page.wait_for_selector("figcaption:has-text('49 sites')")
    settle(page)


def fit(page: Any) -> None:
    """A fit to the invented runs."""
    settle(page)
    page.set_input_files("#pick", [str(path) for path in sorted((DATA / "runs").glob("*.csv"))])
    page.wait_for_selector(".fit-said:has-text('14 rows')")
    page.click(".fit-form button.main")
    page.wait_for_selector(".fit-result table", timeout=600_000)
    page.locator(".fit-result").evaluate("e => e.scrollIntoView()")
    page.wait_for_timeout(400)


def tune(page: Any) -> None:
    """Settings solved for a target."""
    settle(page)
    page.fill("#tune-view [name=target_nm]", "600")
    page.click("#tune-view form button")
    page.wait_for_selector("#tune-view table")
    page.wait_for_timeout(400)


def tradeoffs(page: Any) -> None:
    """A front over pressures, speed and two pads, its knee on the bench."""
    settle(page)
    page.wait_for_selector("#tradeoffs-view .foreseen", state="attached")
    page.wait_for_timeout(1500)
    if not page.locator("#tradeoffs-view .points").count():  # the run of the other theme is found again
        page.wait_for_selector("#tradeoffs-view .foreseen:has-text('About')")
        page.click("#tradeoffs-view summary:has-text('pad: hard microporous, as it stands')")
        page.check("#tradeoffs-view [name='pad hard-solid']")
        page.fill("#tradeoffs-view [name=runs]", "80")
        page.wait_for_selector("#tradeoffs-view .foreseen:has-text('for 80 setups')")
        page.click("#tradeoffs-view .send button")
    page.wait_for_selector("#tradeoffs-view .points tbody tr", timeout=600_000)
    page.locator("#tradeoffs-view .dot-button:has(.knee)").click()
    page.wait_for_selector("#tradeoffs-view .dot-button[aria-pressed=true] .knee")
    page.wait_for_timeout(10_000)  # the notice of what was put on the bench goes
    page.wait_for_selector("#lot-card:not(.waiting)")
    page.locator("#tradeoffs-view .front h3").evaluate("heading => heading.scrollIntoView()")


def runs(page: Any) -> None:
    """A die in depth."""
    settle(page)
    page.fill("#die-form [name=cell_um]", "50")
    page.click("text=run the die")
    page.locator('#jobs tbody tr:first-child button:has-text("show")').click()
    page.wait_for_selector(".tiles canvas")
    page.wait_for_timeout(1500)


def lesson(page: Any) -> None:
    """One guided comparison, answered."""
    page.locator(".guess button").first.click()
    page.click("#show-answer")
    page.wait_for_selector(".teach-side table")
    page.wait_for_timeout(400)


SHOTS: dict[str, tuple[str, Any, tuple[int, int], tuple[str, ...]]] = {
    "bench": ("", plain, (1280, 720), ("light", "dark")),
    "linear": ("", motion("linear"), (1280, 720), ("light", "dark")),
    "orbital": ("", motion("orbital"), (1280, 720), ("light", "dark")),
    "compare": ("", compared, (1280, 720), ("light", "dark")),
    "die": ("", enlarged("die"), (1280, 720), ("light", "dark")),
    "lot": ("", enlarged("lot"), (1280, 720), ("light", "dark")),
    "tune": ("#view=tune", tune, (1280, 720), ("light", "dark")),
    "tradeoffs": ("#view=tradeoffs", tradeoffs, (1280, 720), ("light", "dark")),
    "data": ("#view=data", data, (1280, 720), ("light", "dark")),
    "columns": ("#view=data", columns, (1280, 720), ("light", "dark")),
    "fit": ("#view=data", fit, (1280, 720), ("light",)),
    "runs": ("#view=runs", runs, (1280, 720), ("light", "dark")),
    **{f"teach-{name}": (f"#view=teach&lesson={name}", lesson, (1280, 720), ("light", "dark")) for name in LESSONS},
    "bench-4k": ("", plain, (3840, 2160), ("light",)),
}  # fmt: skip


def main() -> int:
    """Serve a bench of its own, take the pictures, stop it."""
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser()
    parser.add_argument("--only", default="")
    wanted = {name for name in parser.parse_args().only.split(",") if name}
    found = next(
        (p for n in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(n))), None
    )
    if found is None:
        sys.stdout.write("no Chromium found: on Debian: apt-get install chromium\n")
        return 1
    OUT.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        command = [sys.executable, "-m", "planish.cli.main", "serve", "--port", "0", "--data", folder]
        server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert server.stdout is not None
        said = re.search(r"http://localhost:\d+/", server.stdout.readline())
        assert said is not None
        browser = playwright.chromium.launch(executable_path=found, args=FLAGS)
        try:
            for name, (fragment, act, (width, height), themes) in SHOTS.items():
                for theme in themes:
                    if wanted and name not in wanted:
                        continue
                    context = browser.new_context(
                        viewport={"width": width, "height": height},
                        color_scheme=theme,
                        reduced_motion="reduce",
                    )
                    page = context.new_page()
                    page.set_default_timeout(120_000)
                    page.goto(said.group() + fragment)
                    page.wait_for_selector("html[data-ready]")
                    act(page)
                    page.screenshot(path=str(OUT / f"{name}-{theme}.png"))
                    context.close()
                    sys.stdout.write(f"{name}-{theme}\n")
                    sys.stdout.flush()
        finally:
            browser.close()
            server.terminate()
            server.wait(timeout=20)
    return 0


if __name__ == "__main__":
    sys.exit(main())
