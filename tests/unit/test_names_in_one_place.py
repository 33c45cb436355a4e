"""A record's name stands in its own file and in at most two others of the source, docs and catalogue apart.

A row says what the names are of, the names, the files of the records, and files in which a word means
something else (each with what it means there).
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from planish.physics.removal.laws import OWN

SRC = Path(__file__).resolve().parents[2] / "src" / "planish"
MOST = 2
READ = {".py", ".js", ".html"}

ROWS = [
    pytest.param(
        [law.name for law in OWN],
        [f"physics/removal/{law.name.replace('-', '_')}.py" for law in OWN],
        {
            "power": {
                "units.py": "a dimension",
                "_unit_table.py": "a dimension",
                "physics/removal/factors.py": "a parameter",
            },
            "offset": {
                "jobs/settings.py": "of a unit's scale",
                "explain/figures/study.py": "of a unit's scale",
                "tuning/study/design.py": "of a unit's scale",
            },
        },
        id="laws",
    ),
]


def knowing(name: str) -> set[str]:
    """Return the source files that hold a name in quotes."""
    quoted = re.compile(rf"""(["'`]){re.escape(name)}\1""")
    return {
        path.relative_to(SRC).as_posix()
        for path in SRC.rglob("*")
        if path.suffix in READ and quoted.search(path.read_text(encoding="utf-8"))
    }


@pytest.mark.parametrize(("names", "records", "elsewhere"), ROWS)
def test_few_files_know_a_name(names, records, elsewhere):
    for name in names:
        found = knowing(name)
        assert found & set(records), f"{name} stands in no record"
        others = found - set(records) - set(elsewhere.get(name, ()))
        assert len(others) <= MOST, f"{name}: {sorted(others)}"
        # No file is excused that does not hold the word, or that branches on other names of the kind as well.
        assert set(elsewhere.get(name, ())) <= found, f"{name}: {sorted(set(elsewhere[name]) - found)}"
    excused = {file for files in elsewhere.values() for file in files}
    for file in excused:
        assert sum(file in knowing(name) for name in names) == 1, f"{file} knows more than one of {names}"
