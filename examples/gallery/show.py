"""Run gallery scripts and keep their pictures: ``python examples/gallery/show.py one_wafer ring_and_edge``.

Without names every script runs. Run it in the project's folder; the pictures go to ``out/gallery``. In a notebook
none of this is needed: a script's last line shows its picture there.
"""

from __future__ import annotations

import os
import runpy
import sys
import tempfile
from pathlib import Path

from matplotlib.figure import Figure

GALLERY = Path(__file__).parent
ROOT = GALLERY.parents[1]


def names() -> list[str]:
    """Return the names of the scripts."""
    return sorted(path.stem for path in GALLERY.glob("*.py") if path.stem != "show")


def run(name: str) -> Figure:
    """Run one script in an empty folder that holds the examples, and return its picture."""
    here = Path.cwd()
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "examples").symlink_to(ROOT / "examples")
        os.chdir(folder)  # what a script writes goes with the folder
        try:
            left = runpy.run_path(str(GALLERY / f"{name}.py"))
        finally:
            os.chdir(here)
    picture = left["picture"]
    assert isinstance(picture, Figure)
    return picture


def main() -> int:
    """Run the scripts named on the command line, or all."""
    unknown = [word for word in sys.argv[1:] if word not in names()]
    if unknown:
        sys.stderr.write(f"no script {', '.join(unknown)}; there are {', '.join(names())}\n")
        return 2
    folder = ROOT / "out" / "gallery"
    folder.mkdir(parents=True, exist_ok=True)
    for name in sys.argv[1:] or names():
        sys.stdout.write(f"\n{name}\n")
        run(name).savefig(folder / f"{name}.png")
    sys.stdout.write(f"\npictures: {folder}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
