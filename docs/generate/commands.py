"""The reference of the command line: what ``planish VERB --help`` prints, verb by verb."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import typer
from typer.main import get_command

from planish.cli.main import app

WIDTH = 96


START = "import sys; sys.argv[0] = 'planish'; from planish.cli.main import run; run()"


def verbs() -> dict[tuple[str, ...], str]:
    """Return the verbs of the command line, each as its words, with the first line of their help."""
    return dict(_under(get_command(app), ()))


def _under(command: Any, words: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], str]]:
    for name in command.list_commands(typer.Context(command)):
        found = command.commands[name]
        yield (*words, name), (found.help or "").strip().splitlines()[0]
        if hasattr(found, "commands"):
            yield from _under(found, (*words, name))


def help_text(words: Sequence[str]) -> str:
    """Return what ``planish WORDS --help`` prints on a plain terminal."""
    plain = {"COLUMNS": str(WIDTH), "TERMINAL_WIDTH": str(WIDTH), "NO_COLOR": "1", "TERM": "dumb"}
    done = subprocess.run(
        [sys.executable, "-c", START, *words, "--help"],
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
        "Written from `planish VERB --help`. With `--json` a verb prints one JSON document on standard output and",
        "nothing else there. Exit codes are on the page of [errors](../guide/errors.md).",
        "",
        "| verb | what it does |",
        "|---|---|",
        *[f"| [`{' '.join(words)}`](#{'-'.join(words)}) | {what} |" for words, what in known.items()],
        "",
    ]
    for words, text in texts.items():
        lines += [f"## {' '.join(words)}", "", "```text", text, "```", ""]
    return "\n".join(lines)
