"""The reference of the command line: what ``planish VERB --help`` prints, verb by verb."""

from __future__ import annotations

import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import typer
from typer.main import get_command

from planish.cli.main import app

WIDTH = 96


def verbs() -> dict[str, str]:
    """Return the verbs of the command line with the first line of their help."""
    command = get_command(app)
    found = command.list_commands(typer.Context(command))  # type: ignore[attr-defined]
    return {name: (command.commands[name].help or "").strip() for name in found}  # type: ignore[attr-defined]


def help_text(*words: str) -> str:
    """Return what ``planish *words --help`` prints on a plain terminal."""
    plain = {"COLUMNS": str(WIDTH), "TERMINAL_WIDTH": str(WIDTH), "NO_COLOR": "1", "TERM": "dumb"}
    done = subprocess.run(
        [sys.executable, "-m", "planish.cli.main", *words, "--help"],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, **plain},
    )
    return "\n".join(line.rstrip() for line in done.stdout.strip("\n").splitlines())


def commands_page() -> str:
    """Return the page of all verbs."""
    known = verbs()
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        texts = dict(zip(known, pool.map(help_text, known), strict=True))
    lines = [
        "# Commands",
        "",
        "Written from `planish VERB --help`. Every verb that computes takes `--json`: one JSON document on standard",
        "output and nothing else there. Exit codes are on the page of [errors](../guide/errors.md).",
        "",
        "| verb | what it does |",
        "|---|---|",
        *[f"| [`{name}`](#{name}) | {words} |" for name, words in known.items()],
        "",
    ]
    for name, text in texts.items():
        lines += [f"## {name}", "", "```text", text, "```", ""]
    return "\n".join(lines)
