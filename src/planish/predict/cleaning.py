"""Cleaning the wafer after polishing: the share of the slurry's particles that each step leaves. Relative only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import figure
from planish.errors import PlanishError, SetupError, refuse
from planish.physics import cleaning
from planish.physics.cleaning import CleanStep
from planish.results.result import Result
from planish.setup.given import as_rig
from planish.setup.si import Clean
from planish.units import show, to_si

if TYPE_CHECKING:
    from planish.setup.given import SetupLike
    from planish.setup.si import CleanStep as Described
    from planish.setup.si import Rig

Array = NDArray[np.float64]

USUAL = ("brush 1 m/s 95 %", "sound 1 W/cm^2 1 MHz", "rinse 1000 rpm 1000 ml/min")
RINGS = 200  # of equal area, over which a rinse is followed
#: What each kind of step is described by, beside the share of the wafer that it acts on.
DESCRIBED: dict[str, tuple[str, ...]] = {
    "brush": ("speed",),
    "sound": ("intensity", "frequency"),
    "rinse": ("angular_speed", "flow"),
}
#: What can be, in SI (common practice, no source): slip of a brush, sound at the wafer, spin and flow of a rinse.
POSSIBLE: dict[str, tuple[float, float]] = {
    "speed": (1e-3, 30.0),
    "intensity": (1.0, 1e6),
    "frequency": (1e4, 1e8),
    "angular_speed": (0.1, 1e3),
    "flow": (1e-8, 1e-3),
}
LARGEST, SIZES = 1e-4, "above 0 nm and up to 0.1 mm"  # [m] of a particle
HAMAKER = (1e-24, 1e-17)  # [J]
VISCOSITY = (1e-5, 1.0)  # [Pa s]
#: What holds where a setup describes no cleaning: no steps, the order of silica on oxide, water (from memory).
UNSAID = Clean((), 1e-20, 1e-3, 0.7)
_EXAMPLES = {kind: next(text for text in USUAL if text.startswith(kind)) for kind in DESCRIBED}
RELATIVE = (
    "relative: the share of the particles that were there; no count on a wafer, no yield. Only the shear of the "
    "liquid is counted, however long a step takes"
)


@dataclass(frozen=True, slots=True)
class WashStep:
    """One step: its ``kind``, ``values`` in SI (as ``DESCRIBED`` names them) and the share of the wafer it acts on."""

    text: str
    kind: str
    values: tuple[float, ...]
    coverage: float

    def shear(self, radius: Array, viscosity: float) -> Array:
        """Return the shear rate at the wall.

        Parameters
        ----------
        radius
            On the wafer [m], any shape.
        viscosity
            Of the liquid [Pa s].

        Returns
        -------
        Array
            [1/s], shape as ``radius``.

        Raises
        ------
        ModelError
            For values of the step that are out of their range.
        """
        if self.kind == "brush":
            return np.full(radius.shape, cleaning.brush_shear_rate(*self.values))
        if self.kind == "sound":
            return np.full(radius.shape, cleaning.sound_shear_rate(*self.values, viscosity=viscosity))
        return cleaning.spin_rinse_shear_rate(radius, *self.values, viscosity=viscosity)


@dataclass(frozen=True, slots=True, repr=False)
class Cleaned(Result):
    """What cleaning leaves: ``left`` (steps, sizes), the share of each size [m] after each step."""

    kind: ClassVar[str] = "cleaning"

    sizes: Array
    steps: tuple[WashStep, ...]
    shear: Array  # (steps,) mean over the wafer [1/s]
    left: Array
    notes: tuple[str, ...]

    def _told(self) -> str:
        last = ", ".join(
            f"{figure(100 * share, '%', 3)} of {figure(1e9 * size, 'nm')}"
            for size, share in zip(self.sizes, self.left[-1], strict=True)
        )
        return f"after {len(self.steps)} steps are left {last}"

    def _content(self) -> dict[str, Any]:
        """Return the shares left, in percent, after each step and in the end; a row a step."""
        sizes = [float(size) * 1e9 for size in self.sizes]
        return {
            "sizes_nm": sizes,
            "left_percent": [float(share) * 100 for share in self.left[-1]],
            "steps": self.rows(),
        }

    def rows(self) -> list[dict[str, object]]:
        """Return a row a step: what it shears by, where it reaches, and what is left after it of each size."""
        return [
            {
                "step": step.text,
                "shear_rate_per_s": float(shear),
                "covered_percent": 100 * step.coverage,
                "left_percent": [float(share) * 100 for share in left],
            }
            for step, shear, left in zip(self.steps, self.shear, self.left, strict=True)
        ]

    def sources(self) -> list[str]:
        """Return the sources that the result rests on, one line each."""
        return list(cleaning.SOURCES)


def clean_wafer(
    setup: SetupLike,
    steps: Sequence[str] | None = None,
    *,
    sizes: Sequence[float] | None = None,
    hamaker: float | None = None,
    viscosity: float | None = None,
) -> Cleaned:
    """Clean a wafer of a setup: say which share of the slurry's particles is left.

    Parameters
    ----------
    setup
        Its slurry says how large the particles are, its wafer how far out a rinse runs.
    steps
        In order, as text: "brush 1 m/s 95 %" (slip over the wafer, share of the wafer it reaches), "sound 1 W/cm^2
        1 MHz", "rinse 1000 rpm 1000 ml/min". The share is 100 % unless given. Those of the setup unless given, and
        usual ones where it has none.
    sizes
        Diameters [m]; unless given half the slurry's mean, the mean, and where its large particles begin.
    hamaker
        Of particle, liquid and film [J]; the setup's unless given, and the order of silica on oxide in water where it
        has none (from memory).
    viscosity
        Of the cleaning liquid [Pa s]; the setup's unless given, and water where it has none.

    Raises
    ------
    SetupError
        For a step that cannot be read, or a value out of range.
    """
    rig = as_rig(setup)
    own = rig.clean or UNSAID
    if steps is None:
        read = tuple(_of_setup(step) for step in own.steps) or tuple(_step(text) for text in USUAL)
    else:
        read = tuple(_step(text) for text in steps)
    if not read:
        raise SetupError(refuse("cleaning steps", "none", "one or more", f"such as {USUAL[0]!r}"))
    notes = [RELATIVE]
    if steps is None and not own.steps:
        notes.append(f"no steps given: {', '.join(USUAL)} taken (common practice, no source)")
    d = np.array(particle_sizes(rig) if sizes is None else list(sizes))
    if not (d.size and np.all((d > 0) & (d <= LARGEST))):
        shown = ", ".join(show(size, "thickness") for size in d.tolist()) or "none"
        raise SetupError(refuse("particle sizes", shown, SIZES))
    hamaker = own.hamaker if hamaker is None else hamaker
    viscosity = own.viscosity if viscosity is None else viscosity
    _within("Hamaker constant", hamaker, HAMAKER, "energy")
    _within("viscosity of the cleaning liquid", viscosity, VISCOSITY, "viscosity")
    rings = rig.wafer.radius * np.sqrt((np.arange(RINGS) + 0.5) / RINGS)
    shear = np.array([step.shear(rings, viscosity) for step in read])
    at = tuple(
        CleanStep(step.text, np.repeat(rates, d.size), step.coverage)
        for step, rates in zip(read, shear, strict=True)
    )
    found = cleaning.clean(
        np.tile(d, RINGS), at, adhesion_spread=own.adhesion_spread, hamaker=hamaker, viscosity=viscosity
    )
    left = np.array(found.after).reshape(len(read), RINGS, d.size).mean(axis=1)
    return Cleaned(d, read, shear.mean(axis=1), left, tuple(notes))


def particle_sizes(rig: Rig) -> list[float]:
    """Return the sizes [m] that are followed: half the slurry's mean, the mean, and where its large particles begin."""
    mean = rig.slurry.particle_size
    return sorted({mean / 2, mean, rig.slurry.large_particle_size})


