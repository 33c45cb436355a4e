"""What stands on the die before polishing: one record a process.

Thicknesses and steps [m]; materials are names of the setup's removal table. The
defaults are of the size the trade works with (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

from planish.errors import SetupError, refuse

if TYPE_CHECKING:
    from planish.setup.si import Bench, Die


@dataclass(frozen=True, slots=True)
class OxideLevel:
    """Oxide over raised lines. The layout's layer is the lines.

    ``bias``: how far the film widens each edge of a line [m]; ``step_limit``:
    the local step counts as gone below it; ``least_left``: oxide that must stay over the lines.
    """

    step: float = 800e-9
    thickness: float = 1800e-9
    bias: float = 0.0
    step_limit: float = 20e-9
    least_left: float = 400e-9
    oxide: str = "oxide"


@dataclass(frozen=True, slots=True)
class StiLevel:
    """Oxide over nitride and trenches. The layout's layer is the active areas.

    ``step`` of the oxide over the trenches, ``overburden`` of oxide on nitride;
    ``nitride_limit`` and ``dishing_limit`` close the overpolish window.
    """

    step: float = 400e-9
    overburden: float = 500e-9
    nitride: float = 120e-9
    bias: float = 0.0
    nitride_limit: float = 30e-9
    dishing_limit: float = 60e-9
    oxide: str = "oxide"
    nitride_material: str = "nitride"


@dataclass(frozen=True, slots=True)
class MetalLevel:
    """Metal in trenches of a dielectric. The layout's layer is the lines.

    ``overburden`` of metal over the dielectric, and how thick the film was laid
    (``deposited``, which sets the step over a line), ``barrier`` under it (0: none).
    """

    trench_depth: float = 300e-9
    overburden: float = 600e-9
    deposited: float = 600e-9
    barrier: float = 25e-9
    dishing_limit: float = 60e-9
    erosion_limit: float = 40e-9
    metal: str = "copper"
    barrier_material: str = "tantalum"
    dielectric: str = "oxide"


Level = OxideLevel | StiLevel | MetalLevel


def default_level(process: str) -> Level:
    """Return the usual level of a process: "oxide", "sti", "copper" or "tungsten"."""
    if process == "oxide":
        return OxideLevel()
    if process == "sti":
        return StiLevel()
    if process == "copper":
        return MetalLevel()
    if process == "tungsten":
        return MetalLevel(
            trench_depth=500e-9,
            overburden=350e-9,
            deposited=350e-9,
            barrier=20e-9,
            metal="tungsten",
            barrier_material="titanium-nitride",
        )
    raise SetupError(refuse("process", process, "'oxide', 'sti', 'copper' or 'tungsten'"))


def materials(level: Level) -> tuple[str, ...]:
    """Return the materials that the level polishes."""
    if isinstance(level, OxideLevel):
        return (level.oxide,)
    if isinstance(level, StiLevel):
        return (level.oxide, level.nitride_material)
    thin = (level.barrier_material,) if level.barrier > 0 else ()
    return (level.metal, *thin, level.dielectric)


def process_of(bench: Bench) -> str:
    """Return the die process of a setup: that of its die section, else the one of its top film."""
    if bench.die is not None:
        return bench.die.process
    names = [film.material for film in bench.wafer.films]
    if names[0] in ("copper", "tungsten"):
        return names[0]
    return "sti" if "nitride" in names else "oxide"


def described_level(die: Die | None, process: str) -> Level:
    """Return the level that a setup's die section describes; what it leaves open is usual for ``process``.

    A section of another process says nothing about this one.
    """
    level = default_level(process)
    if die is None or die.process != process:
        return level
    renamed = {"oxide": "oxide_material"}
    given: dict[str, Any] = {}
    for item in fields(level):
        value = getattr(die, renamed.get(item.name, item.name))
        if value is not None:
            given[item.name] = value
    return replace(level, **given)


def measured_length(die: Die | None, process: str) -> float | None:
    """Return the measured planarization length [m] that a setup's die section gives for ``process``."""
    return die.planarization_length if die is not None and die.process == process else None


def left_open(die: Die | None, level: Level, process: str) -> list[str]:
    """Return the names of the level's thicknesses and limits for which the usual value stands."""
    own = die if die is not None and die.process == process else None
    return [
        item.name
        for item in fields(level)
        if isinstance(getattr(level, item.name), float) and (own is None or getattr(own, item.name) is None)
    ]
