"""Find Chromium for the browser tests, or install Debian's package where that is allowed.

Prints what it found. Where no browser can be had, the rest of the tests still
run and this says plainly which do not (in CI they must run: exit code 1 there).
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")


def main() -> int:
    """Find or install; returns the exit code."""
    found = next((path for name in NAMES if (path := shutil.which(name))), None)
    if found is None and hasattr(os, "geteuid") and os.geteuid() == 0 and shutil.which("apt-get"):
        sys.stdout.write("no Chromium found; installing Debian's package chromium\n")
        commands = (["apt-get", "update", "-qq"], ["apt-get", "install", "-y", "-qq", "chromium"])
        for command in commands:
            subprocess.run(command, check=False, stdout=subprocess.DEVNULL)
        found = next((path for name in NAMES if (path := shutil.which(name))), None)
    if found is None:
        sys.stdout.write(
            "NOT RUN: the browser tests (tests/browser) need Chromium, which was not found and could not be "
            "installed; on Debian or Ubuntu: sudo apt-get install chromium\n"
        )
        return 1 if os.environ.get("CI") == "true" else 0
    sys.stdout.write(f"browser tests use {found}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
