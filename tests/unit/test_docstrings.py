"""Docstrings of public functions name what goes in: in numpydoc's sections, each argument once, none that is not there."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

import pytest

SOURCE = Path(__file__).resolve().parents[2] / "src" / "planish"
LEFT_OUT = ("cli", "web")  # commands speak by their help, the page's server by its schemas
# Modules that still lack sections: they are about to change.
NOT_YET = ("physics.removal.factors", "physics.removal.laws", "physics.removal.two_step")
ROOMS = sorted(
    {path.relative_to(SOURCE).parts[0].removesuffix(".py") for path in SOURCE.rglob("*.py")} - {*LEFT_OUT}
)
SECTIONS = (
    "Parameters",
    "Attributes",
    "Returns",
    "Yields",
    "Raises",
    "See Also",
    "Notes",
    "References",
    "Examples",
)

Function = ast.FunctionDef | ast.AsyncFunctionDef


@cache
def modules():
    found = {}
    for path in sorted(SOURCE.rglob("*.py")):
        place = path.relative_to(SOURCE)
        if place.parts[0] not in LEFT_OUT:
            found[".".join(place.with_suffix("").parts)] = ast.parse(path.read_text(encoding="utf-8"))
    return found


def public_functions(body, before=""):
    """Functions of a module and methods of its public classes; what is inside a function is nobody's to call."""
    for node in body:
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            yield from public_functions(node.body, f"{before}{node.name}.")
        elif isinstance(node, Function) and not node.name.startswith("_"):
            yield f"{before}{node.name}", node


def arguments(node):
    taken = node.args
    plain = [one.arg for one in (*taken.posonlyargs, *taken.args, *taken.kwonlyargs)]
    names = [name for name in plain if name not in ("self", "cls")]
    names += [f"*{taken.vararg.arg}"] if taken.vararg else []
    return names + ([f"**{taken.kwarg.arg}"] if taken.kwarg else [])


def sections(docstring):
    """Section -> its lines."""
    lines, found, name = docstring.split("\n"), {}, None
    for at, line in enumerate(lines):
        if line in SECTIONS and lines[at + 1 : at + 2] == ["-" * len(line)]:
            name = line
            found[name] = []
        elif name and not re.fullmatch("-+", line):
            found[name].append(line)
    return found


def named(lines):
    """Names at the head of a section's entries: ``name``, ``one, other`` or ``name : kind``."""
    heads = [line.partition(":")[0] for line in lines if line and not line.startswith(" ")]
    return [name.strip() for head in heads for name in head.split(",")]


@cache
def everything():
    return [
        (f"{module}:{name}", node)
        for module, tree in modules().items()
        for name, node in public_functions(tree.body)
    ]


def is_choice(node):
    """Whether the function is one of several signatures, or gives a property its value."""
    marks = [ast.unparse(mark) for mark in node.decorator_list]
    return any(mark == "overload" or mark.endswith(".setter") for mark in marks)


def test_functions_are_found_and_defined_once():
    names = [place for place, node in everything() if not is_choice(node)]
    assert len(names) > 400
    twice = {name for name in names if names.count(name) > 1}
    assert not twice


@pytest.mark.parametrize("package", ROOMS)
def test_two_arguments_or_more_have_a_section(package):
    lacking = []
    for place, node in everything():
        if not re.match(rf"{re.escape(package)}[.:]", place) or place.partition(":")[0] in NOT_YET:
            continue
        if not is_choice(node) and len(arguments(node)) > 1:
            found = sections(ast.get_docstring(node) or "")
            missing = set(arguments(node)) - set(named(found.get("Parameters", ())))
            if missing:
                lacking.append(f"{place}: {', '.join(sorted(missing))}")
    assert not lacking


def test_sections_name_arguments_that_exist_and_each_once():
    wrong = []
    for place, node in everything():
        names = named(sections(ast.get_docstring(node) or "").get("Parameters", ()))
        unknown = [name for name in names if name not in arguments(node)]
        twice = {name for name in names if names.count(name) > 1}
        wrong += [f"{place}: no argument {name!r}" for name in unknown]
        wrong += [f"{place}: {name!r} stands twice" for name in twice]
    assert not wrong


@pytest.mark.parametrize("package", ROOMS)
def test_raises_hold_one_error_a_line(package):
    heads = [
        (place, line)
        for place, node in everything()
        if re.match(rf"{re.escape(package)}[.:]", place)
        for line in sections(ast.get_docstring(node) or "").get("Raises", ())
        if line and not line.startswith(" ")
    ]
    assert not [head for head in heads if not re.fullmatch(r"[A-Z]\w+", head[1])]


@pytest.mark.parametrize("text", ["Parameters\n----------\none\n    First.\nother, third\n    More."])
def test_reading_of_a_section(text):
    assert named(sections(f"Do it.\n\n{text}\n\nReturns\n-------\nint\n    It.")["Parameters"]) == [
        "one",
        "other",
        "third",
    ]
