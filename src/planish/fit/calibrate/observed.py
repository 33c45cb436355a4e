"""One set of measured numbers, with the way in which the model foretells them: what every fit is made of."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from planish.setup.models import Setup

Array = NDArray[np.float64]


#: Kinds whose full model takes seconds rather than milliseconds.
SLOW = frozenset({"lot", "steps"})


@dataclass(frozen=True, slots=True)
class Observed:
    """One set of measured numbers with the way in which the model foretells them.

    Attributes
    ----------
    name
        How a person calls it: ``"wafer W07 (w07_post.csv)"``.
    kind
        What was measured: "sites", "rate", "lot", "steps" or "cut".
    values
        As measured [``unit``], (n,).
    sd
        Known measurement error of each, one standard deviation [``unit``], (n,); 0 where none is known.
    unit
        SI unit of the values.
    groups
        Values of one number err together (a ring of sites, a lot), (n,).
    predict
        The full model: from a setup to the same n numbers; raises PlanishError where it has no answer.
    files
        File name and SHA-256 of each file that the values came from.
    understood
        What was understood of the files, a line each.
    changes
        What differs from the setup for this set, by dotted path; ``predict`` sees to it.
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


@dataclass(frozen=True, slots=True)
class Heading:
    """What goes with a set of measured numbers, of whatever kind.

    Attributes
    ----------
    name
        How a person calls it.
    changes
        What was set otherwise for it, by dotted path.
    files
        Name and SHA-256 of its files.
    said
        What was understood so far, a line each.
    """

    name: str
    changes: Mapping[str, object] = field(default_factory=dict)
    files: tuple[tuple[str, str], ...] = ()
    said: tuple[str, ...] = ()

    def observed(
        self,
        kind: str,
        unit: str,
        predict: Callable[[Setup], Array],
        values: Array,
        sd: Array,
        groups: NDArray[np.int64],
        notes: Sequence[str] = (),
    ) -> Observed:
        """Return the set under this heading.

        Parameters
        ----------
        kind, unit, predict, values, sd, groups
            As of :class:`Observed`.
        notes
            What was understood beside.
        """
        return Observed(
            name=self.name,
            kind=kind,
            values=values,
            sd=sd,
            unit=unit,
            groups=groups,
            predict=predict,
            files=self.files,
            understood=(*self.said, *notes),
            changes=self.changes,
        )
