r"""How fitted numbers follow those that were held: with another pad, the same wafers would have given another rate.

What is held has a spread of its own. One standard deviation of it moves the prediction by d, and the fit then comes to
other values, by s = -C J^T W d, with C the covariance of the fitted numbers, J their derivatives and W the weights of
the values. So the fitted numbers err by C + sum s s^T, and go together with each held one by s. A band at the settings
that were measured is then no wider than the data leave it, and one elsewhere as wide as what is held makes it there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.execute import run_all
from planish.errors import PlanishError
from planish.fit.calibrate.model import predicted
from planish.predict.wafer.bands import spreads
from planish.predict.wafer.spread_keys import spread_changes, spread_key

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planish.fit.calibrate.observed import Observed
    from planish.fit.calibrate.parameters import Parameter
    from planish.fit.calibrate.solve import Solution
    from planish.setup.models import Setup

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Propagation of what is held into a least-squares fit: JCGM 100:2008 (GUM), 5.2 applied to its normal equations "
    "(derivation of our own)",
)


@dataclass(frozen=True, slots=True)
class HeldSpreads:
    """What was held, and how the fitted numbers follow it.

    Attributes
    ----------
    keys
        Dotted paths of what was held and has a spread (h,).
    values
        As the setup has them, text or numbers (h,).
    slopes
        By how much each coordinate moves with one standard deviation of each (p, h).
    said
        What could not be followed, in plain words.
    """

    keys: tuple[str, ...]
    values: tuple[str | float, ...]
    slopes: Array
    said: tuple[str, ...]


def held_spreads(
    setup: Setup,
    observed: Sequence[Observed],
    parameters: Sequence[Parameter],
    solution: Solution,
    *,
    workers: int = 1,
) -> HeldSpreads:
    """Return how fitted numbers follow what was held.

    Parameters
    ----------
    setup
        With the fitted values.
    observed
        The sets that were fitted to.
    parameters
        The free numbers.
    solution
        Where the fit ended.
    workers
        Processes that share the work; the numbers are the same on any number.
    """
    free = {one.path for one in parameters}
    held = [(key, one) for one in spreads(setup) if (key := spread_key(setup, one)) not in free]
    pieces: list[tuple[Setup, tuple[Observed, ...], dict[str, object]]] = []
    said: dict[str, str] = {}
    for key, one in held:
        for amount in (1.0, -1.0):
            try:
                changes = spread_changes(setup, one, amount)
            except PlanishError as error:
                changes, said[key] = {}, str(error)
            pieces.append((setup, tuple(observed), changes))
    found = run_all(predicted, pieces, workers=workers, processes=True)
    keys, slopes = [], []
    known = solution.scatter.whitened(solution.jacobian)
    for (key, _), up, down in zip(held, found[::2], found[1::2], strict=True):
        if isinstance(up, str) or isinstance(down, str):
            said[key] = up if isinstance(up, str) else str(down)
        if key in said or isinstance(up, str) or isinstance(down, str):
            continue
        pull = known.T @ solution.scatter.whitened(0.5 * (up - down))
        keys.append(key)
        slopes.append(-solution.estimated.covariance @ pull)
    return HeldSpreads(
        tuple(keys),
        tuple(setup.origins[key].value for key in keys),
        np.stack(slopes, axis=1) if slopes else np.zeros((len(free), 0)),
        tuple(
            f"{key}: cannot be moved by its spread, so that the fitted numbers' spreads leave it out ({why})"
            for key, why in said.items()
        ),
    )
