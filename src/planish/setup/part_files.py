"""Reading a part file that planish did not bring: everything in it is checked before any of it is used."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from planish.errors import SetupError, refuse
from planish.setup.checks.coefficients import check_coefficients
from planish.setup.finding import Finding, nearest
from planish.setup.part_folders import LARGEST, PartFile
from planish.setup.removal import REFERENCE, RemovalSection
from planish.setup.spread import parted, step_of
from planish.setup.validate import validate_part

VALUE_KEYS = ("value", "source", "spread")


def read_tables(file: PartFile) -> dict[str, dict[str, Any]]:
    """Return the tables of a part file, one a part, as the shipped ones are written.

    Raises
    ------
    SetupError
        For a file that cannot be read, or that is not written as a part file: file, part, key and remedy.
    """
    path = file.path
    if file.stamp[1] > LARGEST:
        raise SetupError(f"{path}: {file.stamp[1]} bytes: must be at most {LARGEST} (is it a part file?)")
    try:
        tables = tomllib.loads(path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n"))
    except OSError as problem:
        raise SetupError(f"{path}: cannot be read: {problem.strerror}") from problem
    except (ValueError, RecursionError) as problem:
        reason = "nested too deeply" if isinstance(problem, RecursionError) else str(problem)
        raise SetupError(f"{path}: is not TOML in UTF-8: {reason}") from problem
    for name, table in tables.items():
        _check_table(f"{path}: {name}", name, table)
    return tables


def _check_table(place: str, name: str, table: Any) -> None:
    if not name.strip() or len(name) > 80 or not name.isprintable():
        raise SetupError(refuse(f"{place}: name of a part", name, "1 to 80 characters on one line"))
    if not isinstance(table, dict):
        raise SetupError(refuse(place, table, "a table a part", f"written [{name}]"))
    if not isinstance(table.get("summary"), str) or not table["summary"].strip():
        raise SetupError(
            refuse(f"{place}.summary", table.get("summary"), "one line of text: what the part is")
        )
    for key, entry in table.items():
        if key == "summary":
            continue
        at = f"{place}.{key}"
        if not isinstance(entry, dict) or "value" not in entry:
            raise SetupError(
                refuse(
                    at,
                    entry,
                    'written { value = ..., source = "..." }',
                    f'a key with dots in quotes: "{key}.x"',
                )
            )
        for word in entry:
            if word not in VALUE_KEYS:
                raise SetupError(f"{at}.{word}: unknown key ({nearest(word, VALUE_KEYS)})")
        for word in ("source", "spread"):
            said = entry.get(word, "")
            if not isinstance(said, str) or (word == "source" and not said.strip()):
                allowed = (
                    "text that says where the value is from" if word == "source" else "text such as '20 %'"
                )
                raise SetupError(refuse(f"{at}.{word}", entry.get(word), allowed, "'invented' is one too"))
        if entry.get("spread"):
            _check_spread(at, entry)


def _check_spread(at: str, entry: dict[str, Any]) -> None:
    """Refuse a spread that no value can be moved by, or one of a value that is no number."""
    try:
        parted(entry["value"])
    except (TypeError, ValueError):
        words = "nothing: only a number, or a number with a unit, has a spread"
        raise SetupError(refuse(f"{at}.spread", entry["spread"], words, "leave it out")) from None
    try:
        step_of(entry["value"], entry["spread"])
    except SetupError as error:
        raise SetupError(f"{at}.{error}") from None


def check_part(path: Path, kind: str, name: str, tree: dict[str, Any]) -> None:
    """Refuse a part whose values no setup could use.

    Parameters
    ----------
    path
        Of the file.
    kind, name
        Of the part.
    tree
        Its values as nested tables.

    Raises
    ------
    SetupError
        With the file, the part, the key, its value and what is allowed.
    """
    for finding in _faults(kind, name, tree):
        raise SetupError(f"{path}: {name}: {finding.message}")


def _faults(kind: str, name: str, tree: dict[str, Any]) -> Iterator[Finding]:
    if kind == "film":
        document: dict[str, Any] = {"removal": {name: tree}}
    else:
        own = {key: None if value == "none" else value for key, value in tree.items() if key != "removal"}
        document = {kind: own, **({"removal": tree["removal"]} if "removal" in tree else {})}
    removal = document.get("removal", {})
    for table in removal.values() if isinstance(removal, dict) else ():
        if isinstance(table, dict) and isinstance(table.setdefault("reference", {}), dict):
            _fill(table["reference"])
    yield from (f for f in validate_part(document) if f.place != "wafer.film")
    for material, table in removal.items() if isinstance(removal, dict) else ():
        try:
            section = RemovalSection.model_validate(table)
        except ValidationError:
            continue  # said above
        yield from check_coefficients(f"removal.{material}", section, table)


def _fill(reference: dict[str, Any]) -> None:
    """Put the default reference in, as a setup does with what a part leaves out."""
    for key, (value, _) in REFERENCE.items():
        if key not in reference and not (key == "pad" and "real_pressure" in reference):
            reference[key] = value
