"""From the settings of the plain tuning to those with the highest chance of meeting all limits, counted for both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import SetupError, refuse
from planish.predict.wafer.bands import spreads
from planish.predict.wafer.correlations import correlations, mixed
from planish.tuning.amounts import amounts_for
from planish.tuning.chance.counted import Chance, Count
from planish.tuning.chance.draws import COUNTED, SEARCHED, Draws, Polished, draws_of, paces, polished, slim
from planish.tuning.chance.meet import Meet, figures
from planish.tuning.chance.response import Response, Sides, response
from planish.tuning.chance.search import highest
from planish.tuning.course import timed
from planish.tuning.doses import Doses
from planish.tuning.incoming import as_profile
from planish.units import as_whole

if TYPE_CHECKING:
    from planish.engine.execute import Cancel, Progress
    from planish.setup.models import Setup
    from planish.tuning.course import Course, Settings
    from planish.tuning.incoming import Coming
    from planish.tuning.limits import Freedom

Array = NDArray[np.float64]
DRAWS = 200
SEARCH_DRAWS = 1000
LEAST_DRAWS, MOST_DRAWS = 20, 100_000
MOST_AGE = 10_000


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked for.

    ``limits`` to be met; ``stated`` whether the setup's spreads are drawn; ``over_wafers`` how many wafers a pad polishes, 0
    for a new one; ``draws`` to count on, ``seed``, ``workers``; ``progress`` and ``cancel`` of the counting.
    """

    limits: tuple[Meet, ...]
    stated: bool = True
    over_wafers: int = 0
    draws: int = DRAWS
    seed: int = 0
    workers: int | None = None
    progress: Progress | None = None
    cancel: Cancel | None = None

    def __post_init__(self) -> None:
        as_whole(self.draws, "draws", LEAST_DRAWS, MOST_DRAWS)
        as_whole(self.over_wafers, "over_wafers", 0, MOST_AGE)
        as_whole(self.seed, "seed", 0, 2**63)


def by_chance(
    setup: Setup,
    coming: Coming,
    course: Course,
    freedom: Freedom,
    plain: Settings,
    asked: Asked,
) -> tuple[Settings, Chance]:
    """Return the settings with the highest chance of meeting all limits.

    Parameters
    ----------
    setup
        Whose spreads are drawn.
    coming
        The wafers, each as likely.
    course
        The recipe on the mean of them, with the amounts that are kept.
    freedom
        What may move, and how far.
    plain
        The settings of the plain tuning, which the search begins at.
    asked
        Limits and draws.

    Returns
    -------
    tuple[Settings, Chance]
        Those of the plain tuning where the search finds none that meet more draws.

    Raises
    ------
    SetupError
        Where nothing differs from wafer to wafer, and where no draw meets all limits.
    """
    tops = tuple(as_profile(rig) for rig in coming.rigs)
    sides = Sides(setup, spreads(setup) if asked.stated else [], course, plain)
    if not sides.moved and len(tops) == 1 and not asked.over_wafers:
        raise SetupError(
            "--meet: nothing differs from wafer to wafer here: must be a spread stated in the setup (as removal.oxide.spread), "
            "several incoming wafers, or --over-wafers"
        )
    pace = np.zeros((0, 1))
    if asked.over_wafers:  # how rates age, whatever steps stop on
        pace = paces(timed(coming.middle, plain), asked.over_wafers)
    doses = Doses(freedom, plain)

    together = correlations(setup, sides.moved)

    def drawn(count: int, stream: int) -> Draws:
        alone = draws_of(count, len(sides.moved), len(tops), asked.over_wafers, asked.seed, stream)
        return replace(alone, amounts=mixed(alone.amounts, together))

    searched = drawn(SEARCH_DRAWS, SEARCHED)

    def answers(settings: Settings) -> Response:
        return response(sides, freedom, doses, settings, searched, tops, pace)

    hold = not any(limit.key == "thickness" for limit in asked.limits)
    best = highest(answers, doses, plain, asked.limits, hold_mean=hold)
    other = freedom.rounded(best.settings)
    same = all(np.array_equal(one, two) for one, two in zip(plain, other, strict=True))
    tried = (plain,) if same else (plain, other)
    amounts = tuple(amounts_for(course, one) for one in tried)
    of = Polished(setup, slim(sides.moved), tops, pace, tried, amounts)
    found = polished(
        of, drawn(asked.draws, COUNTED), workers=asked.workers, progress=asked.progress, cancel=asked.cancel
    )
    left = [one for one in found if not isinstance(one, str)]
    refused = [one for one in found if isinstance(one, str)]
    if not left:
        raise SetupError(f"--meet: no draw of the spreads has an answer: must be some ({refused[0]})")
    disc, rig = sides.middle.counted, coming.middle
    shares = disc.shares
    places = np.append(sides.middle.radius[disc.inside], rig.wafer.radius - rig.wafer.edge_exclusion)
    each = [np.stack([one[at] for one in left]) for at in range(len(of.settings))]
    counted = [Count(asked.limits, figures(asked.limits, one, shares)) for one in each]
    made = Chance(
        plain=counted[0],
        chosen=counted[0],
        other=None if same else counted[1],
        places=places,
        left_plain=each[0],
        left_chosen=each[0],
        drawn=tuple(one.name for one in sides.moved),
        idle=tuple(sides.idle),
        wafers=len(tops),
        ages=asked.over_wafers,
        refused=(len(refused), refused[0] if refused else ""),
        seed=asked.seed,
        foreseen=best.foreseen,
        rounds=best.rounds,
    )
    settings = plain
    if not same and counted[1].met.sum() > counted[0].met.sum():
        settings, made = other, replace(made, chosen=counted[1], other=None, left_chosen=each[1])
    if not made.chosen.met.any():
        raise SetupError(_none_met(counted))
    return settings, made


def _none_met(counted: Sequence[Count]) -> str:
    """Say which limits no draw meets, and what the draws have."""
    best = min(counted, key=lambda one: int(one.failed.min()))
    low, _, high = best.quantiles()
    worst = np.argsort(-best.failed, kind="stable")[:2]
    told = "; ".join(
        f"{best.limits[at].told}: {best.failed[at]} draws do not meet it, 9 of 10 have {low[at]:.4g} to {high[at]:.4g} "
        f"{best.limits[at].figure.unit}"
        for at in worst
        if best.failed[at]
    )
    return refuse(
        "--meet",
        f"{best.values.shape[0]} draws",
        "met together by some draw",
        f"none of them meets all limits, neither with the plain settings nor with those searched for: {told}; widen these",
    )
