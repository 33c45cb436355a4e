"""What a search moves in: pressures times times.

What a zone removes goes about as its pressure times the time of its step, so in doses u = p t/t0 (t0 the time at which
the search began) the thickness left is nearly straight, and a step may trade pressure for time without bending away.
Limits stay straight: a p <= b is a u <= b t/t0.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from planish.tuning.frees import Frees
    from planish.tuning.influence import Answers
    from planish.tuning.several import Reading

Array = NDArray[np.float64]


class Doses:
    """Settings that move, as doses and times.

    Attributes
    ----------
    matrix, most
        The limits as rows: matrix u at most ``most``, (k, n) and (k,).
    times
        Which of the unknowns are times.
    """

    def __init__(self, freedom: Frees, start: Any) -> None:
        self._freedom = freedom
        self._steps = freedom.by_step
        self._begin = freedom.pack(start)
        self.times = freedom.times
        self.matrix, self.most = freedom.rows.matrix.copy(), freedom.rows.most.copy()
        for pressures, time in self._steps:
            rows = np.any(self.matrix[:, pressures] != 0.0, axis=1)  # a limit of pressures is one of one step
            self.matrix[rows, time] -= self.most[rows] / self._begin[time]
            self.most[rows] = 0.0

    def pack(self, settings: Any) -> Array:
        """Return settings as doses (n,)."""
        x = self._freedom.pack(settings)
        for pressures, time in self._steps:
            x[pressures] *= x[time] / self._begin[time]
        return x

    def unpack(self, doses: Array) -> Any:
        """Return all settings for doses (n,)."""
        return self._freedom.unpack(self._plain(doses))

    def _plain(self, doses: Array) -> Array:
        x = doses.copy()
        for pressures, time in self._steps:
            x[pressures] *= self._begin[time] / x[time]
        return x

    def _turn(self, x: Array) -> Array:
        """Return the change of settings by doses, (n, n)."""
        turn = np.eye(x.size)
        for pressures, time in self._steps:
            turn[pressures, pressures] = self._begin[time] / x[time]
            turn[pressures, time] = -x[pressures] / x[time]
        return turn

    def slopes(self, doses: Array, read: Array | Reading, first: Array) -> Array:
        """Return how what is left answers to doses.

        Parameters
        ----------
        doses
            Where, (n,).
        read
            Takes a profile to its values at m places, (m, n_r).
        first
            Influence of the settings, (steps, zones + 2, n_r).

        Returns
        -------
        Array
            (m, n).
        """
        return np.asarray(read @ self._freedom.columns(first) @ self._turn(self._plain(doses)))

    def bends(self, doses: Array, read: Array | Reading, answers: Answers) -> Array:
        """Return how these answers bend.

        Parameters
        ----------
        doses, read
            As for :meth:`slopes`.
        answers
            To the settings.

        Returns
        -------
        Array
            (m, n, n).
        """
        x = self._plain(doses)
        turn, slopes = self._turn(x), read @ self._freedom.columns(answers.first)
        second = self._freedom.bends(answers.second)
        bends = np.tensordot(read, second, axes=1) if isinstance(read, np.ndarray) else read @ second
        bends = turn.T @ bends @ turn
        for pressures, time in self._steps:  # p = u t0/t bends by itself
            mixed = -slopes[:, pressures] * self._begin[time] / x[time] ** 2
            bends[:, pressures, time] += mixed
            bends[:, time, pressures] += mixed
            bends[:, time, time] += 2.0 * slopes[:, pressures] @ x[pressures] / x[time] ** 2
        return np.asarray(bends)

    def stretched(self, doses: Array, share: float) -> Array:
        """Return doses of the same pressures for other times.

        Parameters
        ----------
        doses
            As they are, (n,).
        share
            By which all times are longer.

        Returns
        -------
        Array
            (n,).
        """
        x = self._plain(doses)
        x[self.times] *= 1.0 + share
        for pressures, time in self._steps:
            x[pressures] *= x[time] / self._begin[time]
        return x

    def pressed(self, doses: Array) -> Array:
        """Return how doses move, per share, as all pressures that move are raised alike in the same times, (n,)."""
        by = doses.copy()
        by[self.times] = 0.0
        return by

    def prices(self, doses: Array, prices: Array) -> Array:
        """Return the prices of the limits themselves; one of a pressure moves by its step's time.

        Parameters
        ----------
        doses
            Where, (n,).
        prices
            Of these rows, (k,).

        Returns
        -------
        Array
            (k,).
        """
        made = prices.copy()
        for pressures, time in self._steps:
            rows = np.any(self.matrix[:, pressures] != 0.0, axis=1)
            made[rows] *= doses[time] / self._begin[time]
        return made
