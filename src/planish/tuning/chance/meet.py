"""What a polished wafer shall meet: limits of what is left, read from text, and the figures that they are of."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planish import units
from planish.errors import SetupError, refuse
from planish.setup.finding import nearest
from planish.setup.ranges import range_ends

Array = NDArray[np.float64]
NM = 1e-9
_EXAMPLES = {"thickness": "thickness=540..560 nm", "ratio": "wiwnu_sigma_percent=..3"}


class Values(NamedTuple):
    """A figure of each draw (d,), and how it answers to what is left at each place, (d, m)."""

    value: Array
    slope: Array


def _mean(left: Array, shares: Array) -> Values:
    return Values(left @ shares, np.broadcast_to(shares, left.shape))


def _sigma(left: Array, shares: Array) -> Values:
    away = left - (left @ shares)[:, None]
    sigma = np.sqrt(np.maximum(away**2 @ shares, 1e-18))
    return Values(sigma, shares * away / sigma[:, None])


def _percent(left: Array, shares: Array) -> Values:
    sigma, mean = _sigma(left, shares), _mean(left, shares)
    at = np.maximum(mean.value, 1e-6)[:, None]  # nm: cleared all over
    slope = 100.0 * (sigma.slope / at - sigma.value[:, None] * mean.slope / at**2)
    return Values(100.0 * sigma.value / at[:, 0], slope)


def _end(left: Array, sign: float) -> Values:
    at = np.argmax(sign * left, axis=1)
    slope = np.zeros_like(left)
    rows = np.arange(left.shape[0])
    slope[rows, at] = 1.0
    return Values(left[rows, at], slope)


def _thinnest(left: Array, shares: Array) -> Values:  # every figure is asked alike
    return _end(left, -1.0)


def _thickest(left: Array, shares: Array) -> Values:
    return _end(left, 1.0)


def _range(left: Array, shares: Array) -> Values:
    high, low = _end(left, 1.0), _end(left, -1.0)
    return Values(high.value - low.value, high.slope - low.slope)


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of what is left of all films together [nm] inside the edge exclusion: its words, dimension and values."""

    words: str
    dimension: str
    of: Callable[[Array, Array], Values]

    @property
    def unit(self) -> str:
        """In which it is told."""
        return "nm" if self.dimension == "thickness" else "%"


FIGURES: Mapping[str, Figure] = {
    "thickness": Figure("mean thickness left", "thickness", _mean),
    "wiwnu_sigma_percent": Figure("sigma over mean of what is left", "ratio", _percent),
    "sigma": Figure("sigma of what is left", "thickness", _sigma),
    "range": Figure("thickest less thinnest place", "thickness", _range),
    "thinnest": Figure("thickness left at the thinnest place", "thickness", _thinnest),
    "thickest": Figure("thickness left at the thickest place", "thickness", _thickest),
}


@dataclass(frozen=True, slots=True)
class Meet:
    """A limit to be met: ``low`` and ``high`` of a figure in its unit (nm or %), infinite for an end that is not said."""

    key: str
    low: float
    high: float

    @property
    def figure(self) -> Figure:
        """What it is of."""
        return FIGURES[self.key]

    @property
    def told(self) -> str:
        """The limit as a person would write it."""
        low, high = ("" if not np.isfinite(end) else f"{end:.10g}" for end in (self.low, self.high))
        return f"{self.key}={low}..{high} {self.figure.unit}"

    @property
    def middle(self) -> float | None:
        """Between its ends; None where one is not said."""
        both = np.isfinite(self.low) and np.isfinite(self.high)
        return 0.5 * (self.low + self.high) if both else None

    def met(self, value: Array) -> NDArray[np.bool_]:
        """Return for which values it is met."""
        return np.asarray((value >= self.low) & (value <= self.high))


def read_limits(given: Mapping[str, str]) -> tuple[Meet, ...]:
    """Return the limits to be met.

    Parameters
    ----------
    given
        Range by figure (:data:`FIGURES`), as ``{"thickness": "540..560 nm", "wiwnu_sigma_percent": "..3"}``.

    Returns
    -------
    tuple[Meet, ...]
        In the order given.

    Raises
    ------
    SetupError
        For a figure that is none, and for what is no range.
    """
    if not isinstance(given, Mapping):
        raise SetupError(refuse("--meet", given, "ranges by figure", "as {'thickness': '540..560 nm'}"))
    return tuple(_limit(key, text) for key, text in given.items())


def _limit(key: str, text: str) -> Meet:
    if key not in FIGURES:
        meant = nearest(key, list(FIGURES))
        hint = "" if meant.startswith("known") else f" ({meant})"
        raise SetupError(f"--meet {key}: must be one of {', '.join(FIGURES)}{hint}")
    dimension = FIGURES[key].dimension
    said = range_ends(text) if isinstance(text, str) else None
    if said is None:
        raise SetupError(
            refuse(f"--meet {key}", text, "a range, one end or both", f"as --meet '{_EXAMPLES[dimension]}'")
        )
    low, high = (_si(key, end, dimension, other) for end, other in zip(said, (-np.inf, np.inf), strict=True))
    if not low < high:
        raise SetupError(refuse(f"--meet {key}", text, "a range from a lower to a higher value"))
    return Meet(key, low, high)


def _si(key: str, end: str, dimension: str, unsaid: float) -> float:
    """Return an end of a range in nm or %; a bare number of a share is in %, as its name says."""
    if not end:
        return unsaid
    if dimension == "ratio" and not end.rstrip().endswith("%"):
        end = f"{end} %"
    try:
        found = units.to_si(end, dimension)
    except units.UnitError as error:
        example = f"as --meet '{_EXAMPLES[dimension]}'"
        raise SetupError(refuse(f"--meet {key}", end, error.allowed, error.remedy or example)) from None
    if not (np.isfinite(found) and found >= 0):
        raise SetupError(refuse(f"--meet {key}", end, "0 or more"))
    return found / NM if dimension == "thickness" else 100.0 * found


def figures(limits: Sequence[Meet], left: Array, shares: Array) -> Array:
    """Return the limited figures of many draws.

    Parameters
    ----------
    limits
        Of which figures.
    left
        What is left at the places that count [nm], (d, m).
    shares
        Of the area, (m,).

    Returns
    -------
    Array
        In nm or %, (d, limits).
    """
    return np.stack([limit.figure.of(left, shares).value for limit in limits], axis=1)


def met(limits: Sequence[Meet], values: Array) -> NDArray[np.bool_]:
    """Return which limits are met.

    Parameters
    ----------
    limits
        To be met.
    values
        Their figures of each draw, (d, limits).

    Returns
    -------
    Array
        Of booleans, (d, limits).
    """
    return np.stack([limit.met(values[:, at]) for at, limit in enumerate(limits)], axis=1)
