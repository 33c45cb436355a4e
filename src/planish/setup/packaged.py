"""What a setup takes from installed packages and its text does not hold: laws, motion and die process.

Parts are not among it: their values are filled in, so the setup holds them.
"""

from __future__ import annotations

from typing import Any

from planish.engine.registry import Registry
from planish.physics.removal.laws import LAWS
from planish.setup.motions.known import MOTIONS
from planish.setup.processes import PROCESSES


def packaged(tree: dict[str, Any]) -> tuple[str, ...]:
    """Return a line for each record of a filled-in document that is none of planish's own: what, name, package, version.

    Parameters
    ----------
    tree
        The document, filled in.
    """
    laws = sorted({section["law"] for section in tree.get("removal", {}).values() if "law" in section})
    asked: list[tuple[Registry[Any], str | None]] = [
        *((LAWS, law) for law in laws),
        (MOTIONS, tree.get("polisher", {}).get("motion")),
        (PROCESSES, tree.get("die", {}).get("process")),
    ]
    stamps = [(known.what, name, known.stamp(name)) for known, name in asked if name is not None]
    return tuple(f"{what} {name}: {stamp}" for what, name, stamp in stamps if stamp)
