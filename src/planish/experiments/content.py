"""Abrasive content: one film that saturates and one that does not."""

from __future__ import annotations

from planish.experiments.record import Experiment, Kind, Row
from planish.physics.removal.factors import saturating_factor

CONTENTS = (1.0, 3.0, 5.0, 8.0)  # [% by weight]
TANTALUM_NITRIDE = (390.0, 820.0, 1210.0, 1467.0)  # [A/min]
OXIDE = (29.0, 62.0, 123.0, 245.0)


def half_content(rates: tuple[float, ...]) -> float:
    """Return the content of half cover [%] by the first and last rate; huge where they are in proportion."""
    low, high = CONTENTS[0], CONTENTS[-1]
    ratio = rates[-1] / rates[0]
    # ratio = high (low + half)/(low (high + half))
    top, bottom = low * high * (ratio - 1.0), high - low * ratio
    return top / bottom if bottom > 0 else 1e6


def _rows(word: str, rates: tuple[float, ...]) -> list[Row]:
    half = half_content(rates)
    found = []
    for index, (content, measured) in enumerate(zip(CONTENTS, rates, strict=True)):
        predicted = rates[0] * float(saturating_factor(content, CONTENTS[0], half))
        kind: Kind = "fitted" if index in (0, len(rates) - 1) else "predicted"
        found.append(Row(f"{word}, {content:g} % silica", measured, predicted, "A/min", kind))
    return found


def rows() -> list[Row]:
    """Compute the rows."""
    return [*_rows("tantalum nitride", TANTALUM_NITRIDE), *_rows("oxide", OXIDE)]


EXPERIMENT = Experiment(
    name="content",
    title="Rates of tantalum nitride and oxide against the silica content of a barrier slurry",
    source="US 2010/0176335 A1, table 8",
    read="full text",
    rows=rows,
    said="Tantalum nitride saturates as sites that fill; oxide goes in proportion to the content, within a fifth.",
)
