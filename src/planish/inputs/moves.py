"""How far each input moves the answers, and in which direction: the setups of a trial, run one after the other."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Literal

from planish.errors import PlanishError
from planish.inputs.answers import Asked, Figures, figures
from planish.inputs.scenarios import scenario
from planish.inputs.stated import Statement, stated
from planish.inputs.tried import Input, Trial, trial

Way = Literal["up", "down", "turns", "differs", "comes and goes"]

LEAST = 1e-3  # of an answer: less is not called a move
TURN = 0.02  # of the whole move, by which an answer must go back to be called turning


@dataclass(frozen=True, slots=True)
class Move:
    """How an answer goes with an input.

    Attributes
    ----------
    answer
        Its words.
    change
        Largest less smallest over the larger size of the two.
    way
        As the input goes up: "up", "down", or "turns"; "differs" where the input has no order, "comes and goes" where
        some settings give no such answer.
    """

    answer: str
    change: float
    way: Way


@dataclass(frozen=True, slots=True)
class Moved:
    """What one input moves.

    Attributes
    ----------
    input, trial
        The input and how it was tried; no trial where nothing says over which settings.
    settings
        In words, those that could be used.
    refused
        In words, those that the setup refused, each with why.
    moves
        Of the answers that it moves, the largest first.
    statements
        What the trade or a source says of it.
    """

    input: Input
    trial: Trial | None
    settings: tuple[str, ...] = ()
    refused: tuple[str, ...] = ()
    moves: tuple[Move, ...] = ()
    statements: tuple[Statement, ...] = ()

    @property
    def acts(self) -> bool:
        """Whether it moves anything."""
        return bool(self.moves)

    def found(self, answer: str) -> Way | None:
        """Return in which direction an answer goes; None where the input does not move it."""
        return next((move.way for move in self.moves if move.answer == answer), None)


def moved(one: Input, count: int, wafers: int, folder: Path) -> Moved:
    """Return what an input moves.

    Parameters
    ----------
    one
        The input.
    count
        Of settings over its range.
    wafers
        Of a lot.
    folder
        With the files that trials name (`planish.inputs.scenarios.write_files`).

    Returns
    -------
    Moved
        With the direction of each answer.

    Raises
    ------
    SetupError
        For a scenario that cannot be made.
    """
    tried = trial(one, count)
    if tried is None:
        return Moved(one, None)
    base = scenario(tried.on, folder)
    if tried.beside:
        base = base.replace(tried.beside)
    asked = Asked(tried.asks, wafers)
    words: list[str] = []
    refused: list[str] = []
    answers: list[Figures] = []
    for word, changes in tried.settings:
        try:
            setup = base.replace(changes)
            found = figures(setup, asked)
        except PlanishError as error:
            refused.append(f"{word}: {error}")
            continue
        words.append(word)
        answers.append(found)
    moves = sorted(_moves(answers, tried.ordered), key=lambda move: -move.change) if len(answers) > 1 else []
    return Moved(one, tried, tuple(words), tuple(refused), tuple(moves), stated(one.key))


def _moves(answers: Sequence[Mapping[str, float | None]], ordered: bool) -> list[Move]:
    found = []
    for name in answers[0]:
        move = move_of(name, [each.get(name) for each in answers], ordered)
        if move is not None:
            found.append(move)
    return found


def move_of(answer: str, values: Sequence[float | None], ordered: bool) -> Move | None:
    """Return how an answer goes through its values; None where it stands still.

    Parameters
    ----------
    answer
        Its words.
    values
        One a setting, in order; None where there is none.
    ordered
        Whether the settings go from low to high.

    Returns
    -------
    Move | None
        Largest less smallest below ``LEAST`` of the larger size is standing still.
    """
    known = [value for value in values if value is not None]
    if len(known) < len(values):
        return Move(answer, 1.0, "comes and goes") if known else None
    size = max(abs(value) for value in known)
    span = max(known) - min(known)
    if not math.isfinite(span) or span <= LEAST * size:
        return None
    if not ordered:
        return Move(answer, span / size, "differs")
    steps = [b - a for a, b in pairwise(known)]
    back = TURN * span
    way: Way = "turns"
    if all(step >= -back for step in steps):
        way = "up"
    elif all(step <= back for step in steps):
        way = "down"
    return Move(answer, span / size, way)
