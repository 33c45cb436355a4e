"""The reference of the command line: what ``planish VERB --help`` prints, verb by verb."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import typer
from typer.main import get_command

from planish.cli.main import app

WIDTH = 96
PLAIN = {"COLUMNS": str(WIDTH), "TERMINAL_WIDTH": str(WIDTH), "NO_COLOR": "1", "TERM": "dumb"}

# In a process of its own, since the width and the colours are read as the package is loaded; all verbs in one.
PRINT = r"""
import contextlib, io, json, sys
from planish.cli.main import run

texts = []
for words in json.load(sys.stdin):
    sys.argv = ["planish", *words, "--help"]
    with contextlib.redirect_stdout(io.StringIO()) as told, contextlib.suppress(SystemExit):
        run()
    texts.append(told.getvalue())
json.dump(texts, sys.stdout)
"""


def verbs() -> dict[tuple[str, ...], str]:
    """Return the verbs of the command line, each as its words, with the first line of their help."""
    return dict(_under(get_command(app), ()))


def _under(command: Any, words: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], str]]:
    for name in command.list_commands(typer.Context(command)):
        found = command.commands[name]
        yield (*words, name), (found.help or "").strip().splitlines()[0]
        if hasattr(found, "commands"):
            yield from _under(found, (*words, name))


def help_texts(known: Iterable[Sequence[str]]) -> list[str]:
    """Return what ``planish WORDS --help`` prints on a plain terminal, of each verb."""
    done = subprocess.run(
        [sys.executable, "-c", PRINT],
        input=json.dumps(list(known)),
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, **PLAIN},
    )
    return [
        "\n".join(line.rstrip() for line in text.strip("\n").splitlines()) for text in json.loads(done.stdout)
    ]


def commands_page() -> str:
    """Return the page of all verbs."""
    known = verbs()
    texts = dict(zip(known, help_texts(known), strict=True))
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
