"""The guide does what it says: its Python runs, its commands exist or run, its links lead somewhere, each error is shown."""

from __future__ import annotations

import importlib.util
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PAGES = sorted([ROOT / "README.md", *(ROOT / "docs").glob("*.md"), *(ROOT / "docs").glob("*/*.md")])
GENERATED = {"commands", "sources", "laws", "parts", "refusals", "inputs"}

# All pages in one process: what costs time is loading the package, not the examples.
RUN = r"""
import contextlib, doctest, io, json, os, re, shlex, sys, traceback, types, warnings
from pathlib import Path
import typer.testing
from typer.main import get_command
from planish.cli.main import app
from planish.errors import PlanishError

root, pages = Path(sys.argv[1]), json.loads(sys.argv[2])
sys.path.insert(0, str(root / "docs"))
import planish
Path("setup.toml").write_text(planish.new_setup("rotary"), encoding="utf-8")
command = get_command(app)
failures = []


def run_python(page, text):
    sys.modules["page"] = types.ModuleType("page")  # dataclasses look up the module of a class
    names = vars(sys.modules["page"])
    for block in re.findall(r"^```python\n(.*?)^```", text, re.M | re.S):
        if ">>>" in block:
            continue
        try:
            with contextlib.redirect_stdout(io.StringIO()):
                exec(compile(block, page, "exec"), names)
        except Exception:
            failures.append(f"{page}: {traceback.format_exc(limit=-1)}in\n{block}")


def run_commands(page, text):
    runner = typer.testing.CliRunner()
    lines = re.findall(r"^\$ planish (.*)$", text, re.M)
    for line in lines:
        words = shlex.split(line, comments=True)
        if words[0] in ("serve", "people", "lot"):
            continue
        if words[0] == "new":
            words.append("--force")
        result = runner.invoke(app, words)
        if result.exit_code != 0:
            failures.append(f"{page}: planish {line}: exit {result.exit_code}: {result.exception!r}")


def know_commands(page, text):
    for line in re.findall(r"^(?:    |\$ )planish (?!:)(.*)$", text, re.M):
        here = command
        words = shlex.split(line, comments=True)
        while words and hasattr(here, "commands"):
            word = words.pop(0)
            if word not in here.commands:
                failures.append(f"{page}: planish {line}: no verb {word!r}")
                break
            here = here.commands[word]
        options = {o for item in here.params for o in (*item.opts, *item.secondary_opts)} | {"--help", "-h"}
        for word in words:
            if re.match(r"--?[a-zA-Z]", word) and word.split("=")[0] not in options:
                failures.append(f"{page}: planish {line}: no option {word!r}")


from generate.refusals import REFUSALS, kinds
from generate.laws import laws_page
from generate.sources import parts_page, sources_page

for refusal in REFUSALS:
    try:
        line = refusal.text()
        if "\n" in line or len(line) < 20:
            failures.append(f"refusal {refusal.given}: {line!r}")
    except Exception as exc:
        failures.append(f"refusal {refusal.given}: {exc!r}")
shown = {refusal.kind for refusal in REFUSALS}
failures += [f"no refusal shown of {kind.__name__}" for kind in kinds() if kind not in shown]

page = laws_page()
from planish.physics.removal.laws import LAWS
for law in LAWS:
    for word in (f"## {law.name}\n", law.formula, *(f"`{c.name}`" for c in law.coefficients)):
        if word not in page:
            failures.append(f"laws page: {law.name}: {word} is missing")

page = parts_page()
for row in planish.list_parts():
    if f"`{row.key}`" not in page:
        failures.append(f"parts page: {row.part} {row.key} is missing")
if "from memory" not in sources_page():
    failures.append("sources page: shows no source from memory")

from generate.inputs import page_of
from planish.jobs.inputs import inputs_moved
page = page_of(inputs_moved(["ambient", "head.ring.gap", "title"], settings=2).document())
for word in ("## Room and platen\n", "| `head.ring.gap` |", "pad temperature up", "**here: down**", "moves no answer"):
    if word not in page:
        failures.append(f"inputs page: {word} is missing")

warnings.simplefilter("ignore")
for name, runs in pages:
    text = Path(name).read_text(encoding="utf-8")
    where = Path(name).name
    run_python(where, text)
    know_commands(where, text)
    if runs:
        run_commands(where, text)
print("\n".join(failures))
sys.exit(1 if failures else 0)
"""

BUILT = {"add_verb.md", "add_figure.md"}  # test_worked_pages.py runs these in a copy of planish
RUN_COMMANDS = {"README.md", "start.md", "setup.md", "polish.md", "report.md"}


def test_examples_commands_and_refusals(tmp_path):
    (tmp_path / "examples").symlink_to(ROOT / "examples")
    listing = [
        (str(page), page.name in RUN_COMMANDS)
        for page in PAGES
        if page.parent.name != "theory" and page.name not in BUILT
    ]
    done = subprocess.run(
        [sys.executable, "-c", RUN, str(ROOT), json.dumps(listing)],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
        env={**os.environ, "OMP_NUM_THREADS": "1"},
    )
    assert done.returncode == 0, done.stdout[-6000:] + done.stderr[-3000:]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_links_lead_somewhere(page):
    text = re.sub(r"^```.*?^```", "", page.read_text(encoding="utf-8"), flags=re.M | re.S)
    if page == ROOT / "docs" / "index.md":
        text = _maker().present(text, page.parent)
    dead = []
    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        if re.match(r"(https?|mailto):", target):
            continue
        path, _, anchor = target.partition("#")
        file = (page.parent / path).resolve() if path else page
        if file.parent == ROOT / "docs" / "reference" and file.stem in GENERATED:
            continue
        if not file.exists() or (anchor and file.suffix == ".md" and anchor not in _anchors(file)):
            dead.append(target)
    assert not dead


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_page_begins_with_its_title_and_asks_nothing_of_the_network(page):
    text = page.read_text(encoding="utf-8")
    assert re.match(r"# \S", text)
    assert not re.search(r"!\[[^\]]*\]\(https?:", text)
    assert "<script" not in text


def _maker():
    spec = importlib.util.spec_from_file_location("docs_make", ROOT / "docs" / "make.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def _anchors(file):
    titles = re.findall(r"^#+ (.+)$", file.read_text(encoding="utf-8"), re.M)
    return {re.sub(r"[^\w\- ]", "", title.lower()).strip().replace(" ", "-") for title in titles}


def test_the_changelog_begins_with_the_version_that_this_is():
    import planish

    newest = re.search(r"^## \[([\d.]+)\]", (ROOT / "CHANGELOG.md").read_text(encoding="utf-8"), re.M)
    assert newest is not None
    assert newest[1] == planish.__version__
