"""Outcomes that nothing real has: said in the result, with the input that drives them; nothing is clamped."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planish.units import NM_PER_MIN

if TYPE_CHECKING:
    from planish.setup.si import Rig

FRICTION = 2.0  # rubbing solids in a slurry stay below 1; common practice, no source
FASTEST = (
    20e3 / NM_PER_MIN
)  # [m/s] film; the fastest copper slurries take some micrometres a minute (common practice)

# What drives each outcome: beginnings of dotted paths, the strongest first.
_SUMMITS = ("pad.surface", "pad.top", "conditioner")
_RUBBING = ("recipe.step", "slurry.viscosity", "slurry.friction_boundary")
HEAT = (*_RUBBING, "polisher", "slurry.temperature", "ambient", "slurry.heat_capacity", "pad")
_RATE = ("removal", "recipe.step", "slurry.abrasive_fraction", *_SUMMITS)


def strange(rig: Rig, *, real_pressure: float, friction: float, rate: float) -> list[str]:
    """Return one line for each outcome that no polisher has.

    Parameters
    ----------
    rig
        The setup.
    real_pressure
        Mean pressure on the summits in contact [Pa]. A solid gives way before it carries its own modulus:
        the hardness of polymers is a tenth of their modulus or so (from memory).
    friction
        Coefficient of friction.
    rate
        Film taken off [m/s].

    Returns
    -------
    list[str]
        In plain words.
    """
    found = []
    modulus = rig.pad.surface.modulus
    if real_pressure > modulus:
        found.append(
            f"real contact pressure {real_pressure / 1e6:.4g} MPa: above the modulus of the summits, "
            f"{modulus / 1e6:.4g} MPa, so the pad would give way; {driven(rig, _SUMMITS)}"
        )
    if friction > FRICTION:
        found.append(
            f"coefficient of friction {friction:.3g}: above {FRICTION:g} nothing slides so hard; "
            f"{driven(rig, _RUBBING)}"
        )
    if rate > FASTEST:
        found.append(
            f"removal rate {rate * NM_PER_MIN:.3g} nm/min: no slurry takes film so fast; {driven(rig, _RATE)}"
        )
    return found


def driven(rig: Rig, inputs: tuple[str, ...]) -> str:
    """Name the unlikely values among the inputs of an outcome, or the inputs where none is.

    Parameters
    ----------
    rig
        The setup.
    inputs
        Beginnings of dotted paths, the strongest first.

    Returns
    -------
    str
        In plain words.
    """
    odd = [path for start in inputs for path in rig.unlikely if path.startswith(start)]
    if odd:
        return f"driven by {', '.join(list(dict.fromkeys(odd))[:3])}, outside the usual range"
    return f"look at {', '.join(inputs[:3])}"
