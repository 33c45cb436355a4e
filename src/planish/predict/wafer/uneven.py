"""What is uneven before anything is polished: the wafer's bow, a platen and a pad that are not flat, a tilted head.

Bow and the mean over a turn of what is not flat enter the pressure as a pad that stands higher here than there;
what is left of the turning gap and a head's tilt swing the pressure about its mean (``physics.pressure.flatness``).
A setup that says nothing of them is flat, and nothing here is computed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, cast

import numpy as np
from numpy.typing import NDArray

from planish.engine.fixed import sealed
from planish.engine.record import Kept
from planish.physics.pressure import bow, flatness
from planish.physics.pressure.layers import surface_compliance
from planish.predict.wafer.incoming import mean_profile
from planish.predict.wafer.step_plan import back_load, summit_land

if TYPE_CHECKING:
    from planish.predict.wafer.contact_model import ContactModel
    from planish.predict.wafer.pad_surface import Summits
    from planish.setup.si import Rig, Step

Array = NDArray[np.float64]
SOURCES = (*bow.SOURCES, *flatness.SOURCES)
LEAST_SWING = 1e-3  # of the mean pressure, rms: below it nothing is said
MOST_SWING = 0.5  # of the mean pressure, rms: beyond it places lift off, and the second order no longer tells


class Swinging(NamedTuple):
    """A wave that turns past: its ``number`` [1/m], the pad's ``give`` to it [m/Pa], ``variance`` [m^2], (n_r,)."""

    number: float
    give: float
    variance: Array


@dataclass(frozen=True, slots=True, repr=False)
class Uneven(Kept):
    """What machine, pad and head make uneven under the wafer, the same for every wafer and step.

    Attributes
    ----------
    height
        How much higher than on average the pad stands, mean over a turn [m], (n_r,).
    tilt
        Variance over a turn of the pressure over its mean that the tilt of a rigid head makes, (n_r,).
    waves
        What turns past.
    rigidity, backing
        Of the wafer, D [N m], and of the film behind it [Pa/m].
    """

    height: Array
    tilt: Array
    waves: tuple[Swinging, ...]
    rigidity: float
    backing: float

    def swing(self, length: Array, pressure: Array) -> Array:
        """Return the variance over a turn of the pressure over its mean.

        Parameters
        ----------
        length, pressure
            Decay length of the summits [m] and mean pressure [Pa], (n_r,).

        Returns
        -------
        Array
            (n_r,).
        """
        out = self.tilt.copy()
        for wave in self.waves:
            share = flatness.passed(wave.number, wave.give, self.rigidity, self.backing, length, pressure)
            out += share**2 * wave.variance
        return out

    def raised(self, length: Array, pressure: Array) -> Array:
        """Return how much higher the pad seems to stand: its mean height, and the summits' answer to the swing.

        Parameters
        ----------
        length, pressure
            As for :meth:`swing`.

        Returns
        -------
        Array
            [m], (n_r,).
        """
        return self.height + flatness.raised_by_swing(length, self.swing(length, pressure))


def says_uneven(rig: Rig) -> bool:
    """Return whether a setup says anything of what is uneven, and so rests on what is said of it here.

    Parameters
    ----------
    rig
        The setup.

    Returns
    -------
    bool
        False for a flat wafer under a membrane on a flat pad.
    """
    wafer, head = rig.wafer, rig.head
    bent = wafer.bow != 0.0 or any(film.stress for film in wafer.films)
    return bent or head.back_film != 0.0 or rig.polisher.flatness != 0.0 or rig.pad.thickness_variation != 0.0


