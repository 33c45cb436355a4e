"""How long to go on after the mean of the film is gone, so that a given share of the wafer is clear.

Thickness to be removed and rate are spread over the wafer, independently and normally, by relative standard deviations
s_D and s_v. At tau times the mean clearing time a place is clear with the probability

    p = Phi((tau - 1)/sqrt(s_D^2 + s_v^2 tau^2)),

which is solved for tau: with z = Phi^-1(p) and w = (z s_v)^2, tau = (1 + sqrt(1 - (1 - w) (1 - (z s_D)^2)))/(1 - w).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite, sqrt
from statistics import NormalDist

from planish.engine.record import Record, figure
from planish.errors import DataError, refuse
from planish.units import as_si

SOURCES: tuple[str, ...] = (
    "Over-polish from the spread of thickness and rate: two independent normal spreads, our own derivation",
)


@dataclass(frozen=True, slots=True, repr=False)
class OverPolish(Record):
    """How long after the mean is gone: ``over`` [s], until ``share`` of the wafer is clear at ``time`` [s]; ``first`` [s]: as much of it as is then left clears before that."""

    over: float
    time: float
    first: float
    share: float

    def _told(self) -> str:
        return f"{figure(self.over, 's', 3)} more for {100 * self.share:.4g} % of the wafer"


def over_polish(
    time: float | str,
    share: float | str,
    *,
    rate_spread: float | str = 0.0,
    film_spread: float | str = 0.0,
) -> OverPolish:
    """Return how long to go on after the mean of the film is gone.

    Parameters
    ----------
    time
        From the start until the mean is gone [s, or text].
    share
        Of the wafer that is to be clear, above one half.
    rate_spread, film_spread
        Relative standard deviations over the wafer of the rate, and of the thickness to be removed.

    Returns
    -------
    OverPolish
        In seconds.

    Raises
    ------
    DataError
        For values that cannot be, and a spread of the rate so wide that the share is never reached.
    """
    mean, part = as_si(time, "time", "time to the endpoint"), as_si(share, "ratio", "share to clear")
    slow, thick = (
        as_si(rate_spread, "ratio", "spread of the rate"),
        as_si(film_spread, "ratio", "spread of the film"),
    )
    if not (isfinite(mean) and mean > 0):
        raise DataError(refuse("time to the endpoint", time, "above 0 s"))
    if not 0.5 <= part < 1:
        raise DataError(refuse("share to clear", share, "from 50 % to below 100 %", "such as 99.9 %"))
    for name, value in (("spread of the rate", slow), ("spread of the film", thick)):
        if not 0 <= value < 0.5:
            raise DataError(
                refuse(
                    name,
                    f"{100 * value:g} %",
                    "from 0 to below 50 %",
                    "one standard deviation over the wafer",
                )
            )
    z = NormalDist().inv_cdf(part)
    room = 1.0 - (z * slow) ** 2
    if not room > 0:
        raise DataError(
            refuse(
                "spread of the rate",
                f"{100 * slow:g} %",
                f"below {100 / z:.4g} %",
                "slow places never clear otherwise",
            )
        )
    root = sqrt(max(1.0 - room * (1.0 - (z * thick) ** 2), 0.0))
    last, first = (1.0 + root) / room, (1.0 - root) / room
    return OverPolish((last - 1.0) * mean, last * mean, max(first, 0.0) * mean, part)
