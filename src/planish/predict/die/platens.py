"""The platens that a wafer passes one after the other, as a die meets them: conditions and pads at any radius."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, cast

import numpy as np
from numpy.typing import NDArray

from planish.errors import SetupError, refuse
from planish.predict.die import conditions as die_conditions
from planish.predict.die.conditions import LocalConditions, SurfaceState, local_conditions
from planish.predict.die.model import DiePad
from planish.predict.die.pad import PadAfter
from planish.predict.wafer.polish import polish
from planish.setup.given import as_bench, as_described
from planish.units import show

if TYPE_CHECKING:
    from planish.predict.wafer.result import WaferResult
    from planish.setup.given import SetupLike
    from planish.setup.models import Setup
    from planish.setup.si import Bench

Array = NDArray[np.float64]


def described_platens(setup: SetupLike | Sequence[SetupLike]) -> tuple[list[Setup | Bench], list[Bench]]:
    """Return one setup, or several (platens one after the other), as described and as SI records.

    Raises
    ------
    SetupError
        For none at all, or platens for wafers of several sizes.
    """
    several = setup if isinstance(setup, list | tuple) else [cast("SetupLike", setup)]
    described = [as_described(one) for one in several]
    if not described:
        raise SetupError(refuse("setups", "none", "one or more"))
    benches = [as_bench(one) for one in described]
    first = benches[0].wafer.radius
    for number, bench in enumerate(benches[1:], 2):
        if abs(bench.wafer.radius - first) > 1e-6 * first:
            raise SetupError(
                refuse(
                    f"platen {number}, {bench.title or 'untitled'}: wafer.diameter",
                    show(2 * bench.wafer.radius, "length"),
                    f"{show(2 * first, 'length')}, as on the first: one wafer passes them all",
                )
            )
    return described, benches


@dataclass(frozen=True, slots=True)
class Platens:
    """Setups, what the wafer level says of each, and their pads."""

    benches: tuple[Bench, ...]
    wafers: tuple[WaferResult, ...]
    pads: tuple[_PlatenPad, ...]

    @classmethod
    def of(cls, benches: list[Bench], wafer: WaferResult | None, after: PadAfter | None) -> Platens:
        """Return them; ``wafer`` and ``after`` (a worn pad) are those of the first platen."""
        return cls(
            tuple(benches),
            (wafer or polish(benches[0]), *(polish(other) for other in benches[1:])),
            tuple(_PlatenPad.of(one, after if number == 0 else None) for number, one in enumerate(benches)),
        )

    def at(
        self, name: str, radius: float, needed: tuple[str, ...], given: SurfaceState | None
    ) -> tuple[LocalConditions, list[DiePad]]:
        """Return the conditions at ``radius`` [m] through all platens, and the pads there."""
        each = [
            local_conditions(bench, found, name, radius, needed, pad.change(radius))
            for bench, found, pad in zip(self.benches, self.wafers, self.pads, strict=True)
        ]
        on = [pad.at(one.pressure, given) for pad, one in zip(self.pads, each, strict=True)]
        return _in_turn(each), on


@dataclass(frozen=True, slots=True)
class _PlatenPad:
    """The pad of one platen: what the die meets of it at any pressure."""

    bench: Bench
    after: PadAfter | None
    compliance: Callable[[Array], Array]
    rigidity: float

    @classmethod
    def of(cls, bench: Bench, after: PadAfter | None) -> _PlatenPad:
        worn = (None, None) if after is None else (after.groove_depth, after.top_thickness)
        return cls(
            bench, after, die_conditions.stack_compliance(bench, *worn), die_conditions.wafer_rigidity(bench)
        )

    def change(self, radius: float) -> float:
        return 1.0 if self.after is None else self.after.rate_change(radius)

    def at(self, pressure: float, given: SurfaceState | None) -> DiePad:
        summits = (None, None) if self.after is None else (self.after.decay_length, self.after.real_pressure)
        state = given or die_conditions.pad_state(
            self.bench, pressure, decay_length=summits[0], real_pressure=summits[1]
        )
        return DiePad(self.compliance, state, self.rigidity)


def _in_turn(each: list[LocalConditions]) -> LocalConditions:
    """Conditions on several platens, one after the other."""
    steps = [replace(step, platen=number) for number, one in enumerate(each) for step in one.steps]
    return replace(each[0], steps=tuple(steps))
