r"""What changed where a chart alarms, in plain words with its evidence: a mean, a drift, a spread, or two levels mixed.

Of the points up to the alarm, back to at most ``WINDOW`` of its phase, z in standard deviations from the centre, each way of
changing since some earlier point is fitted by its likelihood over that of no change:

* a mean shift of size a over the last m points, a = sum z/m: log likelihood ratio (sum z)^2/(2m);
* a drift that gains b with each of the last m points: (sum i z_i)^2/(2 sum i^2);
* a spread s times as large over the last m points: m (s^2 - 1 - ln s^2)/2 with s^2 = sum z^2/m;
* two levels a to either side of the centre: sum ln cosh(a z) - m a^2/2 over the points of the likeliest spread.

Each has one size and one place, so the largest ratio is taken. It says what the numbers did, not what part of a machine did
it: :class:`Change` is what a ranking of physical causes begins with.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
Kind = Literal["mean shift", "drift", "spread", "mixture"]
WINDOW = 60
LEAST_DRIFT, LEAST_SPREAD, LEAST_MIXTURE = 5, 6, 8
BLOCK = 4096  # alarms looked at together
ROUNDS = 5  # towards the likeliest two levels


@dataclass(frozen=True, slots=True, repr=False)
class Change(Record):
    """What changed.

    Attributes
    ----------
    kind
        "mean shift", "drift", "spread" or "mixture".
    size
        [standard deviations of a point]: of the shift, gained a point, times as large, or to either side.
    points
        How many points show it, the alarm's the last.
    ratio
        Logarithm of its likelihood over that of no change.
    """

    kind: Kind
    size: float
    points: int
    ratio: float


def changes(z: Array, alarms: Whole) -> list[Change]:
    """Return what changed at each alarm.

    Parameters
    ----------
    z
        Points of one phase in standard deviations from the centre (points,).
    alarms
        Where it alarms, from 0, in order.

    Returns
    -------
    list of Change
        One an alarm.
    """
    out: list[Change] = []
    for start in range(0, alarms.size, BLOCK):
        out += _block(z, alarms[start : start + BLOCK])
    return out


def _block(z: Array, alarms: Whole) -> list[Change]:
    back = np.arange(min(WINDOW, z.size))
    places = alarms[:, None] - back[None, :]
    there = places >= 0
    # Column j: the point j before the alarm.
    seen = np.where(there, z[np.maximum(places, 0)], 0.0)
    m = back + 1.0
    total = np.cumsum(seen, axis=1)
    ramp = m * total - np.cumsum(back * seen, axis=1)  # sum of i z_i, i = 1 at the oldest
    square = np.cumsum(seen * seen, axis=1)
    rises = m * (m + 1) * (2 * m + 1) / 6
    spread = np.maximum(square / m, 1e-12)
    with np.errstate(over="ignore"):
        ratios = {
            "mean shift": total * total / (2 * m),
            "drift": np.where(m >= LEAST_DRIFT, ramp * ramp / (2 * rises), -np.inf),
            "spread": np.where(m >= LEAST_SPREAD, 0.5 * m * (spread - 1 - np.log(spread)), -np.inf),
        }
    best: dict[str, tuple[Array, Whole]] = {}
    rows = np.arange(alarms.size)
    for kind, ratio in ratios.items():
        ratio = np.where(there, ratio, -np.inf)
        at = np.argmax(ratio, axis=1)
        best[kind] = (ratio[rows, at], at)
    sizes = {
        "mean shift": total[rows, best["mean shift"][1]] / m[best["mean shift"][1]],
        "drift": ramp[rows, best["drift"][1]] / rises[best["drift"][1]],
        "spread": np.sqrt(spread[rows, best["spread"][1]]),
    }
    at = best["spread"][1]
    sizes["mixture"], ratio = _two_levels(seen, at, sizes["spread"])
    best["mixture"] = (np.where(m[at] >= LEAST_MIXTURE, ratio, -np.inf), at)
    kinds: tuple[Kind, ...] = ("mean shift", "drift", "spread", "mixture")
    chosen = np.argmax([best[kind][0] for kind in kinds], axis=0)
    out = []
    for row, which in enumerate(chosen):
        kind = kinds[which]
        ratio_, at_ = best[kind][0][row], int(best[kind][1][row])
        out.append(Change(kind, float(sizes[kind][row]), at_ + 1, float(ratio_)))
    return out


def _two_levels(seen: Array, at: Whole, spread: Array) -> tuple[Array, Array]:
    """Return how far two levels stand from the centre, and their ratio; levels at the centre give 0."""
    inside = np.arange(seen.shape[1])[None, :] <= at[:, None]
    count = at + 1.0
    # z^2 has the mean 1 + a^2: a start that a few rounds of a = mean z tanh(a z) bring to the likeliest.
    level = np.sqrt(np.maximum(spread**2 - 1, 0.0))
    for _ in range(ROUNDS):
        level = np.sum(np.where(inside, seen * np.tanh(level[:, None] * seen), 0.0), axis=1) / count
    far = np.abs(level[:, None] * seen)
    ratio = np.sum(np.where(inside, far + np.log1p(np.exp(-2 * far)) - np.log(2), 0.0), axis=1)
    return level, ratio - 0.5 * count * level**2


def words(change: Change, point_sigma: float, first_row: int, what: str = "") -> str:
    """Return what changed in plain words.

    Parameters
    ----------
    change
        What did.
    point_sigma
        One standard deviation of a point, in the unit of the values; NaN where there is none.
    first_row
        Of the first point that shows it, as a person counts them.
    what
        The column, where there are several.

    Returns
    -------
    str
        With rows and sizes.
    """
    since = f"since row {first_row} ({change.points} points)" if change.points > 1 else "in this row alone"
    amount = f" ({change.size * point_sigma:+.4g})" if np.isfinite(point_sigma) else ""
    of = f" of {what}" if what else ""
    if change.kind == "mean shift":
        return f"mean shift{of} of {change.size:+.2f} sigma{amount} {since}"
    if change.kind == "drift":
        return f"drift{of} of {change.size:+.3f} sigma a point{amount} {since}"
    if change.kind == "spread":
        return f"spread{of} {change.size:.2f} times that of the limits {since}"
    each = f" ({abs(change.size) * point_sigma:.4g})" if np.isfinite(point_sigma) else ""
    return (
        f"mixture of two levels{of} {abs(change.size):.2f} sigma{each} to either side of the centre {since}"
    )
