"""Build the documentation as static pages under ``out/docs``: ``make docs``.

The hand-written pages are gathered with those written from the package (commands,
refusals, sources, parts, Python), then Sphinx makes HTML of them. A broken link, a
refusal that no longer comes, a docstring that cannot be set, or a public name that cannot be loaded
ends with exit code 1.
"""

from __future__ import annotations

import re
import shutil
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

OUT = HERE.parent / "out" / "docs"
GATHERED = HERE.parent / "out" / "docs-pages"
WARNINGS = HERE.parent / "out" / "docs-warnings.txt"


def main() -> int:
    """Build; returns the exit code."""
    try:
        import latex2mathml  # noqa: F401
        import myst_parser  # noqa: F401
        from sphinx.cmd.build import build_main
    except ModuleNotFoundError as exc:
        say(f"docs: {exc.name} is not installed: run 'make docs', which installs requirements/docs.txt first")
        return 1
    start = time.perf_counter()
    modules = gather()
    shutil.rmtree(OUT, ignore_errors=True)
    # Not with "-j": the process that hands out has as much to do as it saves, and takes three times the memory.
    arguments = ["-q", "-E", "-b", "html", "-d", str(GATHERED.with_name("docs-cache")), "-w", str(WARNINGS)]
    failed = build_main([*arguments, str(GATHERED), str(OUT)])
    of_pages, of_docstrings = sort_warnings(WARNINGS.read_text(encoding="utf-8"))
    outside = outside_requests(OUT)
    say(f"docs: {read_and_remembered()}")
    for line in [*of_pages, *of_docstrings, *outside]:
        say(f"docs: {line}")
    say(
        f"docs: {len(list(OUT.rglob('*.html')))} pages, {modules} modules, "
        f"{len(of_docstrings)} remarks on docstrings ({WARNINGS.relative_to(HERE.parent)}), "
        f"{time.perf_counter() - start:.0f} s; open {(OUT / 'index.html').relative_to(HERE.parent)}"
    )
    return 1 if failed or of_pages or of_docstrings or outside else 0


def read_and_remembered() -> str:
    """Return how many sources were read and how many statements rest on memory."""
    from generate.sources import reading_line

    return reading_line()


def gather() -> int:
    """Put all pages into one folder; returns how many modules the Python reference describes."""
    from generate.api import write_api
    from generate.commands import commands_page
    from generate.experiments import experiments_page
    from generate.inputs import inputs_page
    from generate.laws import laws_page
    from generate.refusals import refusals_page
    from generate.sources import parts_page, sources_page

    shutil.rmtree(GATHERED, ignore_errors=True)
    shutil.copytree(HERE, GATHERED, ignore=shutil.ignore_patterns("__pycache__", "make.py"))
    index = GATHERED / "index.md"
    index.write_text(present(index.read_text(encoding="utf-8"), GATHERED), encoding="utf-8")
    reference = GATHERED / "reference"
    modules = write_api(reference / "python")
    pages = {
        "inputs": inputs_page,
        "commands": commands_page,
        "laws": laws_page,
        "refusals": refusals_page,
        "sources": sources_page,
        "parts": parts_page,
    }
    # Two pages are much computing: the one on all cores, the other beside it.
    with ProcessPoolExecutor(1, get_context("spawn")) as beside:
        experiments = beside.submit(experiments_page)
        written = {name: page() for name, page in pages.items()}
        written["experiments"] = experiments.result()
    for name, text in written.items():
        (reference / f"{name}.md").write_text(text, encoding="utf-8")
    return modules


def present(index: str, folder: Path) -> str:
    """Return the index without the lines about a page of the guide that has not been written."""
    kept, told = [], set()
    for line in index.splitlines():
        pages = re.findall(r"^((?:guide|theory)/\w+)$|\]\(((?:guide|theory)/\w+)\.md\)", line)
        absent = [name for pair in pages for name in pair if name and not (folder / f"{name}.md").exists()]
        if absent:
            told.update(absent)
            continue
        kept.append(line)
    for name in sorted(told):
        say(f"docs: no page {name}.md yet")
    return "\n".join(kept) + "\n"


def sort_warnings(text: str) -> tuple[list[str], list[str]]:
    """Split Sphinx's warnings into those about pages and those about docstrings."""
    lines = [line for line in text.splitlines() if "WARNING" in line or "ERROR" in line]
    of_docstrings = [line for line in lines if "docstring of" in line]
    return [line for line in lines if line not in of_docstrings], of_docstrings


def outside_requests(folder: Path) -> list[str]:
    """Return what a page would fetch from another host (links that a reader may follow are no requests)."""
    fetch = re.compile(
        r"""<(?:script|img|iframe|source|link(?![^>]*rel="(?:canonical|author|license)"))\b[^>]*"""
        r"""(?:src|href)="(?:https?:)?//|@import\s+url\(['"]?(?:https?:)?//|url\(['"]?(?:https?:)?//"""
    )
    return [
        f"{path.relative_to(folder)}: fetches something from another host"
        for path in sorted([*folder.rglob("*.html"), *folder.rglob("*.css")])
        if fetch.search(path.read_text(encoding="utf-8"))
    ]


def say(words: str) -> None:
    """Print one line."""
    sys.stdout.write(words + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())
