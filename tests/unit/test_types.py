"""The types that a user of planish sees: a strict type checker knows every public name."""

from __future__ import annotations

import re
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest

import planish

HERE = Path(__file__).parent
USER = HERE / "user_types.py"
SOURCE = Path(planish.__file__).parents[1]

# What stands for the number of an array's dimensions in NumPy's own types, and for what a table of
# figures holds (numbers, texts, lists), is Any by nature.
BY_NATURE = ("tuple[Any, ...]", "dict[str, Any]")


@pytest.fixture(scope="module")
def check(tmp_path_factory):
    """Return a function that runs the type checker as a user's strict run over a file would be."""
    folder = tmp_path_factory.mktemp("types")
    # Messages about planish's own files are not shown, as they are not of an installed package.
    (folder / "mypy.ini").write_text(
        f"[mypy]\nstrict = true\nmypy_path = {SOURCE}\n[mypy-planish.*]\nfollow_imports = silent\n",
        encoding="utf-8",
    )

    def run(path: Path) -> str:
        command = [
            sys.executable,
            "-m",
            "mypy",
            "--config-file",
            folder / "mypy.ini",
            "--cache-dir",
            folder / "cache",
        ]
        done = subprocess.run(
            [*map(str, command), str(path)], capture_output=True, text=True, cwd=folder, check=False
        )
        return done.stdout + done.stderr

    return run


def test_a_users_file_has_the_types_it_says(check):
    out = check(USER)
    assert "Success: no issues found in 1 source file" in out, out


def test_no_public_name_is_of_any_type(check, tmp_path):
    names = planish.__all__
    asked = tmp_path / "asked.py"
    asked.write_text(
        "import planish\n" + "".join(f"reveal_type(planish.{name})\n" for name in names), encoding="utf-8"
    )
    found = re.findall(r'asked\.py:\d+: note: Revealed type is "(.*)"', check(asked))
    assert len(found) == len(names)
    for name, revealed in zip(names, found, strict=True):
        for part in BY_NATURE:
            revealed = revealed.replace(part, "")
        assert not re.search(r"\bAny\b", revealed), f"{name}: {revealed}"


def test_a_name_that_planish_does_not_have_is_an_error(check, tmp_path):
    asked = tmp_path / "asked.py"
    asked.write_text("import planish\nplanish.polishh\n", encoding="utf-8")
    assert 'Module has no attribute "polishh"' in check(asked)


def test_the_users_file_uses_every_public_name():
    text = USER.read_text(encoding="utf-8")
    assert [name for name in planish.__all__ if not re.search(rf"\b{name}\b", text)] == []


def test_every_public_name_can_be_loaded():
    for name in planish.__all__:
        assert getattr(planish, name) is not None
    assert set(dir(planish)) == set(planish.__all__)


def test_the_package_says_that_it_is_typed():
    """The marker that type checkers look for in an installed package (PEP 561); the wheel takes all of the folder."""
    assert (files("planish") / "py.typed").is_file()
