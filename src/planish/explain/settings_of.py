"""Which setup an answer's settings can be changed in."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planish.setup.models import Setup

if TYPE_CHECKING:
    from planish.predict.wafer.result import WaferResult


def setup_of(result: WaferResult) -> Setup | None:
    """Return the setup that a wafer was polished from; None where it came from SI records alone."""
    setups = () if result.asked is None else result.asked.setups
    return setups[0] if setups and isinstance(setups[0], Setup) else None
