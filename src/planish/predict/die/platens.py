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
from planish.predict.die.level import Level
from planish.predict.die.model import DiePad
from planish.predict.die.pad import PadAfter
from planish.predict.wafer.polish import polish
from planish.setup.given import as_described, as_rig
from planish.units import show

if TYPE_CHECKING:
    from planish.predict.wafer.result import WaferResult
    from planish.setup.given import SetupLike
    from planish.setup.models import Setup
    from planish.setup.si import Rig

Array = NDArray[np.float64]


def described_platens(setup: SetupLike | Sequence[SetupLike]) -> tuple[list[Setup | Rig], list[Rig]]:
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
    rigs = [as_rig(one) for one in described]
    first = rigs[0].wafer.radius
    for number, rig in enumerate(rigs[1:], 2):
        if abs(rig.wafer.radius - first) > 1e-6 * first:
            raise SetupError(
                refuse(
                    f"platen {number}, {rig.title or 'untitled'}: wafer.diameter",
                    show(2 * rig.wafer.radius, "length"),
                    f"{show(2 * first, 'length')}, as on the first: one wafer passes them all",
                )
            )
    return described, rigs


@dataclass(frozen=True, slots=True)
class Platens:
    """Setups, what the wafer level says of each, and their pads."""

    rigs: tuple[Rig, ...]
    wafers: tuple[WaferResult, ...]
    pads: tuple[_PlatenPad, ...]

    @classmethod
    def of(cls, rigs: list[Rig], wafer: WaferResult | None, after: PadAfter | None) -> Platens:
        """Return the platens with a wafer polished on each.

        Parameters
        ----------
        rigs
            Their setups in SI, in the order in which a die meets them.
        wafer
            Polished on the first; None to polish it here.
        after
            State of the first one's pad; None for a new one.

        Returns
        -------
        Platens
            With one wafer and one pad a platen.
        """
        wafers = (wafer or polish(rigs[0]), *(polish(other) for other in rigs[1:]))
        pads = (
            _PlatenPad.of(one, after if number == 0 else None, found)
            for number, (one, found) in enumerate(zip(rigs, wafers, strict=True))
        )
        return cls(tuple(rigs), wafers, tuple(pads))

    def at(
        self, name: str, radius: float, level: Level, given: SurfaceState | None
    ) -> tuple[LocalConditions, list[DiePad]]:
        """Return the conditions at a place through all platens, and the pads there.

        Parameters
        ----------
        name
            Of the place.
        radius
            Of the place [m].
        level
            What stands there; its materials must have rates.
        given
            The pads' surface, where it is not to be computed.

        Returns
        -------
        tuple[LocalConditions, list[DiePad]]
            Conditions of all steps in turn, and one pad a platen.

        Raises
        ------
        SetupError
            For a material without a rate law.
        """
        each = [
            local_conditions(rig, found, name, radius, level.materials(), pad.change(radius))
            for rig, found, pad in zip(self.rigs, self.wafers, self.pads, strict=True)
        ]
        on = [
            pad.at(one.pressure, given, level.sliding_share) for pad, one in zip(self.pads, each, strict=True)
        ]
        return _in_turn(each), on


def _while_removing(wafer: WaferResult) -> float:
    """Return the mean temperature of the pad over what is removed [K]: a long last step that removes little counts little."""
    removed = [float(np.mean(step.removed)) for step in wafer.steps]
    if not sum(removed) > 0:
        return wafer.temperature
    warm = [float(np.mean(step.temperatures)) for step in wafer.steps]
    return float(np.average(warm, weights=removed))


@dataclass(frozen=True, slots=True)
class _PlatenPad:
    """The pad of one platen: what the die meets of it at any pressure."""

    rig: Rig
    after: PadAfter | None
    temperature: float
    compliance: Callable[[Array], Array]
    rigidity: float

    @classmethod
    def of(cls, rig: Rig, after: PadAfter | None, wafer: WaferResult) -> _PlatenPad:
        depth, top = (None, None) if after is None else (after.groove_depth, after.top_thickness)
        warm = _while_removing(wafer)
        if after is not None:
            warm += after.temperature - wafer.temperature
        compliance = die_conditions.stack_compliance(rig, depth, top, warm)
        return cls(rig, after, warm, compliance, die_conditions.wafer_rigidity(rig))

    def change(self, radius: float) -> float:
        return 1.0 if self.after is None else self.after.rate_change(radius)

    def at(self, pressure: float, given: SurfaceState | None, share: float) -> DiePad:
        worn = (1.0, 1.0) if self.after is None else self.after.summits_change
        state = given or die_conditions.pad_state(
            self.rig, pressure, sliding_share=share, temperature=self.temperature, worn=worn
        )
        return DiePad(self.compliance, state, self.rigidity)


def _in_turn(each: list[LocalConditions]) -> LocalConditions:
    """Conditions on several platens, one after the other."""
    steps = [replace(step, platen=number) for number, one in enumerate(each) for step in one.steps]
    return replace(each[0], steps=tuple(steps))
