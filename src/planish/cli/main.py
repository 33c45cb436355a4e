"""The ``planish`` command: one verb a job, each a thin call into the package.

Nothing heavier than typer is imported here; every verb imports what it needs when it runs.
"""

from __future__ import annotations

import io
import os
import sys
from typing import Any, NoReturn

import typer

from planish.cli.app import app

# In the order in which --help lists them.
from planish.cli.verbs import describing as describing  # isort: skip
from planish.cli.verbs import predicting as predicting  # isort: skip
from planish.cli.verbs import trying as trying  # isort: skip
from planish.cli.verbs import measured as measured  # isort: skip
from planish.cli.verbs import stopping as stopping  # isort: skip
from planish.cli.verbs import holding as holding  # isort: skip
from planish.cli.verbs import controlling as controlling  # isort: skip
from planish.cli.verbs import qualifying as qualifying  # isort: skip
from planish.cli.verbs import keeping as keeping  # isort: skip
from planish.cli.verbs import asking as asking  # isort: skip
from planish.cli.verbs import telling as telling  # isort: skip
from planish.cli.verbs import hosting as hosting  # isort: skip
from planish.errors import PlanishError


def _speak() -> None:
    """Let a terminal or pipe that cannot spell a sign (σ, °, µ) get a question mark, not an error.

    A stream that was closed by whoever started the command takes what is written to it and keeps nothing.
    """
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper) and stream.errors == "strict":
            stream.reconfigure(errors="replace")


def _wrong_use(exc: Any) -> NoReturn:
    """Say in one line what is wrong with a command, or show the help where there was no command at all."""
    context = getattr(exc, "ctx", None)
    command = context.command_path if context is not None else "planish"
    if type(exc).__name__ == "NoArgsIsHelpError":
        typer.echo(exc.format_message())
        sys.exit(2)
    said = " ".join(str(exc.format_message()).split())
    typer.echo(f"planish: {said} ('{command} --help' shows how)", err=True)
    sys.exit(2)


def run() -> None:
    """Run the command line; bad input ends with one line on standard error and exit code 2."""
    # Matrices here are small: a second BLAS thread only waits for the first. Set before numpy is loaded.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    _speak()
    try:
        code = app(standalone_mode=False)
        if isinstance(code, int) and code:
            sys.exit(code)
    except PlanishError as exc:
        typer.echo(f"planish: {exc}", err=True)
        sys.exit(2)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
    except OSError as exc:
        where = f"{exc.filename}: " if exc.filename else "output: "
        typer.echo(f"planish: {where}cannot be read or written ({exc.strerror or exc})", err=True)
        sys.exit(2)
    except KeyboardInterrupt:
        typer.echo("planish: stopped", err=True)
        sys.exit(130)
    except Exception as exc:
        if hasattr(exc, "format_message"):  # a command used wrongly, as the parser found
            _wrong_use(exc)
        if os.environ.get("PLANISH_TRACEBACK"):
            raise
        typer.echo(
            f"planish: a defect of planish, not of the input ({type(exc).__name__}: {exc}); "
            "set PLANISH_TRACEBACK=1 and run again to see where",
            err=True,
        )
        sys.exit(70)


if __name__ == "__main__":
    run()
