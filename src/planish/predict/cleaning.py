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
from planish.units import show, to_si

if TYPE_CHECKING:
    from planish.setup.given import SetupLike

Array = NDArray[np.float64]

USUAL = ("brush 1 m/s 95 %", "sound 1 W/cm^2 1 MHz", "rinse 1000 rpm 1000 ml/min")
RINGS = 200  # of equal area, over which a rinse is followed
#: What each kind of step is described by, beside the share of the wafer that it acts on.
KINDS: dict[str, tuple[str, ...]] = {
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
HAMAKER = (1e-24, 1e-17)  # [J]
VISCOSITY = (1e-5, 1.0)  # [Pa s]
_EXAMPLES = {kind: next(text for text in USUAL if text.startswith(kind)) for kind in KINDS}
RELATIVE = (
    "relative: the share of the particles that were there; no count on a wafer, no yield. Only the shear of the "
    "liquid is counted, however long a step takes"
)


@dataclass(frozen=True, slots=True)
class WashStep:
    """One step: its ``kind``, ``values`` in SI (as ``KINDS`` names them) and the share of the wafer it acts on."""

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
            "steps": [
                {
                    "step": step.text,
                    "shear_rate_per_s": float(shear),
                    "covered_percent": 100 * step.coverage,
                    "left_percent": [float(share) * 100 for share in left],
                }
                for step, shear, left in zip(self.steps, self.shear, self.left, strict=True)
            ],
        }

    def sources(self) -> list[str]:
        """Return the sources that the result rests on, one line each."""
        return list(cleaning.SOURCES)


def clean_wafer(
    setup: SetupLike,
    steps: Sequence[str] | None = None,
    *,
    sizes: Sequence[float] | None = None,
    hamaker: float = 1e-20,
    viscosity: float = 1e-3,
) -> Cleaned:
    """Clean a wafer of a setup: say which share of the slurry's particles is left.

    Parameters
    ----------
    setup
        Its slurry says how large the particles are, its wafer how far out a rinse runs.
    steps
        In order, as text: "brush 1 m/s 95 %" (slip over the wafer, share of the wafer it reaches), "sound 1 W/cm^2
        1 MHz", "rinse 1000 rpm 1000 ml/min". The share is 100 % unless given. Usual ones unless given.
    sizes
        Diameters [m]; unless given half the slurry's mean, the mean, and where its large particles begin.
    hamaker
        Of particle, liquid and film [J]; order of silica on oxide in water unless given (from memory).
    viscosity
        Of the cleaning liquid [Pa s]; water unless given.

    Raises
    ------
    SetupError
        For a step that cannot be read, or a value out of range.
    """
    rig = as_rig(setup)
    read = tuple(_step(text) for text in (USUAL if steps is None else steps))
    if not read:
        raise SetupError(refuse("cleaning steps", "none", "one or more", f"such as {USUAL[0]!r}"))
    notes = [RELATIVE]
    if steps is None:
        notes.append(f"no steps given: {', '.join(USUAL)} taken (common practice, no source)")
    mean = rig.slurry.particle_size
    d = np.array(sorted({mean / 2, mean, rig.slurry.large_particle_size}) if sizes is None else list(sizes))
    if not (d.size and np.all((d > 0) & (d <= 1e-4))):
        raise SetupError(refuse("particle sizes [m]", d.tolist(), "above 0 and up to 0.1 mm"))
    _within("Hamaker constant", hamaker, HAMAKER, "energy")
    _within("viscosity of the cleaning liquid", viscosity, VISCOSITY, "viscosity")
    rings = rig.wafer.radius * np.sqrt((np.arange(RINGS) + 0.5) / RINGS)
    shear = np.array([step.shear(rings, viscosity) for step in read])
    left = np.zeros((len(read), d.size))
    for ring in range(RINGS):
        at = tuple(
            CleanStep(step.text, float(rate), step.coverage)
            for step, rate in zip(read, shear[:, ring], strict=True)
        )
        left += np.array(cleaning.clean(d, at, hamaker=hamaker, viscosity=viscosity).after) / RINGS
    return Cleaned(d, read, shear.mean(axis=1), left, tuple(notes))


def _step(text: str) -> WashStep:
    """Read one step: its kind, a number and a unit for each value, and the share of the wafer if given."""
    words = str(text).split()
    kind = words[0] if words else ""
    if kind not in KINDS:
        raise SetupError(
            refuse("cleaning step", text, f"begun with {', '.join(KINDS)}", f"such as {USUAL[0]!r}")
        )
    parts = [" ".join(words[at : at + 2]) for at in range(1, len(words), 2)]
    needed = KINDS[kind]
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
