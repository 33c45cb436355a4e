"""Which limits hold settings, at what price, and why a target cannot be met: what a search found, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from planish import units
from planish.tuning.search import NM
from planish.tuning.tuned import Bound

if TYPE_CHECKING:
    from planish.tuning.course import Settings
    from planish.tuning.frees import Frees
    from planish.tuning.limits import Freedom
    from planish.tuning.search import Found

_WORTH = 1e-12  # [m] of sigma per psi or s: what is less is no price


def binding(found: Found, freedom: Frees) -> tuple[Bound, ...]:
    """Return the limits that hold, the dearest first.

    Parameters
    ----------
    found
        Where a search ended.
    freedom
        Its limits.
    """
    rows, made = freedom.rows, []
    for price, limit, tight in zip(found.prices, rows.limits, found.tight, strict=True):
        # a row is in SI: the settings' scales are in its coefficients, not in its right-hand side
        per_si = float(price) * NM
        worth = per_si * units.to_si("1 psi" if limit.dimension == "pressure" else "1 s", limit.dimension)
        if tight:
            made.append((worth, Bound(limit, per_si if worth > _WORTH else 0.0)))
    made.sort(key=lambda each: -each[0])
    told: dict[str, Bound] = {}
    for worth, bound in made:  # of a place that is held from two sides the one that costs
        place = bound.limit.place if worth <= _WORTH else f"{bound.limit.place} {bound.limit.words}"
        if worth > _WORTH or not any(one.limit.place == place for one in told.values()):
            told[place] = bound
    return tuple(told.values())


def holding(settings: Settings, freedom: Freedom) -> tuple[Bound, ...]:
    """Return the limits that hold settings found otherwise than by sigma: without a price in it.

    Parameters
    ----------
    settings
        As found.
    freedom
        Their limits.
    """
    rows = freedom.rows
    room = rows.most - rows.matrix @ freedom.pack(settings)
    scale = np.abs(rows.matrix).max(axis=1)
    return tuple(
        Bound(limit, None)
        for limit, left, size in zip(rows.limits, room, scale, strict=True)
        if left < 1e-3 * size
    )


def no_room(freedom: Frees) -> str:
    """Return why there are no settings at all within limits.

    Parameters
    ----------
    freedom
        The limits: those that were asked for are told.
    """
    limits = freedom.rows.limits
    asked = [limit for limit in limits if limit.words.startswith("--")]
    named = [limit for limit in limits if limit.words.startswith(("bound of", "step between"))]
    told = "; ".join(limit.told for limit in [*asked[:4], *named[:4]])
    return f"limits: no settings keep all of them ({told}): must leave some (widen one, or keep less)"


def not_met(found: Found, freedom: Frees, mean: float) -> str:
    """Return why the target cannot be met, and what would help.

    Parameters
    ----------
    found
        Where the search ended.
    freedom
        Its limits.
    mean
        That was wanted [m].
    """
    worth = [
        (float(price), limit)
        for price, limit, tight in zip(found.prices, freedom.rows.limits, found.tight, strict=True)
        if tight and price > 1e-6
    ]
    worth.sort(key=lambda each: -each[0])
    told = "; ".join(limit.told for _, limit in worth[:3]) or "what is kept"
    side = "more than" if found.gap > 0 else "less than"
    return (
        f"target = {1e9 * mean:.6g} nm: cannot be met within the limits: at best {1e9 * mean + found.gap:.6g} nm are left, "
        f"{side} wanted; must be within reach (stopped by {told}: widen that, or set another target)"
    )
