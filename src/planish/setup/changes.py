"""Changes as people and programs pass them on: lines ``path=value``, and the changes between two setups.

Changes are one mapping of dotted path (`planish.setup.paths`) to value as it would stand in the file: text with
its unit, a list of such, a bare number or true and false where the file has one; None takes the key out. All that
proposes gives them, `Setup.replace` and the option ``--set`` take them.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from typing import Any, TypeAlias

from planish import units
from planish.errors import SetupError, refuse
from planish.setup.paths import PATH, Key, parse, quoted, show

Changes: TypeAlias = dict[str, Any]


def read_changes(lines: Iterable[str]) -> Changes:
    """Return the changes that lines such as ``recipe.step.main.time=90 s`` say.

    What stands behind the sign is TOML where it can be read as such (``true``, ``0.5``, ``["3 psi", "4 psi"]``,
    ``"text"``), else text as it stands; nothing takes the key out.

    Raises
    ------
    SetupError
        For a line without ``=``, a path that cannot be read, one path given twice.
    """
    changes: Changes = {}
    for line in lines:
        path, value = _split(line)
        if path in changes:
            raise SetupError(f"--set {path}: given twice: must be given once")
        changes[path] = value
    return changes


def _split(line: str) -> tuple[str, Any]:
    found = PATH.match(line)  # a name in quotes may hold the sign
    if found is not None:
        return found[1], _value(line[found.end() :].strip())
    if "=" in line:
        parse(line.partition("=")[0].strip())
    raise SetupError(refuse("--set", line, "path=value", "as --set 'recipe.step.main.time=90 s'"))


def _value(text: str) -> Any:
    if not text:
        return None
    try:
        value = tomllib.loads(f"value = {text}")
    except (tomllib.TOMLDecodeError, RecursionError):
        return text
    held = value["value"]
    # A text that happens to hold a line end or a date is no value of a setup: taken as it stands.
    return held if len(value) == 1 and isinstance(held, str | bool | int | float | list | dict) else text


def change_lines(changes: Mapping[str, Any]) -> list[str]:
    """Return changes as lines ``path=value``; `read_changes` reads them back."""
    return [f"{path}={_text(value)}" for path, value in changes.items()]


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, str) and value == value.strip() and value and _value(value) == value:
        return value
    return toml_value(value)


def quantity_text(value: float, dimension: str) -> str | float:
    """Return an SI value as it would stand in a file, to six digits.

    Parameters
    ----------
    value
        In SI.
    dimension
        One of ``units.dimensions()``, or "number".

    Returns
    -------
    str | float
        Such as ``"4.2 psi"``; a bare number where there is no unit.
    """
    if dimension in ("ratio", "number"):
        return float(f"{value:.6g}")
    unit = units.TRADE_UNITS[dimension]
    return f"{units.in_unit(value, unit, dimension):.6g} {unit}"


def toml_value(value: Any) -> str:
    """Return a value as TOML on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml_value(item) for item in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(key)} = {toml_value(item)}" for key, item in value.items()) + " }"
    return repr(value)


def _key(name: str) -> str:
    return name if name.isascii() and name.replace("-", "_").isidentifier() else quoted(name)


def differences(a: Mapping[str, Any], tree: Mapping[str, Any], b: Mapping[str, Any]) -> Changes:
    """Return the changes that make document ``b`` of document ``a``.

    Parameters
    ----------
    a, tree
        A document as written, and as filled in (for the names).
    b
        The other document as written.
    """
    changes: Changes = {}
    _differ(a, b, (), tree, changes)
    return changes


def _differ(a: Any, b: Any, keys: tuple[Key, ...], tree: Mapping[str, Any], changes: Changes) -> None:
    if type(a) is type(b) and a == b:
        return
    if isinstance(a, Mapping) and isinstance(b, Mapping):
        for key in a:
            if key not in b:
                changes[show((*keys, key), tree)] = None
        for key, value in b.items():
            if key in a:
                _differ(a[key], value, (*keys, key), tree, changes)
            else:
                changes[show((*keys, key), tree)] = value
    elif _tables(a) and _tables(b):
        for index, (one, other) in enumerate(zip(a, b, strict=False)):
            _differ(one, other, (*keys, index), tree, changes)
        for index in range(len(b), len(a)):
            changes[show((*keys, index), tree)] = None
        for index in range(len(a), len(b)):
            changes[show((*keys, index), tree)] = b[index]
    else:
        changes[show(keys, tree)] = b


def _tables(items: Any) -> bool:
    return isinstance(items, list) and bool(items) and all(isinstance(item, Mapping) for item in items)
