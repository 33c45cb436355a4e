"""The check of the vacuum hold: is the suction enough, and does it bend the wafer too far?"""

from __future__ import annotations

from dataclasses import dataclass

from planish.physics.pressure import holding
from planish.physics.pressure.layers import plate_stiffness
from planish.setup.root import SetupModel

FILM_GAP = 30e-6  # [m] water film between wafer and pad when lifted; common practice, no source
SAFETY = 1.5  # holding over pulling; common practice, no source
SAG_LIMIT = 20e-6  # [m] across one opening; invented for the demo
STRESS_LIMIT = 60e6  # [Pa] well below the strength of a polished wafer; common practice, no source


@dataclass(frozen=True, slots=True)
class VacuumHold:
    """What the suction must hold and what it does to the wafer.

    Attributes
    ----------
    holding
        Suction times the share of the back it acts on, per wafer area [Pa].
    weight, water_film, film_stress
        What pulls against it, per wafer area [Pa].
    margin
        Holding over their sum.
    sag, stress
        Of the wafer across the widest opening [m], [Pa].
    holds
        Asks for a margin of `SAFETY`.
    bends
        Says that sag or stress pass their limits.
    """

    holding: float
    weight: float
    water_film: float
    film_stress: float
    margin: float
    sag: float
    stress: float
    holds: bool
    bends: bool


def vacuum_hold(model: SetupModel) -> VacuumHold:
    """Return the check of the vacuum hold of a setup.

    Parameters
    ----------
    model
        The validated setup.

    Returns
    -------
    VacuumHold
        What holds, what pulls, and what bends.
    """
    wafer, head = model.wafer, model.head
    stiffness = plate_stiffness(wafer.modulus, wafer.poisson, wafer.thickness)
    weight = holding.wafer_weight_pressure(wafer.density, wafer.thickness)
    water = holding.film_pull(FILM_GAP)
    curvature = sum(
        holding.stoney_curvature(film.stress, film.thickness, wafer.modulus, wafer.poisson, wafer.thickness)
        for film in wafer.film
        if film.stress is not None and film.thickness
    )
    bow = holding.flattening_pressure(curvature, wafer.diameter / 2.0, stiffness, wafer.poisson)
    hold = head.vacuum_hold * head.vacuum_contact
    margin = hold / (weight + water + bow)
    sag = holding.clamped_sag(head.vacuum_hold, head.vacuum_span / 2.0, stiffness)
    stress = holding.clamped_stress(head.vacuum_hold, head.vacuum_span / 2.0, wafer.thickness)
    return VacuumHold(
        holding=hold,
        weight=weight,
        water_film=water,
        film_stress=bow,
        margin=margin,
        sag=sag,
        stress=stress,
        holds=margin >= SAFETY,
        bends=sag > SAG_LIMIT or stress > STRESS_LIMIT,
    )
