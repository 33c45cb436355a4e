"""The shells are thin: what runs in one imports jobs, the public names of planish, and the words to print with."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import planish

SRC = Path(planish.__file__).resolve().parents[1]
SHELLS = ("cli", "web")
#: What a shell may import beside its own modules: a module by its name, a package with a dot behind it.
ALLOWED = (
    "planish.jobs.",
    "planish.engine.",
    "planish.explain.words",
    "planish.results.plain",
    "planish.results.units",
    "planish.units",
    "planish.errors",
)
#: Modules that may import more, each with its reason.
MORE = {"planish.cli.serve": ("planish.web.",)}  # it starts the other shell


def beyond(name: str, source: str, src: Path = SRC) -> list[str]:
    """Return what a module of a shell imports at run time beyond the list, with the line of each."""
    shell = ".".join(name.split(".")[:2])
    allowed = (*ALLOWED, f"{shell}.", *MORE.get(name, ()))
    return [
        f"{name}, line {node.lineno}: {module}"
        for node in _at_run_time(ast.parse(source))
        for module in _imported(node, name, src)
        if not any(
            module == each or (each.endswith(".") and f"{module}.".startswith(each)) for each in allowed
        )
    ]


def _at_run_time(node: ast.AST) -> Iterator[ast.AST]:
    """Yield all nodes but those that only a type checker reads."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.If) and ast.unparse(child.test).endswith("TYPE_CHECKING"):
            for other in child.orelse:
                yield other
                yield from _at_run_time(other)
        else:
            yield child
            yield from _at_run_time(child)


def _imported(node: ast.AST, name: str, src: Path) -> Iterator[str]:
    """Yield the modules of planish that a node loads; public names of planish are free."""
    if isinstance(node, ast.Import):
        yield from (item.name for item in node.names if item.name.startswith("planish."))
    elif isinstance(node, ast.ImportFrom):
        above = name.split(".")[: -node.level] if node.level else []
        home = ".".join([*above, *([node.module] if node.module else [])])
        if home == "planish":
            yield from (f"planish.{item.name}" for item in node.names if item.name not in planish.__all__)
        elif home.startswith("planish."):
            for item in node.names:
                whole = f"{home}.{item.name}"
                yield whole if _is_module(whole, src) else home
    elif isinstance(node, ast.Constant) and isinstance(node.value, str):
        module = node.value.partition(":")[0]  # of "module:function", or what import_module is given
        if module.startswith("planish.") and _is_module(module, src):
            yield module


def _is_module(name: str, src: Path) -> bool:
    place = src.joinpath(*name.split("."))
    return place.is_dir() or place.with_name(f"{place.name}.py").exists()


def modules(shell: str) -> list[Path]:
    return sorted((SRC / "planish" / shell).rglob("*.py"))


@pytest.mark.parametrize("shell", SHELLS)
def test_a_shell_asks_by_one_function_a_question(shell):
    found = [
        line
        for path in modules(shell)
        for line in beyond(
            ".".join(path.relative_to(SRC).with_suffix("").parts), path.read_text(encoding="utf-8")
        )
    ]
    assert modules(shell)
    assert not found, "take a job or a public name of planish instead:\n" + "\n".join(found)


@pytest.mark.parametrize(
    "line",
    [
        "import planish.predict.wafer.polish",
        "from planish.predict.wafer.polish import polish",
        "from planish.predict import wafer",
        "from planish import setup",
        "from ..fit import against",
        "from planish.explain.report import write_report",
        "from planish.explain import words, report",
        "from planish.web.app import build",
        "def late():\n    from planish.setup.load import load",
        "if TYPE_CHECKING:\n    pass\nelse:\n    from planish.setup.load import load",
        "import_module('planish.setup.load')",
    ],
)
def test_what_reaches_past_the_jobs_is_found(line):
    assert len(beyond("planish.cli.verb", line)) == 1


@pytest.mark.parametrize(
    "line",
    [
        "from planish import polish, compare",
        "import planish",
        "from planish.cli import show",
        "from . import show",
        "from planish.jobs import dies",
        "from planish.jobs.dies import DieAsked",
        "from planish.engine.files import write_whole",
        "from planish.explain.words import label",
        "from planish.explain import words",
        "if TYPE_CHECKING:\n    from planish.setup.models import Setup",
        "print('planish bench', 'planish.who', 'planish.setup is described')",
    ],
)
def test_what_a_shell_may_is_let_be(line):
    assert beyond("planish.cli.verb", line) == []
