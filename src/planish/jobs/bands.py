"""How far may the figures of an answer be off, what does most to it, and which stated spreads do nothing?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from planish.predict.wafer.bands import without_effect

if TYPE_CHECKING:
    from planish.predict.wafer.bands import Band

MOST = 0.9  # of the variance of a figure: the spreads that make it are told
_ROUNDING = 1e-9  # of a figure


@dataclass(frozen=True, slots=True)
class Bands:
    """The bands of an answer's figures by their keys; ``fitted``: whether the setup has fitted values."""

    found: Mapping[str, Band]
    fitted: bool = False

    @property
    def notes(self) -> list[str]:
        """What the bands leave out of account."""
        made = []
        if self.idle:
            made.append(f"stated spreads that move none of these figures: {', '.join(self.idle)}")
        if self.fitted and self.found:
            made.append(
                "values were fitted here with all others held: in truth they would have come out otherwise with other "
                "values there and make up for them, which these bands do not count; near the wafers that were fitted they "
                "are too wide"
            )
        return made

    @property
    def idle(self) -> list[str]:
        """The stated spreads that move no figure."""
        return without_effect(self.found)

    def rows(self) -> list[tuple[str, float, float, str]]:
        """Return key, value, standard deviation and what most of it is from, of the figures that have a band."""
        return [
            (key, band.value, band.sd, _mostly(band))
            for key, band in self.found.items()
            if band.sd > _ROUNDING * abs(band.value)
        ]

    def document(self) -> dict[str, Any]:
        """Return the bands, and the spreads that move nothing, as JSON can hold them."""
        return {
            "bands": {key: band.document() for key, band in self.found.items()},
            "spreads_without_effect": self.idle,
            "band_notes": self.notes,
        }


def _mostly(band: Band) -> str:
    """Return the spreads that make up most of a band, the largest first."""
    told, so_far = [], 0.0
    for name, share in sorted(band.shares.items(), key=lambda item: -abs(item[1])):
        if so_far >= MOST * band.sd**2:
            break
        told.append(f"{name} {share:+.2g}")
        so_far += share**2
    return "; ".join(told)
