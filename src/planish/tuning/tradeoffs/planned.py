"""What a choice is asked for, read and tried on the setup as it stands; and how long one setup of it takes to try."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from planish.errors import PlanishError, SetupError
from planish.setup.given import as_setup
from planish.tuning.tradeoffs.aims import Answer, AskedAim, read_aims, resolved
from planish.tuning.tradeoffs.knobs import Knob, changes_of, read_knobs
from planish.tuning.tradeoffs.limits import named_answers, read_limits, unnamed
from planish.tuning.tradeoffs.predicted import NeverThereError, Prediction, Predictor, Seen, Trial
from planish.tuning.tradeoffs.search import Axis, Point, needs_library, possible

if TYPE_CHECKING:
    from planish.setup.given import SetupLike
    from planish.setup.models import Setup

TIMED = 4  # setups that are tried to tell how long one takes


@dataclass(frozen=True, slots=True)
class Plan:
    """A choice as it was asked for.

    Attributes
    ----------
    described
        The setup that it starts from.
    knobs
        In the order of a point's numbers.
    trial
        Tries changes of the setup.
    stands
        The prediction of the setup as it stands; None where there is none.
    start
        The same as aims and limits see it.
    """

    described: Setup
    knobs: tuple[Knob, ...]
    trial: Trial
    stands: Prediction | None
    start: Seen

    @property
    def axes(self) -> list[Axis]:
        """Of the search, one a knob."""
        return [knob.axis for knob in self.knobs]

    @property
    def possible(self) -> float:
        """How many setups there are, infinite where a knob lies in a range."""
        return possible(self.axes)

    def time_of_one(self, seed: int = 0) -> float:
        """Return how long one setup takes to be tried here [s]: the mean of a few drawn from all there are.

        Parameters
        ----------
        seed
            Of the draws.
        """
        chance = np.random.default_rng(seed)
        drawn = [changes_of(self.knobs, self._drawn(chance)) for _ in range(TIMED)]
        began = time.perf_counter()
        for changes in drawn:
            self.trial.seen(changes)
        return (time.perf_counter() - began) / TIMED

    def _drawn(self, chance: np.random.Generator) -> Point:
        return tuple(
            float(chance.integers(axis.count))
            if axis.count
            else axis.rounded(chance.uniform(axis.low, axis.high))
            for axis in self.axes
        )


def planned(
    setup: SetupLike,
    vary: Mapping[str, object],
    aims: Sequence[str],
    limits: Mapping[str, str],
    predictor: Predictor,
    runs: int,
) -> Plan:
    """Return a choice as it was asked for, once all of it can be used.

    Parameters
    ----------
    setup, vary, aims, limits, runs
        As for :func:`planish.choose`.
    predictor
        Predicts each setup.

    Returns
    -------
    Plan
        With the setup as it stands predicted.

    Raises
    ------
    SetupError
        For an aim, a limit or a key that there is not.
    PlanishError
        Where the library that searches is missing.
    """
    described = as_setup(setup)
    asked_aims = read_aims([aims] if isinstance(aims, str) else list(aims))
    knobs = read_knobs(described, vary)
    needs_library([knob.axis for knob in knobs], runs)
    stands, why = _as_it_stands(described, predictor, asked_aims, limits)
    found = {} if stands is None else stands.summaries
    trial = Trial(
        described,
        predictor,
        tuple(resolved(aim, found) for aim in asked_aims),
        tuple(read_limits(limits, found)),
    )
    start = Seen(None, refused=why) if stands is None else _start(trial, stands)
    return Plan(described, tuple(knobs), trial, stands, start)


def _as_it_stands(
    setup: Setup, predictor: Predictor, aims: list[AskedAim], limits: Mapping[str, str]
) -> tuple[Prediction | None, str]:
    """Return the start's own prediction, of as many answers as the names of aims and limits ask for, or why there is none."""
    needed: set[Answer] = {aim.known.answer for aim in aims if aim.known is not None} | named_answers(limits)
    names = [aim.name for aim in aims if aim.known is None] + unnamed(limits)
    try:
        found = predictor.predicted(setup, needed or {"wafer"})
        more: list[set[Answer]] = [{"wafer"}, {"lot"}, {"cost"}]
        if predictor.maps is not None:
            more.append({"die"})
        for answers in more:
            if all(any(name in summary for summary in found.summaries.values()) for name in names):
                break
            found = predictor.predicted(setup, needed | set().union(*more[: more.index(answers) + 1]))
    except NeverThereError:
        raise
    except PlanishError as error:
        if names:
            raise SetupError(
                f"{names[0]}: cannot be looked up: the setup as it stands has no answer: {error}"
            ) from None
        return None, str(error)
    return found, ""


def _start(trial: Trial, stands: Prediction) -> Seen:
    try:
        return trial.judged(stands)
    except NeverThereError:
        raise
    except PlanishError as error:
        return Seen(None, refused=str(error))
