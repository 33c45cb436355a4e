r"""How fast do wafers pass a machine? Its stations, how long each is kept by a wafer, and the slowest of them.

A wafer is loaded, polished on a platen (or on several in a row, which share out the recipe's time), rinsed there, cleaned and
measured. A platen is free for the next wafer after the longer of exchange and conditioning between wafers. With one wafer
after the other and times that do not scatter, a line gives a wafer each

    cycle = max over stations of (time that a wafer keeps it)/(places that do the same)

whatever waits where: a station that is slower than all others is never idle (the bottleneck's law of any flow line).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from planish.errors import SetupError, refuse

if TYPE_CHECKING:
    from planish.setup.si import Prices


@dataclass(frozen=True, slots=True)
class Station:
    """A place of the machine that a wafer passes.

    Attributes
    ----------
    name
        In words.
    time
        That a wafer stays [s].
    after
        That the place is kept once the wafer is gone [s].
    places
        That do the same, beside each other.
    share
        Of the wafers that stop there; the others pass by.
    platen
        Whether it polishes.
    """

    name: str
    time: float
    after: float = 0.0
    places: int = 1
    share: float = 1.0
    platen: bool = False

    @property
    def kept(self) -> float:
        """Time of the station that one wafer takes, shared out over places and wafers [s]."""
        return self.share * (self.time + self.after) / self.places


def stations(polish: float, exchange: float, conditioning: float, prices: Prices) -> tuple[Station, ...]:
    """Return the stations of a machine in the order in which a wafer passes them.

    Parameters
    ----------
    polish
        Time of the recipe [s].
    exchange
        Of one wafer for the next on a platen [s].
    conditioning
        Between wafers, on the platen [s].
    prices
        The table ``[cost]``, in which the other times and the number of platens stand.

    Returns
    -------
    tuple[Station, ...]
        Those that take no time are left out.

    Raises
    ------
    SetupError
        Where platens cannot be shared out over the visits.
    """
    platens, visits = prices.platens or 1, prices.visits or 1
    if platens % visits:
        raise SetupError(
            refuse(
                "cost.visits",
                visits,
                f"a divisor of the {platens} platens (cost.platens)",
                "so that each wafer finds as many platens for its first visit as for its last",
            )
        )
    stay, after = polish / visits + (prices.rinse or 0.0), max(exchange, conditioning)
    row = [
        Station(
            "platens" if visits == 1 else f"platens, visit {visit}",
            stay,
            after,
            platens // visits,
            platen=True,
        )
        for visit in range(1, visits + 1)
    ]
    if platens == 1:
        row = [Station("platen", stay, after, platen=True)]
    share = 1.0 if prices.measured is None else prices.measured
    line = [
        Station("loading", prices.load or 0.0),
        *row,
        Station("cleaner", prices.clean or 0.0),
        Station("metrology", prices.measure or 0.0, share=share),
    ]
    return tuple(one for one in line if one.kept > 0.0)


def bottleneck(line: tuple[Station, ...]) -> Station:
    """Return the station that sets the pace; the first of several that are as slow."""
    return max(line, key=lambda station: station.kept)
