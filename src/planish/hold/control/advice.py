"""What a controlled step answers: an advice, or what became of what it was told."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from planish.engine.record import Record
from planish.hold.control.belief import Array
from planish.hold.control.replay import Place
from planish.hold.control.result import CAUTION
from planish.hold.control.steered import Asked
from planish.units import PSI


@dataclass(frozen=True, slots=True, repr=False)
class ControlAdvice(Record):
    """What to set for the next wafer of a head on a platen; ``number`` None where the step is switched off.

    ``settings`` to be set, ``now`` those in force; ``expected`` and ``spread`` [m] of what is removed, (outputs,); ``limits`` that
    hold it; ``why`` in words; ``approved``: whether it is in force already.
    """

    number: int | None
    place: Place
    step: str
    outputs: tuple[str, ...]
    settings: Asked
    now: Asked
    expected: Array
    spread: Array
    limits: tuple[str, ...]
    why: str
    approved: bool
    switch: str

    @property
    def off(self) -> bool:
        """Whether the step is switched off, so that no move is made."""
        return self.number is None

    def document(self) -> dict[str, object]:
        """Return it as JSON-ready data."""
        return {
            "number": self.number,
            "off": self.off,
            "approved": self.approved,
            "switch": self.switch,
            "head": self.place[0],
            "platen": self.place[1],
            "step": self.step,
            **told_settings(self.settings),
            "time_now_s": self.now.time,
            "held": [
                {"output": name, "expected_nm": 1e9 * float(amount), "spread_nm": 1e9 * float(spread)}
                for name, amount, spread in zip(self.outputs, self.expected, self.spread, strict=True)
            ],
            "limits": list(self.limits),
            "why": self.why,
            "notes": [CAUTION],
        }


@dataclass(frozen=True, slots=True, repr=False)
class ControlNews(Record):
    """What became of what was told: a sentence, and figures beside it."""

    text: str
    figures: Mapping[str, object]

    def document(self) -> dict[str, object]:
        """Return it as JSON-ready data."""
        return {"text": self.text, **self.figures}


def told_settings(asked: Asked) -> dict[str, Any]:
    """Return settings as an event and a document hold them, in trade units."""
    return {"time_s": round(asked.time, 6), "pressures_psi": np.round(asked.pressures / PSI, 6).tolist()}
