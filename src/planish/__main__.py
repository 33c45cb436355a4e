"""``python -m planish``: the same as the command ``planish``."""

from planish.cli.main import run

run()
