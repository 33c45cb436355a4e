"""No file of the package imports itself by way of others: at its top, inside a function, or for its types alone."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise
from pathlib import Path

import pytest

import planish

SRC = Path(planish.__file__).resolve().parents[1]


def arrows(src: Path) -> dict[str, set[str]]:
    """Return which files each file of ``src/planish`` imports from, all as paths from ``src``."""
    files = {_dotted(path.relative_to(src)): path for path in sorted((src / "planish").rglob("*.py"))}
    return {
        path.relative_to(src).as_posix(): {
            files[target].relative_to(src).as_posix()
            for node in _read(ast.parse(path.read_text(encoding="utf-8")), lazily_public=name == "planish")
            for target in _imported(node, _package(name, path), files)
        }
        for name, path in files.items()
    }


def circle(graph: dict[str, set[str]]) -> list[str]:
    """Return the files of a circle, each importing the next and the last the first again; none where there is none."""
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as found:
        return list(reversed(found.args[1]))
    return []


def _dotted(path: Path) -> str:
    return ".".join(path.parent.parts if path.name == "__init__.py" else path.with_suffix("").parts)


def _package(name: str, path: Path) -> str:
    return name if path.name == "__init__.py" else name.rpartition(".")[0]


def _read(tree: ast.Module, lazily_public: bool) -> Iterator[ast.AST]:
    """Yield the nodes of a file; what the package says for type checkers of its lazy public names is no import."""
    for statement in tree.body:
        typed = isinstance(statement, ast.If) and ast.unparse(statement.test) == "TYPE_CHECKING"
        if not (lazily_public and typed):
            yield from ast.walk(statement)


def _imported(node: ast.AST, package: str, files: dict[str, Path]) -> Iterator[str]:
    """Yield the modules that one statement imports: the module of that name, else the one that holds the name."""
    if isinstance(node, ast.Import):
        yield from (item.name for item in node.names if item.name in files)
    elif isinstance(node, ast.ImportFrom):
        home = node.module or ""
        if node.level:  # relative: one dot is the package itself
            above = package.split(".")[: len(package.split(".")) - node.level + 1]
            home = ".".join([*above, home] if home else above)
        for item in node.names:
            if f"{home}.{item.name}" in files:
                yield f"{home}.{item.name}"
            elif home in files:
                yield home


def test_no_file_imports_itself_by_way_of_others():
    graph = arrows(SRC)
    assert "planish/setup/si.py" in graph["planish/setup/to_si.py"]
    found = circle(graph)
    assert not found, f"{' -> '.join(found)}: move what both ends need into a file below them"


@pytest.mark.parametrize(
    "back",
    [
        "from planish.a.top import told\n",
        "from planish.a import top\n",
        "from . import top\n",
        "from .top import told\n",
        "import planish.a.top\n",
        "def late():\n    from planish.a.top import told\n",
        "from typing import TYPE_CHECKING\n\nif TYPE_CHECKING:\n    from planish.a.top import told\n",
    ],
)
def test_a_circle_is_found_and_its_files_named(tmp_path, back):
    _made(tmp_path, back)
    files = ["planish/a/low.py", "planish/a/top.py", "planish/b.py"]
    graph = arrows(tmp_path)
    found = circle(graph)
    assert sorted(set(found)) == files
    assert found[0] == found[-1]
    assert all(after in graph[before] for before, after in pairwise(found))


def test_no_circle_is_found_where_there_is_none(tmp_path):
    _made(tmp_path, "import json\n")
    graph = arrows(tmp_path)
    assert graph["planish/a/top.py"] == {"planish/b.py"}
    assert graph["planish/b.py"] == {"planish/__init__.py", "planish/a/low.py"}
    assert circle(graph) == []


def _made(src: Path, back: str) -> None:
    """Write a package: top imports b, b imports low and a name of the package, low what is asked for."""
    for name, text in {
        "__init__": "from typing import TYPE_CHECKING\n\nif TYPE_CHECKING:\n    from planish.a.top import told\n",
        "a/__init__": "",
        "a/top": "from planish.b import told\n",
        "b": "from planish import __version__\nfrom planish.a import low\n\ntold = low.told\n",
        "a/low": back,
    }.items():
        file = src / "planish" / f"{name}.py"
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text, encoding="utf-8")
