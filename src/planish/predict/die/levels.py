"""Which process a setup is about, and what it says of the die, with what it leaves open as is usual."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planish import units
from planish.errors import PluginError, refuse
from planish.predict.die.level import Level
from planish.setup.processes import PROCESSES, process_shown

if TYPE_CHECKING:
    from planish.setup.si import Die, Rig


def default_level(process: str) -> Level:
    """Return what usually stands on the die of a process.

    Raises
    ------
    SetupError
        For a process that nothing has.
    PluginError
        For one that another package brings with something else than a level.
    """
    level = PROCESSES.get(process, "process").level
    if not isinstance(level, Level):
        what = f"level of die process {process!r}"
        raise PluginError(refuse(what, type(level).__name__, "a planish.predict.die.level.Level"))
    return level


def process_of(rig: Rig) -> str:
    """Return the die process of a setup: that of its die section, else the one that its films show."""
    if rig.die is not None:
        return rig.die.process
    return process_shown(film.material for film in rig.wafer.films).name


def described_level(die: Die | None, process: str) -> Level:
    """Return the level that a setup's die section describes; what it leaves open is usual for the process.

    A section of another process says nothing about this one.

    Parameters
    ----------
    die
        The section in SI; None where the setup has none.
    process
        Name of the process.

    Returns
    -------
    Level
        The level.

    Raises
    ------
    PluginError
        For a process whose level is none.
    """
    return default_level(process).described(_own(die, process))


def measured_length(die: Die | None, process: str) -> float | None:
    """Return the measured planarization length that a setup's die section gives for a process.

    Parameters
    ----------
    die
        The section in SI; None where the setup has none.
    process
        Name of the process.

    Returns
    -------
    float | None
        [m]; None where it gives none, or is of another process.
    """
    return die.planarization_length if die is not None and die.process == process else None


def left_open(die: Die | None, level: Level, process: str) -> dict[str, str]:
    """Return the level's quantities for which the usual value stands.

    Parameters
    ----------
    die
        The section in SI; None where the setup has none.
    level
        Described by it.
    process
        Name of the process.

    Returns
    -------
    dict[str, str]
        Key -> value as text with unit.
    """
    own = _own(die, process)
    return {
        name: units.show(getattr(level, name), key.quantity.dimension, digits=6)
        for name, key in level.known_keys().items()
        if key.quantity is not None and name not in own
    }


def _own(die: Die | None, process: str) -> dict[str, float | str]:
    return dict(die.given) if die is not None and die.process == process else {}
