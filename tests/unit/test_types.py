"""The types that a user of planish sees: a strict type checker knows every public name."""

from __future__ import annotations

import inspect
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
# What stands in a setup file under a path is whatever the file holds there.
OPEN = {"Setup.document.return", "Setup.tree.return", "Setup.get.return", "Setup.si.return"}
BY_NATURE = (
    "tuple[Any, ...]",
    "dict[str, Any]",
    "numpy.dtype[Any]",
)  # the last: what NumPy itself calls an ArrayLike


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


def signatures():
    """Yield "name: annotation" of every parameter and return value of every public function and method."""
    for name in planish.__all__:
        public = getattr(planish, name)
        if inspect.isfunction(public):
            yield from ((f"{name}.{at}", kind) for at, kind in public.__annotations__.items())
        if not inspect.isclass(public):
            continue
        for home in (kind for kind in public.__mro__ if kind.__module__.startswith("planish")):
            yield from (
                (f"{name}.{at}", kind)
                for at, kind in inspect.get_annotations(home).items()
                if not at.startswith("_")
            )
            for member, value in vars(home).items():
                value = getattr(value, "fget", None) or getattr(value, "func", None) or value
                function = getattr(value, "__func__", value)
                if inspect.isfunction(function) and not (member.startswith("_") and member != "__getitem__"):
                    yield from (
                        (f"{name}.{member}.{at}", kind) for at, kind in function.__annotations__.items()
                    )


def test_no_public_signature_holds_any():
    told = list(signatures())
    assert len(told) > 200
    assert {"WaferResult.summary.return", "polish.setup", "LotResult.seed"} <= {where for where, _ in told}
    loose = {where for where, kind in told if re.search(r"\bAny\b", str(kind))}
    assert loose == OPEN


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
