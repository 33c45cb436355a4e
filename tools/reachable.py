"""What of the package nobody can reach: neither a public name, nor a command, nor the bench leads to it.

``python tools/reachable.py`` lists it. Names are followed as they are written: calls, imports, attributes of
imported modules, tables of functions, and the functions that are named in text ("module:function", or a worker's
function beside its module). A method counts as reached where its name is written anywhere in the package.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).parents[1]
SRC = ROOT / "src"
#: Where people come in, beside the public names of the package.
#: ``examples/*.py`` come in too: they make the example data and the demo.
VERBS = tuple(
    f"planish.cli.verbs.{path.stem}:" for path in sorted((SRC / "planish/cli/verbs").glob("[!_]*.py"))
)
DOORS = (
    "planish.cli.main:run",
    "planish.cli.main:app",
    "planish.web.app:build",
    "planish:__dir__",
    "planish.__main__:",
    *VERBS,
)

#: What stands although nothing here leads to it, each with its reason.
ALLOWED = {
    "planish._unit_table:PINT_VERSION": "says which pint the table was made with",
    "planish.engine.backend:Backend.to_host": "brings arrays back from a graphics card: benchmarks/bench_contact_gpu.py",
    "planish.engine.backend:Backend.sync": "waits for a graphics card: benchmarks/bench_contact_gpu.py",
    "planish.hold.history.forms": "holds what alembic reads",
    "planish.hold.history.forms.versions.form_1": "alembic reads it",
    "planish.hold.history.forms.versions.form_2": "alembic reads it",
    "planish.measure.layout.read:compile_kernels": "compiles ahead of the tests that bound a reader's memory",
    "planish.measure.layout.gds_write:array_of": "draws the arrays of arrays that tests and benchmarks read back",
    "planish.web.child:Child.alive": "its tests ask whether a worker still runs",
    "planish.web.packing:unpack": "scripts read the bench's answers with it: docs/guide/bench.md",
}
#: Names that are called from outside by what they are: sources by the docs, pictures and tables by a notebook.
PROTOCOL = ("SOURCES", "_repr_html_", "_repr_png_")

Node = tuple[str, str]  # module and name in it; the name "" is what runs when the module is imported


@dataclass
class Module:
    """One file: what it defines at top level, and what its names mean."""

    name: str
    tree: ast.Module
    kinds: dict[str, ast.stmt] = field(default_factory=dict)
    imported: dict[str, set[Node]] = field(
        default_factory=dict
    )  # a name may be imported in several functions


def modules(src: Path = SRC) -> dict[str, Module]:
    """Return every module of the package by its dotted name."""
    found = {}
    for path in sorted((src / "planish").rglob("*.py")):
        parts = path.relative_to(src).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        found[name] = Module(name, ast.parse(path.read_text(encoding="utf-8")))
    for module in found.values():
        for statement in module.tree.body:
            for name in _defined(statement):
                module.kinds[name] = statement
        for inner in ast.walk(module.tree):
            for name, target in _imports(inner, found).items():
                module.imported.setdefault(name, set()).add(target)
    return found


def _defined(statement: ast.stmt) -> list[str]:
    if isinstance(statement, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
        return [statement.name]
    if isinstance(statement, ast.Assign | ast.AnnAssign):
        targets = statement.targets if isinstance(statement, ast.Assign) else [statement.target]
        return [n.id for t in targets for n in ast.walk(t) if isinstance(n, ast.Name)]
    return []


def _imports(node: ast.AST, known: dict[str, Module]) -> dict[str, Node]:
    out: dict[str, Node] = {}
    if isinstance(node, ast.Import):
        for item in node.names:
            if item.name in known:
                out[item.asname or item.name.split(".")[0]] = (item.name if item.asname else "planish", "")
    elif isinstance(node, ast.ImportFrom) and node.module in known:
        for item in node.names:
            whole = f"{node.module}.{item.name}"
            out[item.asname or item.name] = (whole, "") if whole in known else (str(node.module), item.name)
    return out


def _public(found: dict[str, Module]) -> list[Node]:
    """The names that the package gives out."""
    homes = ast.literal_eval(found["planish"].kinds["_HOMES"].value)  # type: ignore[attr-defined]
    return [(f"planish.{home}", name) for home, names in homes.items() for name in names.split()]


def _used_by(files: Iterable[Path], found: dict[str, Module]) -> list[Node]:
    """What scripts outside the package import or name."""
    out: list[Node] = []
    for file in files:
        script = Module(file.stem, ast.parse(file.read_text(encoding="utf-8")))
        for node in ast.walk(script.tree):
            for name, target in _imports(node, found).items():
                script.imported.setdefault(name, set()).add(target)
        for node in ast.walk(script.tree):
            out += _mentioned(node, script, found)
    return out


def reached(found: dict[str, Module], doors: tuple[str, ...] = DOORS) -> set[Node]:
    """Return every node that the doors lead to."""
    start = [tuple(door.split(":")) for door in doors] + _public(found)
    start += _used_by(sorted((ROOT / "examples").glob("*.py")), found)
    todo: list[Node] = [(str(m), str(n)) for m, n in start]
    seen: set[Node] = set()
    named: set[str] = set()  # modules named in text
    texts: set[str] = set()  # other words in text
    while todo or (todo := _by_word(found, named, texts, seen)):
        node = todo.pop()
        if node in seen:
            continue
        seen.add(node)
        module = found[node[0]]
        if node[1] and node[1] not in module.kinds:
            todo += module.imported.get(node[1], ())  # handed on from another module
            continue
        todo += _parents(node[0], found)
        for inner in _body(module, node[1]):
            todo += _mentioned(inner, module, found)
            if isinstance(inner, ast.Constant) and isinstance(inner.value, str):
                _note(inner.value, found, named, texts, todo)
    return seen


def _by_word(found: dict[str, Module], named: set[str], texts: set[str], seen: set[Node]) -> list[Node]:
    """Functions whose module and whose name are both written as text."""
    both = [(home, word) for home in named for word in texts & found[home].kinds.keys()]
    return [node for node in both if node not in seen]


def _parents(name: str, found: dict[str, Module]) -> list[Node]:
    parts = name.split(".")
    return [(".".join(parts[:i]), "") for i in range(1, len(parts) + 1)]


def _body(module: Module, name: str) -> list[ast.AST]:
    """The nodes that run when ``name`` is used; for "" those that run when the module is imported."""
    if name:
        return list(ast.walk(module.kinds[name]))
    out: list[ast.AST] = []
    for statement in module.tree.body:
        if isinstance(statement, ast.FunctionDef | ast.AsyncFunctionDef):
            if any(_registers(d, module) for d in statement.decorator_list):
                out += ast.walk(statement)
        elif not _defined(statement) and not isinstance(statement, ast.Import | ast.ImportFrom):
            out += ast.walk(statement)
    return out


def _registers(decorator: ast.expr, module: Module) -> bool:
    """Whether a decorator hands the function to an object of this module, or of one that it imports (a command to its app)."""
    call = decorator.func if isinstance(decorator, ast.Call) else decorator
    if not (isinstance(call, ast.Attribute) and isinstance(call.value, ast.Name)):
        return False
    return call.value.id in module.kinds or any(name for _, name in module.imported.get(call.value.id, ()))


def _mentioned(node: ast.AST, module: Module, found: dict[str, Module]) -> list[Node]:
    if isinstance(node, ast.Name):
        if node.id in module.kinds:
            return [(module.name, node.id)]
        return list(module.imported.get(node.id, ()))
    if isinstance(node, ast.Attribute):
        return [
            (home, node.attr)
            for home in _modules_of(node.value, module, found)
            if node.attr in found[home].kinds or node.attr in found[home].imported
        ]
    if isinstance(node, ast.ImportFrom) and node.module in found:
        return [(str(node.module), "")]
    return []


def _modules_of(node: ast.expr, module: Module, found: dict[str, Module]) -> set[str]:
    if isinstance(node, ast.Name):
        return {home for home, name in module.imported.get(node.id, ()) if not name}
    if isinstance(node, ast.Attribute):
        return {f"{above}.{node.attr}" for above in _modules_of(node.value, module, found)} & found.keys()
    return set()


def _note(text: str, found: dict[str, Module], named: set[str], texts: set[str], todo: list[Node]) -> None:
    home, _, name = text.partition(":")
    if home in found:
        named.add(home)
        if name in found[home].kinds:
            todo.append((home, name))
    elif text.isidentifier():
        texts.add(text)


def unreached(src: Path = SRC, *, constants: bool = False) -> list[str]:
    """Return modules, functions and classes that no door leads to, and methods that nobody names.

    ``constants`` adds values at top level, some of which only tests have a use for.
    """
    found = modules(src)
    seen = reached(found)
    words = {
        word
        for module in found.values()
        for node in ast.walk(module.tree)
        for word in (
            [node.attr]
            if isinstance(node, ast.Attribute)
            else [node.id]
            if isinstance(node, ast.Name)
            else [node.value]
            if isinstance(node, ast.Constant) and isinstance(node.value, str)
            else []
        )
    }
    given_out = set(_public(found))
    out = []
    for module in found.values():
        if (module.name, "") not in seen:
            out.append(module.name)
            continue
        for name, statement in module.kinds.items():
            if name.startswith("__") or name in PROTOCOL:
                continue
            if (module.name, name) not in seen and not _registered(statement, module):
                if isinstance(statement, ast.Assign | ast.AnnAssign) and not constants:
                    continue
                out.append(f"{module.name}:{name}")
            elif isinstance(statement, ast.ClassDef) and (module.name, name) not in given_out:
                out += [
                    f"{module.name}:{name}.{inner.name}"
                    for inner in statement.body
                    if isinstance(inner, ast.FunctionDef | ast.AsyncFunctionDef)
                    and not inner.name.startswith("__")
                    and inner.name not in words
                    and inner.name not in PROTOCOL
                    and not any(
                        (isinstance(d, ast.Name) and "validator" in d.id) or isinstance(d, ast.Call)
                        for d in inner.decorator_list
                    )
                ]
    return [name for name in out if name not in ALLOWED]


def _registered(statement: ast.stmt, module: Module) -> bool:
    return isinstance(statement, ast.FunctionDef | ast.AsyncFunctionDef) and any(
        _registers(d, module) for d in statement.decorator_list
    )


if __name__ == "__main__":
    sys.stdout.write("".join(f"{line}\n" for line in unreached()))
