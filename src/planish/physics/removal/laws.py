"""The rate laws by name, and the rate that each gives.

One file a law beside this one; an installed package adds its own by an entry point in the group
``planish.laws`` (see CONTRIBUTING.md, "Add a law").
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.engine.registry import Registry
from planish.errors import ModelError, refuse
from planish.physics.removal import factors
from planish.physics.removal.abrasive import LAW as ABRASIVE
from planish.physics.removal.law import Law
from planish.physics.removal.offset import LAW as OFFSET
from planish.physics.removal.power import LAW as POWER
from planish.physics.removal.preston import LAW as PRESTON
from planish.physics.removal.threshold import LAW as THRESHOLD
from planish.physics.removal.two_step import LAW as TWO_STEP

Array = NDArray[np.float64]

OWN: tuple[Law, ...] = (PRESTON, POWER, OFFSET, THRESHOLD, ABRASIVE, TWO_STEP)
LAWS: Registry[Law] = Registry("removal law", "planish.laws", Law, lambda: OWN)

SOURCES: tuple[str, ...] = (*(line for law in OWN for line in law.sources), *factors.SOURCES)


def removal_rate(
    law: str,
    coefficients: Mapping[str, float],
    p: ArrayLike,
    v: ArrayLike,
    *,
    temperature: ArrayLike | None = None,
    friction: ArrayLike | None = None,
    mechanical: ArrayLike = 1.0,
    chemical: ArrayLike = 1.0,
    dissolved: ArrayLike = 1.0,
) -> Array:
    """Rate at which the film is removed.

    Where v is a mean over a turn, laws linear in v take it as it is; for a law with a power of the
    speed pass ``motion.speed_moment(A, B, beta) ** (1 / beta)``.

    Parameters
    ----------
    law
        The name of one in ``LAWS``.
    coefficients
        By the names of the law's record, SI units.
    p, v
        Pressure on summits [Pa] and relative speed [m/s], broadcastable, not negative.
    temperature
        Of the pad's surface [K]; used, and required, by a law with a warm term only.
    friction
        Coefficient of friction [1], in place of the law's coefficient of friction where it has one.
    mechanical, chemical
        Factors on the terms of each kind [1]; 1 at the law's reference.
    dissolved
        Factor of oxidiser and inhibitor [1], on chemical terms alone; 1 at the law's reference.

    Returns
    -------
    Rate [m/s], broadcast shape.

    Raises
    ------
    SetupError
        Unknown law.
    ModelError
        Missing or unknown coefficient, negative pressure or speed, or no temperature where the law
        needs one.
    """
    record = LAWS.get(law)
    if record.warm and temperature is None:
        raise ModelError(refuse("temperature", None, f"given, in K, for the law {law!r}"))
    hot = np.asarray(0.0 if temperature is None else temperature, dtype=np.float64)
    values = term_values(law, coefficients, p, v, hot, friction)
    return record.rate(values, np.asarray(mechanical), np.asarray(chemical), np.asarray(dissolved))


def term_values(
    law: str,
    coefficients: Mapping[str, float],
    p: ArrayLike,
    v: ArrayLike,
    temperature: Array,
    friction: ArrayLike | None = None,
) -> list[Array]:
    """Return the terms of a law [m/s] in order; parameters and errors are those of ``removal_rate``."""
    record = LAWS.get(law)
    c = record.checked(coefficients)
    p, v = np.asarray(p, dtype=np.float64), np.asarray(v, dtype=np.float64)
    if np.any(p < 0) or np.any(v < 0):
        raise ModelError(refuse("pressure and speed", "a negative value", "0 or more"))
    return record.values(c, p, v, temperature, friction)
