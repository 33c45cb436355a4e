"""The reference of the Python API: one page a module, and a first page of what ``planish`` itself offers."""

from __future__ import annotations

import ast
import importlib
import pkgutil
import re
from pathlib import Path

import planish

PACKAGES = {
    "setup": "describe: setup files, parts, checks",
    "predict": "predict: wafer, lot, die",
    "cost": "cost: what a wafer costs, and how wafers pass the machine",
    "measure": "measure: sites, traces, layouts, statistics",
    "fit": "fit: calibrate to own data",
    "tuning": "tune: settings solved for, many runs of one setup, trade-offs",
    "hold": "hold: control charts, causes of a change, capability, qualifications, endpoints, control, history",
    "explain": "explain: findings, figures, reports, attribution",
    "physics": "the physics: pure functions of SI numbers and arrays",
    "results": "what every answer has: figures, tables, datasets, files",
    "jobs": "one function for each question of a user",
    "engine": "caches, array backends, work in parallel",
}
SINGLES = ("units", "errors")


def write_api(folder: Path) -> int:
    """Write the pages into ``folder``; returns how many modules there are."""
    folder.mkdir(parents=True, exist_ok=True)
    lines = [
        "# Python",
        "",
        "Written from the docstrings. Physics functions take and return SI floats and arrays; setups and summaries use",
        "the trade's units, with the unit in the key.",
        "",
        "## What `planish` offers",
        "",
        "| name | what | home |",
        "|---|---|---|",
        *[_public(name) for name in planish.__all__ if name != "__version__"],
        "",
    ]
    count = 0
    for package, what in PACKAGES.items():
        found = pkgutil.walk_packages(_package(package).__path__, f"planish.{package}.")
        names = [item.name for item in found if not item.ispkg]
        lines += [f"## {what.capitalize()}", "", *_modules(names)]
        for name in names:
            (folder / f"{name}.md").write_text(_page(name), encoding="utf-8")
        count += len(names)
    lines += ["## Units and errors", "", *_modules([f"planish.{name}" for name in SINGLES])]
    for name in SINGLES:
        (folder / f"planish.{name}.md").write_text(_page(f"planish.{name}"), encoding="utf-8")
    (folder / "index.md").write_text("\n".join(lines), encoding="utf-8")
    return count + len(SINGLES)


def _package(name: str) -> object:
    return importlib.import_module(f"planish.{name}")


def _public(name: str) -> str:
    """Return the row of one public name; a name that cannot be loaded stops the build."""
    value = getattr(planish, name)
    home = value.__module__
    return f"| `{name}` | {_first_line(value.__doc__)} | [`{home}`]({home}.md) |"


def _first_line(docstring: str | None) -> str:
    """Return the first sentence of a docstring as Markdown for a table."""
    line = (docstring or "").strip().splitlines()[0]
    line = re.sub(r":\w+:`~?([^`]*)`", r"`\1`", line).replace("``", "`")
    return line.replace("|", "\\|")


def _modules(names: list[str]) -> list[str]:
    """Return a table of modules with what each is about, read without importing them, and their contents entry."""
    root = Path(planish.__file__).parent
    rows = []
    for name in names:
        place = root.joinpath(*name.split(".")[1:])
        inner = place / "__init__.py"
        file = inner if inner.exists() else place.with_suffix(".py")
        what = _first_line(ast.get_docstring(ast.parse(file.read_text(encoding="utf-8"))))
        rows.append(f"| [`{name.removeprefix('planish.')}`]({name}.md) | {what} |")
    return ["| module | what |", "|---|---|", *rows, "", "```{toctree}", ":hidden:", "", *names, "```", ""]


def _page(name: str) -> str:
    options = [":members:", ":show-inheritance:"]
    return "\n".join(
        [
            f"# {name}",
            "",
            "```{eval-rst}",
            f".. automodule:: {name}",
            *[f"   {o}" for o in options],
            "```",
            "",
        ]
    )
