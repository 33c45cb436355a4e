"""What the model foretells of all sets of measurements, at any values of the free numbers, and how it goes with them.

Derivatives are central differences of the full model in each parameter's own coordinate. Every prediction is a piece of
work of its own, so that the numbers are the same on any number of workers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.execute import run_all
from planish.errors import DataError, FitError, PlanishError, refuse
from planish.fit.calibrate.observed import Observed

if TYPE_CHECKING:
    from planish.fit.calibrate.parameters import Parameter
    from planish.setup.models import Setup

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Model:
    """The model of some sets of measurements with some numbers free.

    Attributes
    ----------
    setup
        As loaded.
    observed
        The sets.
    parameters
        The free numbers.
    workers
        Processes that share the work.
    runs
        How often the model was asked so far (a list of one number).
    """

    setup: Setup
    observed: tuple[Observed, ...]
    parameters: tuple[Parameter, ...]
    workers: int = 1
    runs: list[int] = field(default_factory=lambda: [0])

    @property
    def measured(self) -> Array:
        """All measured values, one set after the other (n,)."""
        return np.concatenate([one.values for one in self.observed])

    @property
    def start(self) -> Array:
        """Coordinates of the setup's own values (p,)."""
        return np.array([one.coordinate(one.start) for one in self.parameters])

    def predictions(self, points: Sequence[Array]) -> list[Array | str]:
        """Return what the model foretells at some points.

        Parameters
        ----------
        points
            Coordinates, (p,) each.

        Returns
        -------
        list[Array | str]
            (n,) each; the refusal where the model has no answer.
        """
        self.runs[0] += len(points)
        pieces = [(self.setup, self.observed, changes_of(self.parameters, point)) for point in points]
        return run_all(predicted, pieces, workers=self.workers, processes=True)

    def at(self, point: Array) -> Array | str:
        """Return what the model foretells at one point, or its refusal."""
        return self.predictions([point])[0]

    def jacobian(self, point: Array) -> Array:
        """Return the derivatives of all predictions by the coordinates, (n, p).

        Parameters
        ----------
        point
            Coordinates (p,). On a bound, or where the model has no answer on one side, the other side is taken.

        Raises
        ------
        FitError
            Where the model has an answer on neither side.
        """
        steps = []
        for index, one in enumerate(self.parameters):
            low, high = one.bounds()
            for sign in (1.0, -1.0):
                there = point.copy()
                there[index] = min(max(point[index] + sign * one.step, low), high)
                steps.append(there)
        found = self.predictions([*steps, point])
        middle = found.pop()
        columns = []
        for index, one in enumerate(self.parameters):
            ends: list[tuple[float, Array]] = [
                (float(steps[at][index]), end)
                for at, end in enumerate(found[2 * index : 2 * index + 2], start=2 * index)
                if not isinstance(end, str)
            ]
            if len(ends) == 1 and not isinstance(middle, str):
                ends.append((float(point[index]), middle))
            if len(ends) < 2 or ends[0][0] == ends[1][0]:
                refused = next((end for end in found[2 * index : 2 * index + 2] if isinstance(end, str)), "")
                raise FitError(
                    f"{one.path} = {one.told(one.value(point[index]))}: cannot be moved either way from there ({refused}): "
                    "give it other bounds, or leave it out of what is free"
                )
            columns.append((ends[0][1] - ends[1][1]) / (ends[0][0] - ends[1][0]))
        return np.stack(columns, axis=1)


def changes_of(parameters: Sequence[Parameter], point: Array) -> dict[str, object]:
    """Return the changes that give a setup the values at a point.

    Parameters
    ----------
    parameters
        The free numbers.
    point
        Their coordinates (p,).
    """
    changes: dict[str, object] = {}
    for one, coordinate in zip(parameters, point, strict=True):
        changes |= one.changes(one.value(float(coordinate)))
    return changes


def predicted(piece: tuple[Setup, tuple[Observed, ...], Mapping[str, object]]) -> Array | str:
    """Return what a setup with some changes foretells of all sets (n,), or its refusal.

    Parameters
    ----------
    piece
        The setup, the sets, and the changes.
    """
    setup, observed, changes = piece
    try:
        there = setup.replace(changes)
        made = [_of_set(one, there) for one in observed]
    except DataError:
        raise
    except PlanishError as error:
        return str(error)
    return np.concatenate(made)


def _of_set(one: Observed, setup: Setup) -> Array:
    values = np.asarray(one.predict(setup), dtype=np.float64)
    if values.shape != np.shape(one.values):
        raise DataError(
            f"{one.name}: the prediction has {values.size} values: must have {np.size(one.values)}, one for each "
            "that was measured"
        )
    if not np.all(np.isfinite(values)):
        at = int(np.flatnonzero(~np.isfinite(values))[0]) + 1
        raise FitError(f"{one.name}: value {at} is predicted as {values[at - 1]}: must be finite")
    return values


def sound(observed: object) -> tuple[Observed, ...]:
    """Return sets of measurements that can be fitted.

    Parameters
    ----------
    observed
        One set or several.

    Raises
    ------
    DataError
        For what is no set, and for a set whose numbers cannot be used, with its name.
    """
    sets = [observed] if isinstance(observed, Observed) else observed
    if not isinstance(sets, list | tuple) or not sets:
        raise DataError(
            "observed: nothing was given: must be one or more sets of measurements (planish.Observed), such as those "
            "that a runs table or a site map gives"
        )
    for one in sets:
        if not isinstance(one, Observed):
            raise DataError(
                f"observed: a {type(one).__name__} was given: must be sets of measurements (planish.Observed)"
            )
        _sound(one)
    return tuple(sets)


def _sound(one: Observed) -> None:
    values, sd, groups = np.asarray(one.values), np.asarray(one.sd), np.asarray(one.groups)
    if values.ndim != 1 or values.size == 0:
        raise DataError(
            f"{one.name}: {values.size} values in {values.ndim} dimensions: must be one or more in a row"
        )
    if sd.shape != values.shape or groups.shape != values.shape:
        raise DataError(
            f"{one.name}: {values.size} values, {sd.size} errors, {groups.size} groups: must be as many of each"
        )
    for name, array in (("value", values), ("error", sd)):
        if not np.all(np.isfinite(array)):
            at = int(np.flatnonzero(~np.isfinite(array))[0])
            raise DataError(
                refuse(
                    f"{one.name}: {name} {at + 1}", float(array[at]), "a finite number", "leave the row out"
                )
            )
    if np.any(sd < 0):
        at = int(np.flatnonzero(sd < 0)[0])
        raise DataError(
            refuse(f"{one.name}: error {at + 1}", float(sd[at]), "0 or more", "0 where it is not known")
        )
    if not np.any(values):
        raise DataError(f"{one.name}: all {values.size} values are 0: must hold one that is not")
