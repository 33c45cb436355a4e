"""How soft a step finds the pad: the temperature that its heat leads to, and what of the modulus is left there.

For the contact one temperature does for a whole step, its mean over the wafer's track and over the time that the step is expected to
take. It is foretold from the heat that the load on the wafer's back makes, for the contact pressure itself hangs on
it: that pressure carries the same load, so it makes nearly the same heat. A pad whose layers do not soften is left
as it is, at no cost.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.physics.removal.laws import removal_rate
from planish.physics.slurry import heat
from planish.physics.surface import softening
from planish.predict.wafer.pad_surface import resting_temperature
from planish.predict.wafer.step_plan import BackLoad, StepPlan

if TYPE_CHECKING:
    from planish.predict.wafer.pad_surface import Summits
    from planish.setup.si import Rig

Array = NDArray[np.float64]
SOURCES = softening.SOURCES


@dataclass(frozen=True, slots=True)
class Softness:
    """What warmth leaves of a pad at a ``temperature`` [K].

    ``summits``: of their modulus; ``give``: how much more the stack gives way.
    """

    summits: float = 1.0
    give: float = 1.0
    temperature: float = 0.0


AS_STATED = Softness()


def softens(rig: Rig) -> bool:
    """Return whether a layer of the setup's pad softens at all."""
    return any(layer.softening > 0 for layer in rig.pad.layers)


def softness(rig: Rig, temperature: float) -> Softness:
    """Return what is left of a pad's stiffness.

    Parameters
    ----------
    rig
        The setup.
    temperature
        Of its polishing surface [K].

    Returns
    -------
    Softness
        ``AS_STATED`` where nothing softens.
    """
    if not softens(rig):
        return AS_STATED
    pad = rig.pad
    summits = softening.modulus_left(pad.layers[0].softening, temperature, pad.modulus_temperature)
    give = softening.stack_give(pad.layers, layers_left(rig, temperature))
    return Softness(summits, give, min(temperature, softening.HOTTEST))


def layers_left(rig: Rig, temperature: float) -> list[float]:
    """Return what is left of the modulus of each layer of a pad.

    Parameters
    ----------
    rig
        The setup.
    temperature
        Of its polishing surface [K].

    Returns
    -------
    list[float]
        From the surface down.
    """
    pad = rig.pad
    base = resting_temperature(rig)
    warm = softening.middle_temperatures(temperature, base, [layer.thickness for layer in pad.layers])
    return [
        softening.modulus_left(layer.softening, at, pad.modulus_temperature)
        for layer, at in zip(pad.layers, warm, strict=True)
    ]


def expected_heating(rig: Rig, plan: StepPlan, back: BackLoad) -> tuple[Array, Array]:
    """Return where a step's heat leads the pad rings, and how fast.

    Parameters
    ----------
    rig
        The setup.
    plan
        What the step fixes.
    back
        What presses the wafer in it.

    Returns
    -------
    tuple[Array, Array]
        Steady temperature [K] and pace [1/s], (n,).
    """
    ring = plan.all_speed.size - back.load.size
    pressed = np.concatenate([back.load, np.full(ring, back.ring)])
    power = heat.friction_power_density(rig.slurry.friction_boundary, pressed, plan.all_speed)
    made = heat.ring_power_density(plan.duty, plan.seen, power)
    kept = heat.relaxation(plan.heat_sink, made, plan.heat_conductance, plan.heat_sink, plan.heat_capacity)
    return kept.steady, kept.pace


def expected_time(rig: Rig, plan: StepPlan, back: BackLoad, top: str | None, goal: float) -> float:
    """Return about how long a step takes.

    Parameters
    ----------
    rig
        The setup.
    plan
        What the step fixes.
    back
        What presses the wafer in it.
    top
        Material that is polished; None where none is left.
    goal
        What must go [m] where the step stops on an amount.

    Returns
    -------
    float
        [s]; of a step that stops on an amount, what its law takes at its reference, within the longest time.
    """
    step = plan.step
    if step.stop == "time":
        return step.stop_value
    if top is None or goal <= 0:
        return 0.0
    law = rig.removal[top]
    pressure, speed = float(plan.shares @ back.load), float(plan.shares @ plan.law_speeds[top])
    warmth = law.reference.temperature
    rate = float(
        removal_rate(
            law.law,
            law.coefficients,
            pressure,
            speed,
            temperature=warmth,
            friction=rig.slurry.friction_boundary,
        )
    )
    return min(goal / rate, step.max_time) if rate > 0 else step.max_time


def mean_temperature(heating: tuple[Array, Array], now: Array, track: Array, time: float) -> float:
    """Return the mean temperature of the pad under the wafer in a step.

    Parameters
    ----------
    heating
        From :func:`expected_heating`.
    now
        Of the rings as the step begins [K], (n,).
    track
        Share of the wafer's time over each ring, (n,).
    time
        That the step takes [s].

    Returns
    -------
    float
        [K].
    """
    steady, pace = heating
    far = pace * time
    # the mean of exp(-pace t): 1 for no time at all
    kept = -np.expm1(-far) / np.where(far > 0, far, 1.0) if time > 0 else np.ones_like(far)
    return float(track @ (steady + (now - steady) * kept))


@dataclass(frozen=True, slots=True)
class SoftSummits:
    """Summits of a warm pad: those of the cold one under a load divided by what is left of their modulus.

    ``cold`` as stated, ``left`` of their modulus [1].
    """

    cold: Summits
    left: float

    def layer(self, pressure: Array) -> tuple[Array, Array, Array]:
        """Return (length [m], pressure [Pa], offset [m]) of the exponential layer about ``pressure`` [Pa]."""
        length, scale, offset = self.cold.layer(pressure / self.left)
        return length, scale * self.left, offset

    def real(self, pressure: Array) -> tuple[Array, Array]:
        """Return (mean real pressure [Pa], real contact fraction) under ``pressure`` [Pa]."""
        real, fraction = self.cold.real(pressure / self.left)
        return real * self.left, fraction

    def flowing_share(self, pressure: Array) -> Array:
        """Return which share of the load lies on summits that flow [1], (nodes,), under ``pressure`` [Pa]."""
        return self.cold.flowing_share(pressure / self.left)

    def surface(self) -> tuple[float, float]:
        """Return mean and standard deviation [m] of their heights."""
        return self.cold.surface()


def soft(summits: Summits, left: float) -> Summits:
    """Return summits with so much of their modulus left; the same ones where it is all of it.

    Parameters
    ----------
    summits
        As stated.
    left
        Of their modulus [1].
    """
    return summits if left == 1.0 else SoftSummits(summits, left)
