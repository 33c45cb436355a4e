"""Which dwell table wears the pad evenly, and what is the setup with it?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from planish.predict.dwell import RATIO, TURNS, design_sweep

if TYPE_CHECKING:
    from planish.predict.sweep_design import SweepDesign
    from planish.setup.models import Setup


@dataclass(frozen=True, slots=True)
class DwellTable:
    """A dwell table and the setup that it was designed for."""

    design: SweepDesign
    setup: Setup

    def with_table(self) -> Setup:
        """Return the setup with the table in it."""
        return self.setup.replace(self.design.changes)


def dwell_table(
    setup: Setup,
    zones: int = 10,
    *,
    least: float = 0.0,
    ratio: float = RATIO,
    turns: int = TURNS,
    even: float | str | None = None,
) -> DwellTable:
    """Design the conditioner's dwell table for even pad wear under the wafer, as its arm can run it.

    Parameters
    ----------
    setup
        As loaded.
    zones, least, ratio, turns, even
        As for :func:`~planish.predict.dwell.design_sweep`.

    Raises
    ------
    SetupError
        As :func:`~planish.predict.dwell.design_sweep`.
    """
    made = design_sweep(setup, zones, least=least, ratio=ratio, turns=turns, even=even)
    return DwellTable(made, setup)
