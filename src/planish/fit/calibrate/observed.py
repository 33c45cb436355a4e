"""What was measured, beside the way in which the full model foretells it: the one record that a fit of anything reads."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from planish.setup.models import Setup

Array = NDArray[np.float64]

#: Kinds of measured numbers whose full model takes seconds rather than milliseconds.
SLOW = frozenset({"lot", "steps"})


@dataclass(frozen=True, slots=True)
class Observed:
    """One set of measured numbers with the way in which the model foretells them.

    Attributes
    ----------
    name
        How a person calls it, such as ``wafer W07 (w07_post.csv)``.
    kind
        ``sites``, ``rate``, ``lot``, ``steps`` or ``cut``.
    values
        What was measured, SI, of shape (n,).
    sd
        Known measurement error of each value (one standard deviation), SI, of shape (n,); 0 where none is known.
    unit
        SI unit of the values.
    groups
        Index of the group of each value, of shape (n,): values of one group err together (a ring of sites, a lot).
    predict
        The full model: what ``values`` should be for a setup that has trial values already in it. It applies
        ``changes`` itself and raises a :class:`planish.errors.PlanishError` where there is no answer.
    files
        (file name, SHA-256) of what the numbers came from.
    understood
        What was understood of the files, one line each.
    changes
        What differs from the setup for this set (path to value), as :meth:`planish.Setup.replace` takes it.
    """

    name: str
    kind: str
    values: Array
    sd: Array
    unit: str
    groups: NDArray[np.int64]
    predict: Callable[[Setup], Array]
    files: tuple[tuple[str, str], ...]
    understood: tuple[str, ...]
    changes: Mapping[str, object]

    @property
    def slow(self) -> bool:
        """Whether one prediction of this set takes seconds (a lot, a die) rather than milliseconds."""
        return self.kind in SLOW
