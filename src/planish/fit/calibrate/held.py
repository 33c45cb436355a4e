"""All that was measured beside what a setup says of it as it stands, before anything is fitted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import counted
from planish.errors import DataError, ModelError, refuse
from planish.results.plain import unique
from planish.results.result import Result
from planish.setup.given import as_setup
from planish.units import NM_PER_MIN

if TYPE_CHECKING:
    import xarray as xr

    from planish.fit.calibrate.observed import Observed
    from planish.setup.given import SetupLike

Array = NDArray[np.float64]
UM_PER_H = 3.6e9


@dataclass(frozen=True, repr=False)
class HeldSets(Result):
    """Result of :func:`hold_against`.

    Attributes
    ----------
    sets
        As measured.
    predicted
        Of each set, as many numbers as it has, in its unit.
    rests_on
        Sources of the setup.
    """

    kind: ClassVar[str] = "measured sets"

    sets: tuple[Observed, ...]
    predicted: tuple[Array, ...]
    rests_on: tuple[str, ...]

    def _told(self) -> str:
        figures = self._content()
        return f"{counted(len(self.sets), 'set')}, misfit {figures['misfit_percent']:.3g} %, worst {figures['worst_set']}"

    @property
    def notes(self) -> tuple[str, ...]:
        """What was understood of the files, a line each."""
        return tuple(unique([line for one in self.sets for line in one.understood]))

    def sources(self) -> list[str]:
        """Return the files that were read, and what the setup rests on."""
        files = [f"measured: {name} (SHA-256 {mark})" for one in self.sets for name, mark in one.files]
        return unique([*files, *self.rests_on])

    def off(self) -> list[Array]:
        """Return by how much each number is foretold too high [%], a set at a time."""
        return [
            100.0 * (foretold - one.values) / float(np.abs(one.values).mean())
            for one, foretold in zip(self.sets, self.predicted, strict=True)
        ]

    def _content(self) -> dict[str, Any]:
        off = self.off()
        rms = [float(np.sqrt(np.mean(each**2))) for each in off]
        return {
            "sets_held": len(self.sets),
            "numbers": sum(one.values.size for one in self.sets),
            "misfit_percent": float(np.sqrt(np.mean(np.square(rms)))),
            "worst_set": self.sets[int(np.argmax(rms))].name,
            "sets": [
                {**_row(one, foretold), "off_percent": float(each.mean()), "misfit_percent": size}
                for one, foretold, each, size in zip(self.sets, self.predicted, off, rms, strict=True)
            ],
        }

    def dataset(self) -> xr.Dataset:
        """Return the figures, and each number with its set: measured, foretold, and the difference over the set's size."""
        of_set = np.repeat(np.arange(len(self.sets)), [one.values.size for one in self.sets])
        over = {
            "measured": (np.concatenate([one.values for one in self.sets]), {"units": "", "long_name": "measured, SI of its set"}),
            "predicted": (np.concatenate(self.predicted), {"units": "", "long_name": "foretold, SI of its set"}),
            "off": (np.concatenate(self.off()) / 100.0, {"units": "1", "long_name": "foretold too high, over the set's mean"}),
            "set_of_value": (of_set, {"units": "1", "long_name": "which set, from 0"}),
        }  # fmt: skip
        return Result.dataset(self).assign(
            {name: ("value", values, told) for name, (values, told) in over.items()}
        )


def _row(one: Observed, foretold: Array) -> dict[str, Any]:
    scale, unit = (1e9, "nm") if one.unit == "m" else (NM_PER_MIN, "nm/min")
    if one.kind == "cut":
        scale, unit = UM_PER_H, "um/h"
    return {
        "name": one.name,
        "kind": one.kind,
        "numbers": int(one.values.size),
        "measured_mean": float(one.values.mean()) * scale,
        "predicted_mean": float(foretold.mean()) * scale,
        "unit": unit,
        "changes": dict(one.changes),
    }


def hold_against(
    setup: SetupLike, sets: Sequence[Observed], *, tell: Callable[[float], None] | None = None
) -> HeldSets:
    """Hold sets of measured numbers against a setup as it stands.

    Parameters
    ----------
    setup
        They were measured with.
    sets
        From :func:`~planish.fit.calibrate.observe.observe`.
    tell
        Called with the share done, 0 to 1.

    Returns
    -------
    HeldSets
        Measured beside foretold.

    Raises
    ------
    PlanishError
        For no sets, and where the model has no answer to one of them.
    """
    if not sets:
        raise DataError(refuse("sets of measured numbers", 0, "one or more"))
    described = as_setup(setup)
    made = []
    for number, one in enumerate(sets, start=1):
        foretold = np.asarray(one.predict(described), dtype=np.float64)
        if foretold.shape != one.values.shape or not np.all(np.isfinite(foretold)):
            raise ModelError(
                f"{one.name}: the model does not give a finite number for each of its {one.values.size}"
            )
        made.append(foretold)
        if tell is not None:
            tell(number / len(sets))
    return HeldSets(tuple(sets), tuple(made), tuple(described.sources))
