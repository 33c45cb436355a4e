"""The knobs of a choice: keys of the setup in a range, or in a list of values or parts, as numbers of a point."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from planish.engine.record import Record
from planish.errors import SetupError, refuse
from planish.tuning.study.run import try_values
from planish.tuning.study.vary import Varied, varied
from planish.tuning.tradeoffs.search import Axis, Point

if TYPE_CHECKING:
    from planish.setup.models import Setup

EXAMPLE = (
    "as --vary 'recipe.step.main.platen_speed=60..120 rpm' --vary 'pad.part=hard-solid, hard-microporous'"
)


@dataclass(frozen=True, slots=True, repr=False)
class Knob(Record):
    """One key with the values that it may take, and the axis of the search that stands for them."""

    varied: Varied
    axis: Axis

    @property
    def path(self) -> str:
        """As the setup calls it."""
        return self.varied.path

    def at(self, number: float) -> Any:
        """Return the value that a number of a point stands for, as the file would have it."""
        return self.varied.values[int(number)] if self.axis.count else self.varied.at(number)

    def told(self) -> str:
        """Return its values in words."""
        if not self.axis.count:
            return f"{self.varied.values[0]} to {self.varied.values[-1]}"
        return ", ".join(str(value) for value in self.varied.values)


def read_knobs(setup: Setup, vary: Mapping[str, object]) -> list[Knob]:
    """Return the knobs that were asked for, each tried on the setup.

    Parameters
    ----------
    setup
        That they are keys of.
    vary
        Key to a range or a list, as `planish.tuning.study.vary` reads them.

    Raises
    ------
    SetupError
        For no knob at all, one that there is not, or one none of whose values can be used.
    """
    if not isinstance(vary, Mapping) or not vary:
        raise SetupError(refuse("vary", vary or "nothing", "one key or more with its values", EXAMPLE))
    knobs = []
    for path, values in vary.items():
        one = varied(setup, path, values)
        try_values(setup, one)
        knobs.append(Knob(one, _axis(one)))
    for at, knob in enumerate(knobs):
        if knob.path in [other.path for other in knobs[:at]]:
            raise SetupError(f"vary {knob.path}: given twice: must be given once")
    return knobs


def _axis(one: Varied) -> Axis:
    if one.ends is not None and not one.counted:
        return Axis(*one.ends)
    return Axis(count=len(one.values), ordered=one.numeric)


def changes_of(knobs: Sequence[Knob], point: Point) -> dict[str, Any]:
    """Return what a point changes.

    Parameters
    ----------
    knobs
        In the order of its numbers.
    point
        Of the search.

    Returns
    -------
    dict[str, Any]
        Path to value, as the file would have it.
    """
    return {knob.path: knob.at(number) for knob, number in zip(knobs, point, strict=True)}
