"""Draw a trial of run-to-run control on a timed step, with pads and disks changed and metrology two wafers late.

Run from anywhere: ``python docs/figures/control.py``. It tries ``examples/copper-barrier.toml`` (an invented scenario) and
writes ``docs/figures/control.png``.
"""

from __future__ import annotations

from pathlib import Path

import planish
from planish.engine.files import write_whole
from planish.explain.figures.style import as_png

HERE = Path(__file__).resolve().parent


def main() -> None:
    """Try, draw and write."""
    trial = planish.try_control(HERE.parents[1] / "examples" / "copper-barrier.toml")
    write_whole(HERE / "control.png", as_png(trial.plot(), dpi=80))


if __name__ == "__main__":
    main()
