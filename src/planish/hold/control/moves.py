"""The move that comes closest to what is wanted, within limits and within what may change from one wafer to the next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planish.engine.record import Record
from planish.errors import DataError, refuse
from planish.hold.control.belief import Array

RIDGE = (
    1e-3  # of the largest gain: of moves that do the same, the one nearest to the settings that were set up
)


@dataclass(frozen=True, slots=True, repr=False)
class Room(Record):
    """How far settings may be moved.

    Attributes
    ----------
    names
        Of the settings, as a person says them.
    low, high
        Least and most move from where they were set up, (moves,).
    most
        Most change from one wafer to the next, (moves,).
    """

    names: tuple[str, ...]
    low: Array
    high: Array
    most: Array

    def __post_init__(self) -> None:
        Record.__post_init__(self)
        for name, low, high, most in zip(self.names, self.low, self.high, self.most, strict=True):
            if not low <= 0.0 <= high:
                raise DataError(
                    refuse(f"limits of {name}", (float(low), float(high)), "around the setting that was set up",
                           "its move is 0 there")
                )  # fmt: skip
            if not most > 0.0:
                raise DataError(refuse(f"most change of {name}", float(most), "above 0"))


def best_move(gain: Array, wanted: Array, room: Room, last: Array) -> tuple[Array, tuple[str, ...]]:
    """Return the move that comes closest.

    Parameters
    ----------
    gain
        (outputs, moves).
    wanted
        What the move should do, (outputs,).
    room
        Limits.
    last
        The move of the wafer before, (moves,).

    Returns
    -------
    tuple[Array, tuple[str, ...]]
        The move (moves,), and the limits that hold it, in words.
    """
    low = np.minimum(np.maximum(room.low, last - room.most), room.high)
    high = np.maximum(np.minimum(room.high, last + room.most), room.low)
    low = np.minimum(low, high)
    own = np.diag(gain) if gain.shape[0] == gain.shape[1] else None
    if (
        own is not None and np.count_nonzero(gain) == np.count_nonzero(own) == own.size
    ):  # each output has its own move
        move = np.clip(wanted / own, low, high)
    else:
        from scipy.optimize import lsq_linear

        scale = 1.0 / np.where(np.isfinite(room.most), room.most, 1.0)
        pull = RIDGE * float(np.abs(gain).max()) * np.diag(scale / scale.max())
        found = lsq_linear(
            np.vstack([gain, pull]),
            np.concatenate([wanted, np.zeros(gain.shape[1])]),
            bounds=(low - 1e-12, high + 1e-12),
            method="bvls",
        )
        move = np.clip(found.x, low, high)
    tight = 1e-9 + 1e-6 * np.where(np.isfinite(room.most), room.most, 0.0)
    held = []
    for at, name in enumerate(room.names):
        if move[at] <= low[at] + tight[at]:
            held.append(
                f"least {name}" if low[at] <= room.low[at] else f"change of {name} from wafer to wafer"
            )
        elif move[at] >= high[at] - tight[at]:
            held.append(
                f"most {name}" if high[at] >= room.high[at] else f"change of {name} from wafer to wafer"
            )
    return move, tuple(held)
