"""Steps of oxide with silica and with ceria: does a rate that bends with pressure planarize better?"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from planish.experiments.assumed_pad import STEPS_SLIDING, selectivity_length
from planish.experiments.record import Experiment, Row
from planish.physics.pattern.areas import HighLayer, Low, polish_areas
from planish.physics.pattern.response import local_response

Array = NDArray[np.float64]
PITCHES = (100.0, 200.0, 500.0)  # [um]
STEP, SHARE = 600e-9, 0.5
PRESSURE, GRAM_PER_CM2, MINUTES = 500.0, 98.0665, 44.3  # [g/cm^2], [Pa] of one, speed [m/min]
LEADS_UNTIL = 120.0  # [s]
AHEAD = 0.02  # of the efficiency: what counts as better
# The same source's fits: rate [A/min] = 10^a P^b V^c, P in g/cm^2, V in m/min.
FITS = {"silica": (-0.75, 1.05, 0.79), "ceria": (-3.78, 2.06, 0.98)}
TIMES = np.arange(2.5, 180.1, 2.5)  # [s]


def rate(slurry: str) -> float:
    """Return the blanket rate by the source's fit [m/s]."""
    level, by_pressure, by_speed = FITS[slurry]
    return float(10**level * PRESSURE**by_pressure * MINUTES**by_speed * 1e-10 / 60.0)


@lru_cache(maxsize=8)
def lost(slurry: str, pitch: float) -> tuple[Array, Array]:
    """Return what the high and the low area have lost by ``TIMES`` [m].

    Parameters
    ----------
    slurry
        A key of ``FITS``.
    pitch
        [um].
    """
    blanket, power = rate(slurry), FITS[slurry][1]
    answer = local_response(lambda ratio: blanket * ratio**power)
    width = np.array([0.5e-6 * pitch])
    length = selectivity_length(width, width, PRESSURE * GRAM_PER_CM2, sliding=STEPS_SLIDING, depth=STEP)
    high = HighLayer(np.inf, [blanket], [answer])
    low = Low([blanket], np.array([STEP]), responses=[answer])
    states = [polish_areas([high], low, [time], SHARE, length) for time in TIMES]
    return np.array([float(s.high_loss[0]) for s in states]), np.array([float(s.low_loss[0]) for s in states])


def efficiency(slurry: str, pitch: float) -> Array:
    """Return 1 less field over active, of what has been lost by ``TIMES``.

    Parameters
    ----------
    slurry
        A key of ``FITS``.
    pitch
        [um].
    """
    high, low = lost(slurry, pitch)
    return 1.0 - low / high


def leads_until(pitch: float) -> float:
    """Return until when ceria is clearly the more efficient [s]; 0 where it never is."""
    ahead = efficiency("ceria", pitch) - efficiency("silica", pitch) > AHEAD
    return float(TIMES[ahead].max(initial=0.0))


def rows() -> list[Row]:
    """Compute the rows."""
    return [
        Row(
            f"pitch {pitch:g} um: ceria is the more efficient until",
            LEADS_UNTIL,
            leads_until(pitch),
            "s",
            "shape",
        )
        for pitch in PITCHES
    ]


EXPERIMENT = Experiment(
    name="step-efficiency",
    title="Efficiency of planarization of 600 nm steps with a silica and a ceria slurry",
    source="Park, Kim, Kim, Jeong & Dornfeld 2009, eScholarship 7xx6j4s5",
    read="full text",
    rows=rows,
    said=(
        "With the source's own exponents of pressure ceria spares the field: for the same step left it has taken a twentieth to a "
        "third of what silica takes there. But over raised areas of half the surface, where the pressure is twice the mean, an "
        "exponent of 2 also takes the step off in half the time, and from then on the field goes as fast as the rest: so by "
        "the clock ceria leads for up to a minute here, for two in the experiment. The pad is assumed, with the sliding "
        "share of oxide steps."
    ),
)
