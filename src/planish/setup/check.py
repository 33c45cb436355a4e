"""Everything there is to say about a setup file: errors, warnings, unlikely values, notes."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from planish.errors import PlanishError, SetupError
from planish.setup.edit import edited
from planish.setup.fields import descriptive_keys
from planish.setup.finding import Finding
from planish.setup.load import as_path, parse_document, read_text
from planish.setup.models import Setup, examine
from planish.setup.quantity import MOVES_NOTHING
from planish.setup.resolve import OLDEST_SCHEMA, SCHEMA, resolve


def check(path: Setup | str | os.PathLike[str], changes: Mapping[str, object] | None = None) -> list[Finding]:
    """Return all findings about a setup, errors first; none of level "error" means it can be used.

    A file that cannot be read or is no TOML gives one error; nothing is raised, but for what is no path at all.

    Parameters
    ----------
    path
        The file, or a setup as loaded.
    changes
        Changes to check it with, as `planish.setup.models.Setup.replace` takes them.
    """
    if isinstance(path, Setup):
        document, name, folder = path.document, path.name, path.folder
    else:
        file = Path(as_path(path, "setup file"))
        try:
            document = parse_document(read_text(file), file.name)
        except SetupError as error:
            return [Finding("error", "", str(error))]
        name, folder = file.name, file.resolve().parent
    given = "schema" in document
    if changes:
        try:
            document = edited(document, resolve(document).tree, changes)
        except PlanishError as error:
            return [Finding("error", "", f"{name}: {error}")]
    found, resolved, _ = examine(document, folder)
    if not given:
        text = f"schema not given: taken as {OLDEST_SCHEMA}, the oldest (write schema = {SCHEMA} above all tables)"
        found.append(Finding("note", "schema", text))
    found += [
        Finding("note", path, f"{path}: {MOVES_NOTHING}")
        for path in descriptive_keys(resolved.tree)
        if path in resolved.origins and resolved.origins[path].origin == "setup"
    ]
    order = {"error": 0, "warning": 1, "unlikely": 2, "note": 3}
    return sorted(found, key=lambda finding: order[finding.level])
