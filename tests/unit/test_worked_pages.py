"""The pages on adding a verb and a figure: their blocks, put into a copy of planish, work."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import planish

ROOT = Path(__file__).resolve().parents[2]
PAGES = [ROOT / "docs" / "guide" / name for name in ("add_verb.md", "add_figure.md")]
BLOCK = re.compile(r"^`([\w./]+)`(?:, (at the end|above `([^`]+)`))?:\n\n```python\n(.*?)^```", re.M | re.S)
PYTHON = re.compile(r"^```python\n", re.M)


@pytest.fixture(scope="module")
def built(tmp_path_factory) -> Path:
    """A copy of planish with what the pages say."""
    copy = tmp_path_factory.mktemp("copy")
    shutil.copytree(ROOT / "src", copy / "src", ignore=shutil.ignore_patterns("__pycache__"))
    for page in PAGES:
        text = page.read_text(encoding="utf-8")
        blocks = BLOCK.findall(text)
        assert len(blocks) == len(PYTHON.findall(text)), f"{page.name}: a block says no file"
        for name, where, anchor, code in blocks:
            place = copy / name
            place.parent.mkdir(parents=True, exist_ok=True)
            if not where:
                assert not place.exists(), f"{page.name}: {name} is there already"
                place.write_text(code, encoding="utf-8")
                continue
            before = place.read_text(encoding="utf-8")
            if anchor:
                assert before.count(f"\n{anchor}\n") == 1, f"{page.name}: {anchor} stands in {name} once"
            apart = "\n\n" if code.startswith(("@", "def ", "class ")) else ""
            after = (
                before.replace(f"\n{anchor}\n", f"\n{code}\n\n{anchor}\n")
                if anchor
                else before + apart + code
            )
            place.write_text(after, encoding="utf-8")
    return copy


def run(built: Path, *words: str, cwd: Path) -> str:
    env = {**os.environ, "PYTHONPATH": str(built / "src"), "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(
        [sys.executable, *words], cwd=cwd, env=env, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]
    return done.stdout


def test_the_tests_of_the_pages_pass(built):
    told = run(built, "-m", "pytest", "-q", "-p", "no:cacheprovider", "tests", cwd=built)
    count = sum(page.read_text(encoding="utf-8").count("\ndef test_") for page in PAGES)
    assert f"{count} passed" in told


def test_the_commands_of_the_pages_run(built, tmp_path):
    (tmp_path / "setup.toml").write_text(planish.new_setup("rotary"), encoding="utf-8")
    lines = [
        line for page in PAGES for line in re.findall(r"^\$ planish (.*)$", page.read_text("utf-8"), re.M)
    ]
    assert lines
    for line in lines:
        assert "time" in run(built, "-m", "planish.cli.main", *shlex.split(line), cwd=tmp_path)


def test_what_they_add_is_as_the_rest(built):
    """Nothing out of reach, imports run downwards, and the rules of the linter are kept."""
    reach = "import sys; sys.argv = ['reachable']; import runpy; from pathlib import Path\n"
    reach += f"tool = runpy.run_path({str(ROOT / 'tools' / 'reachable.py')!r})\n"
    reach += f"print(tool['unreached'](Path({str(built / 'src')!r})))"
    assert run(built, "-c", reach, cwd=built).strip() == "[]"
    layers = "import sys; from importlinter.cli import lint_imports\n"
    layers += f"sys.exit(lint_imports({str(ROOT / 'pyproject.toml')!r}, no_cache=True))"
    assert "0 broken" in run(built, "-c", layers, cwd=built)
    settings = ["--config", str(ROOT / "pyproject.toml"), "--no-cache"]
    run(built, "-m", "ruff", "check", *settings, "src", "tests", cwd=built)
    run(built, "-m", "ruff", "format", "--check", *settings, "src", "tests", cwd=built)
