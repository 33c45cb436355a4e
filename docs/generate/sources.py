"""The page of what each figure rests on: every ``SOURCES`` of the package and every value of the catalogue."""

from __future__ import annotations

import importlib
import pkgutil
from collections import Counter
from collections.abc import Iterable, Iterator

from planish.setup.parts import PartRow, catalogue, list_parts

# The wording of the source lines decides; the first that fits counts.
STANDINGS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("cited from memory, not checked against the paper", ("from memory",)),
    ("invented for the demo", ("invented",)),
    ("common practice, no source", ("common practice", "no source")),
    ("read as an abstract only", ("abstract",)),
    (
        "our own derivation, rule or computation",
        ("our own", "own derivation", "derivation", "computed", "mixing"),
    ),
)
REST = "as the line itself says"
LAYERS = ("physics", "measure", "setup", "predict", "fit", "explain")


def standing(line: str) -> str:
    """Return how far a source line can be trusted, by its own words."""
    small = line.lower()
    return next((name for name, words in STANDINGS if any(word in small for word in words)), REST)


def module_sources() -> Iterator[tuple[str, str, list[str]]]:
    """Yield (module, first line of its docstring, source lines) where a module brings lines of its own.

    Modules are met from the physics upwards, so a line that a caller repeats stands only where it belongs.
    """
    seen: set[str] = set()
    for layer in LAYERS:
        for name in module_names(f"planish.{layer}"):
            module = importlib.import_module(name)
            own = [line for line in getattr(module, "SOURCES", ()) if line not in seen]
            seen.update(own)
            if own:
                yield name, (module.__doc__ or "").strip().splitlines()[0], own


def module_names(package: str) -> list[str]:
    """Return the modules of a package that can be imported without a GPU library."""
    found = pkgutil.walk_packages(importlib.import_module(package).__path__, f"{package}.")
    return [item.name for item in found if not item.ispkg and not item.name.endswith(".gpu")]


def sources_page() -> str:
    """Return the page of what the figures rest on."""
    groups = list(module_sources())
    values = list_parts()
    lines = [
        "# What each figure rests on",
        "",
        "This page is written from the package: from the `SOURCES` of every module and from the catalogue of parts.",
        "`result.sources()` gives the part of it that one result used.",
        "",
        "How to read it. *From memory* means that the citation was written down without the paper at hand: look it up",
        "before you rely on it. *Common practice* means that the trade does it so and no source was found. *Invented*",
        "means that the value makes a sensible scenario and nothing more. A line without any of these words names its",
        "source or says in plain words what the statement is.",
        "",
        "| standing, by the line's own words | source lines of modules | values of the catalogue |",
        "|---|---:|---:|",
        *_counts((line for _, _, own in groups for line in own), (row.source for row in values)),
        "",
        "## Models and methods",
        "",
    ]
    for name, what, own in groups:
        lines += [f"### `{name}`", "", cell(what), "", *[f"- {cell(line)}" for line in own], ""]
    return "\n".join(lines)


def _counts(modules: Iterable[str], values: Iterable[str]) -> list[str]:
    of_modules, of_values = Counter(map(standing, modules)), Counter(map(standing, values))
    names = [*(name for name, _ in STANDINGS), REST]
    rows = [f"| {name} | {of_modules[name]} | {of_values[name]} |" for name in names]
    return [*rows, f"| **all** | {of_modules.total()} | {of_values.total()} |"]


def parts_page() -> str:
    """Return the catalogue of parts, every value with its spread and its source."""
    lines = [
        "# The catalogue of parts",
        "",
        "Generic parts, named by what they are. `planish parts KIND` prints the same. Values that are marked as common",
        "practice or as invented are starting points: measure your own.",
        "",
    ]
    rows: dict[tuple[str, str], list[PartRow]] = {}
    for row in list_parts():
        rows.setdefault((row.kind, row.part), []).append(row)
    kind = ""
    for (of_kind, name), values in rows.items():
        if of_kind != kind:
            kind = of_kind
            lines += [f"## {kind.capitalize()}", ""]
        lines += [f"### {name}", "", catalogue(kind)[name].summary.capitalize() + ".", ""]
        lines += ["| key | value | spread | source |", "|---|---|---|---|"]
        lines += [
            f"| `{row.key}` | {cell(f'{row.value} {row.unit}'.strip())} | {cell(row.spread)} | {cell(row.source)} |"
            for row in values
        ]
        lines.append("")
    return "\n".join(lines)


def cell(text: str) -> str:
    """Return plain text that Markdown shows as it is."""
    for sign in "\\|*_<>[]$`^":
        text = text.replace(sign, "\\" + sign)
    return text