def turning_past(rig: Rig, model: ContactModel) -> Uneven | None:
    """Return what of platen, pad and head is uneven under the wafer; None where nothing is.

    Parameters
    ----------
    rig
        The setup.
    model
        Of the contact.

    Returns
    -------
    Uneven | None
        Kept with the pad operator.

    Notes
    -----
    The tilt takes boundary friction, the largest that the slurry allows.
    """
    machine, pad, head = rig.polisher, rig.pad, rig.head
    tilt = flatness.friction_tilt(rig.slurry.friction_boundary, head.gimbal_height, rig.wafer.radius)
    across = np.pi / machine.pad_edge
    waves = [
        flatness.Waves(machine.flatness, across * machine.flatness_waves),
        flatness.Waves(
            pad.thickness_variation,
            across * pad.thickness_waves,
            straight=True,
            strip=machine.shape.straight,
        ),
    ]
    waves = [wave for wave in waves if wave.height]
    if not waves and tilt == 0.0:
        return None
    memo, plate = model.operator.memo, model.plate
    key = f"uneven {machine.distance!r} {machine.swing!r} {tilt!r} {waves!r} {plate.rigidity!r} {plate.backing!r}"
    if key not in memo:
        r, areas = model.grid.r, model.grid.areas
        gaps = [flatness.turning_gap(r, areas, wave, machine.distance, machine.swing) for wave in waves]
        memo[key] = Uneven(
            height=sum((gap.mean for gap in gaps), np.zeros(r.size)),
            tilt=0.5 * (tilt * r / rig.wafer.radius) ** 2,
            waves=tuple(
                Swinging(
                    wave.number,
                    float(surface_compliance(wave.number, model.layers, model.base)),
                    sealed(gap.variance),
                )
                for wave, gap in zip(waves, gaps, strict=True)
            ),
            rigidity=plate.rigidity,
            backing=plate.backing,
        )
    return cast("Uneven", memo[key])


def bow_height(rig: Rig, model: ContactModel, left: Array | None) -> Array | float:
    """Return how much higher than on average the pad stands against a bowed face; 0 where the wafer is flat.

    Parameters
    ----------
    rig
        The setup.
    model
        Of the contact.
    left
        Of each film [m], (films, n_r), as its stress may bend the wafer; as the wafer came where None.

    Returns
    -------
    Array | float
        [m], (n_r,): what a rigid head's film leaves of it.
    """
    wafer = rig.wafer
    curvature = bow.bow_curvature(wafer.bow, wafer.radius)
    if any(film.stress for film in wafer.films):
        if left is None:
            left = np.stack([mean_profile(film, model.grid.r) for film in wafer.films])
        deep = left @ (model.grid.areas / model.grid.areas.sum())
        stressed = zip((film.stress for film in wafer.films), deep.tolist(), strict=True)
        curvature += bow.film_curvature(stressed, wafer.modulus, wafer.poisson, wafer.thickness)
    return model.plate.held(bow.bow_height(model.grid.r, curvature)) if curvature else 0.0


def swing_rms(rig: Rig, step: Step, model: ContactModel, summits: Summits, groove_depth: float) -> float:
    """Return how far the pressure swings about its mean in a turn, rms over the wafer.

    Parameters
    ----------
    rig, step
        The setup, and which step of its recipe.
    model
        Of the contact.
    summits, groove_depth
        Of the pad now; depth [m].

    Returns
    -------
    float
        Of the mean pressure; 0 where nothing turns past unevenly.
    """
    made = turning_past(rig, model)
    if made is None:
        return 0.0
    about, areas = back_load(rig, step, model).about, model.grid.areas
    length, _, _ = summits.layer(about / summit_land(rig, groove_depth, model.land))
    return float(np.sqrt(areas @ made.swing(length, about) / areas.sum()))


def swing_note(name: str, rms: float) -> str:
    """Return what is to be said of how a step's pressure swings past the wafer.

    Parameters
    ----------
    name
        Of the step.
    rms
        Of the pressure over its mean.

    Returns
    -------
    str
        A sentence.
    """
    doubt = (
        f"; places lift off then, and the model holds to about {100 * MOST_SWING:g} %"
        if rms > MOST_SWING
        else ""
    )
    return f"step {name}: over a turn the pressure swings by {100 * rms:.3g} % (rms){doubt}"
