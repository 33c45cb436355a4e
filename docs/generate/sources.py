"""The page of what each figure rests on: every ``SOURCES`` of the package and every value of the catalogue."""

from __future__ import annotations

import importlib
import pkgutil
import re
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from planish.setup.parts import PartRow, catalogue, list_parts

# The wording of the source lines decides; the first that fits counts.
STANDINGS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("cited from memory, not checked against the paper", ("from memory",)),
    ("invented for the demo", ("invented",)),
    ("common practice, no source", ("common practice", "no source")),
    ("read as another text quotes it", ("read as quoted",)),
    ("read as an abstract only", ("abstract",)),
    ("read", ("(read",)),
    (
        "our own derivation, rule or computation",
        ("our own", "own derivation", "derivation", "derived here", "computed", "mixing"),
    ),
)
REST = "as the line itself says"
LAYERS = ("physics", "measure", "setup", "predict", "cost", "fit", "tuning", "hold", "explain")

HOME = Path(__file__).resolve().parents[2]
READ = Path(__file__).with_name("read_sources.toml")
HOW = {
    "itself": "the text itself",
    "abstract": "its abstract",
    "quoting": "as it quotes or restates the original",
}
MEMORY = "from memory"
MEMORY_BEFORE = 132
"""Statements from memory by the count of ``memory_marks`` before the first search for their sources."""
# Lines that speak of the mark instead of bearing it.
_NO_MARK = (
    "from memory, from disk",
    "written from memory; see",
    "**from memory**",
    'marked "(from memory)"',
    '"(from memory)" was not confirmed',
    "published, from memory or our own",
)
_QUOTED = re.compile(r"read as quoted in (.+?)(?=[);:]|\.\s|\.$| which | says |, the second)")


@dataclass(frozen=True, slots=True)
class ReadSource:
    """An outside source that was read.

    Attributes
    ----------
    label
        What source lines call it.
    how
        A key of ``HOW``.
    what
        Where it is found.
    says
        What of it is used.
    """

    label: str
    how: str
    what: str
    says: str


@cache
def read_sources() -> tuple[ReadSource, ...]:
    """Return the register of sources that were read."""
    return tuple(ReadSource(**entry) for entry in tomllib.loads(READ.read_text(encoding="utf-8"))["read"])


def marked_files(home: Path = HOME) -> list[Path]:
    """Return the files of the package and of the documentation that bear marks of sources."""
    found = [home / "README.md", *home.glob("docs/**/*.md")]
    for kind in ("py", "toml"):
        found += home.glob(f"src/**/*.{kind}")
    aside = {home / "src" / "planish" / "web"}
    return sorted(path for path in found if not aside & set(path.parents))


@cache
def _flat(path: Path) -> str:
    """Return the text of a file with the pieces of its strings joined and its lines run on."""
    joined = re.sub(r'"\s*\n\s*"', "", path.read_text(encoding="utf-8"))
    return re.sub(r"\s+(?:#\s+)?", " ", joined)


def memory_marks(home: Path = HOME) -> list[str]:
    """Return the lines with a statement from memory, each with its file."""
    return [
        f"{path.relative_to(home)}: {line.strip()}"
        for path in marked_files(home)
        for line in path.read_text(encoding="utf-8").splitlines()
        if MEMORY in line and not any(other in line for other in _NO_MARK)
    ]


def _reading(home: Path = HOME) -> list[Path]:
    return [*marked_files(home), *sorted(home.glob("tests/truth/**/*.py"))]


def quoted_in(home: Path = HOME) -> dict[str, list[str]]:
    """Return what lines say that they quote, each with the files that say so."""
    found: dict[str, list[str]] = {}
    for path in _reading(home):
        for name in _QUOTED.findall(_flat(path)):
            found.setdefault(re.sub(r"[*`]", "", name).strip().rstrip(","), []).append(
                str(path.relative_to(home))
            )
    return found


def used_sources(home: Path = HOME) -> list[ReadSource]:
    """Return the sources of the register that a line names."""
    texts = [_flat(path) for path in _reading(home)]
    return [one for one in read_sources() if any(one.label in text for text in texts)]


def reading_line() -> str:
    """Return how many sources were read and how many statements are from memory."""
    how = Counter(one.how for one in used_sources())
    return (
        f"{how.total()} distinct sources read ({how['itself']} themselves, {how['abstract']} as abstracts, "
        f"{how['quoting']} that quote or restate the original); "
        f"{len(memory_marks())} statements from memory (were {MEMORY_BEFORE})"
    )


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
        "How to read it. *Read* means that the text was before us; *read as quoted in* another that this other text",
        "states the relation, not that the original was seen. *Derived here* has its derivation in",
        "[the theory](../theory/derivations.md). *From memory* means that the citation was written down without the paper",
        "at hand: look it up before you rely on it. *Common practice* means that the trade does it so and no source was found. *Invented*",
        "means that the value makes a sensible scenario and nothing more. A line without any of these words names its",
        "source or says in plain words what the statement is.",
        "",
        "| standing, by the line's own words | source lines of modules | values of the catalogue |",
        "|---|---:|---:|",
        *_counts((line for _, _, own in groups for line in own), (row.source for row in values)),
        "",
        f"In all, {cell(reading_line())}.",
        "",
        "## Models and methods",
        "",
    ]
    for name, what, own in groups:
        lines += [f"### `{name}`", "", cell(what), "", *[f"- {cell(line)}" for line in own], ""]
    return "\n".join([*lines, *_register()])


def _register() -> list[str]:
    """Return the table of the sources that were read."""
    rows = [
        f"| {cell(one.label)} | {cell(one.what)} | {HOW[one.how]} | {cell(one.says)} |"
        for one in used_sources()
    ]
    head = ["## Sources that were read", "", "| called | where | read | for |", "|---|---|---|---|"]
    return [*head, *rows, ""]


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
