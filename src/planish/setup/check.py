"""Everything there is to say about a setup file: errors, warnings, unlikely values, notes."""

from __future__ import annotations

import os
from pathlib import Path

from planish.errors import SetupError
from planish.setup.finding import Finding
from planish.setup.given import as_path
from planish.setup.load import read_document
from planish.setup.models import examine


def check(path: str | os.PathLike[str]) -> list[Finding]:
    """Return all findings about a setup file, errors first; none of level "error" means it can be used.

    A file that cannot be read or is no TOML gives one error; nothing is raised, but for what is no path at all.
    """
    file = Path(as_path(path, "setup file"))
    try:
        document = read_document(file)
    except SetupError as error:
        return [Finding("error", "", str(error))]
    found, _, _ = examine(document, file.resolve().parent)
    order = {"error": 0, "warning": 1, "unlikely": 2, "note": 3}
    return sorted(found, key=lambda finding: order[finding.level])
