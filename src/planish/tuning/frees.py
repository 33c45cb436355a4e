"""What a search must know of what may move: one setup's freedom, or that of several platens."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from planish.tuning.influence import Bends
    from planish.tuning.limits import Rows

Array = NDArray[np.float64]


class Frees(Protocol):
    """Settings that move within limits, as numbers and back; attributes as :class:`planish.tuning.limits.Freedom` has them."""

    @property
    def free(self) -> NDArray[np.bool_]:
        """Which settings move, (steps, zones + 2)."""

    @property
    def scale(self) -> Array:
        """Of those that move, in SI, (n,)."""

    @property
    def rows(self) -> Rows:
        """What they keep to."""

    @property
    def times(self) -> NDArray[np.int_]:
        """Which of them are times."""

    @property
    def by_step(self) -> list[tuple[NDArray[np.int_], int]]:
        """Of each step whose time moves: its pressures, and its time."""

    def pack(self, settings: Any) -> Array:
        """Return the settings that move in their scales, (n,)."""

    def unpack(self, x: Array) -> Any:
        """Return all settings for those that move."""

    def columns(self, influence: Array) -> Array:
        """Return the influence as a matrix by what moves, (n_r, n)."""

    def bends(self, second: Sequence[Bends]) -> Array:
        """Return second derivatives as a matrix by what moves, (n_r, n, n)."""