def cleaned_after(rig: Rig) -> Cleaned | None:
    """Return what the cleaning that a setup describes leaves; None where it describes none."""
    return None if rig.clean is None else clean_wafer(rig)


def cleaning_notes(cleaned: Cleaned | None) -> list[str]:
    """Return what a polished wafer has to say of its cleaning; nothing without one."""
    return [] if cleaned is None else [f"particles left after cleaning are {note}" for note in cleaned.notes]


def left_figures(rig: Rig, cleaned: Cleaned | None) -> dict[str, float]:
    """Return the shares left as figures of a summary, in percent; none without a cleaning.

    Parameters
    ----------
    rig
        The setup.
    cleaned
        What its cleaning leaves.

    Returns
    -------
    dict[str, float]
        By key.
    """
    if cleaned is None:
        return {}
    mean = rig.slurry.particle_size
    named = {"small_": mean / 2, "": mean, "large_": rig.slurry.large_particle_size}
    left = dict(zip(cleaned.sizes.tolist(), cleaned.left[-1].tolist(), strict=True))
    return {f"{word}particles_left_percent": 100 * left[size] for word, size in named.items()}


def _of_setup(step: Described) -> WashStep:
    """Return a step of a setup's cleaning."""
    return WashStep(step.name, step.kind, step.values, step.coverage)


def _step(text: str) -> WashStep:
    """Read one step: its kind, a number and a unit for each value, and the share of the wafer if given."""
    words = str(text).split()
    kind = words[0] if words else ""
    if kind not in DESCRIBED:
        raise SetupError(
            refuse("cleaning step", text, f"begun with {', '.join(DESCRIBED)}", f"such as {USUAL[0]!r}")
        )
    parts = [" ".join(words[at : at + 2]) for at in range(1, len(words), 2)]
    needed = DESCRIBED[kind]
    if len(parts) not in (len(needed), len(needed) + 1):
        raise SetupError(
            refuse(
                "cleaning step",
                text,
                f"{kind}, {' and '.join(name.replace('_', ' ') for name in needed)}, and the share reached if not all",
                f"such as {_EXAMPLES[kind]!r}",
            )
        )
    try:
        values = tuple(to_si(part, name) for part, name in zip(parts, needed, strict=False))
        coverage = to_si(parts[-1], "ratio") if len(parts) > len(needed) else 1.0
    except PlanishError as error:
        raise SetupError(f"cleaning step {text!r}: {error}") from None
    for name, value in zip(needed, values, strict=False):
        _within(f"cleaning step {text!r}: {name.replace('_', ' ')}", value, POSSIBLE[name], name)
    if not 0 <= coverage <= 1:
        raise SetupError(refuse("cleaning step", text, "a share of at most 100 %"))
    return WashStep(text, kind, values, coverage)


def _within(place: str, value: float, limits: tuple[float, float], dimension: str) -> None:
    if not limits[0] <= value <= limits[1]:
        least, most = (show(limit, dimension) for limit in limits)
        raise SetupError(refuse(place, show(value, dimension), f"from {least} to {most}"))
