"""What a piece of work will take, reckoned from its options before it starts.

The rates were measured on one core of a plain server (a lot of three steps 1.3 ms a wafer and step; a die 3.7 µs
and up to 0.29 kB a cell) and rounded up. They are there to refuse what has no chance, not to promise a time.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from planish.errors import DataError
from planish.web.limits import GB, QUICK, Limits

WAFER_STEP = 2e-3  # [s]
CELL_TIME = 5e-6  # [s]
CELL_MEMORY = 300  # [bytes]
SPARE = 0.8  # the share of a job's time that its tries may fill: they are not all alike, and others work beside it
DRAW = 0.5  # [s] where spreads move the pad, which is then set up anew
LOADED = 250_000_000  # [bytes] that a process holds with the model in it


def check_lot(document: Mapping[str, Any], wafers: int, limits: Limits = QUICK) -> None:
    """Refuse a lot that cannot end in its time.

    Raises
    ------
    DataError
        Saying how many wafers it may have.
    """
    recipe = document.get("recipe")
    steps = recipe.get("step") if isinstance(recipe, Mapping) else None
    count = len(steps) if isinstance(steps, list) and steps else 1
    most = int(limits.seconds / (WAFER_STEP * count))
    if wafers > most:
        raise DataError(
            f"wafers = {wafers}: must be at most {most} with {count} step{'s' * (count != 1)} in the recipe (more would "
            f"take longer than {limits.seconds:g} s); ask for fewer wafers"
        )


def check_die(cell: float, size: float, limits: Limits) -> None:
    """Refuse a square die of ``size`` [m] on cells of ``cell`` [m] that cannot end in its time and memory.

    Raises
    ------
    DataError
        Saying how many cells it may have.
    """
    cells = (size / cell) ** 2
    by_memory, by_time = (limits.memory - LOADED) / CELL_MEMORY, limits.seconds / CELL_TIME
    most = min(by_memory, by_time)
    if cells > most:
        what = (
            f"need more than {limits.memory / GB:.2g} GB of memory"
            if by_memory < by_time
            else f"take longer than {limits.seconds:g} s"
        )
        raise DataError(
            f"cell_um = {cell * 1e6:g}: must be {1e6 * size / most**0.5:.1f} or more for a die of "
            f"{size * 1e3:g} mm (its {cells / 1e6:.1f} million cells would {what}); make cells larger or the die "
            "smaller"
        )


def most_tries(each: float, limits: Limits) -> int:
    """Return how many setups of a trade-off may be tried, where one takes ``each`` [s]."""
    return int(SPARE * limits.seconds / each)


def check_tries(tries: int, each: float, limits: Limits) -> None:
    """Refuse a trade-off that cannot end in its time.

    Parameters
    ----------
    tries
        Setups that it would try.
    each
        How long one takes on this host [s].
    limits
        Of a job.

    Raises
    ------
    DataError
        Saying how many it may try.
    """
    most = most_tries(each, limits)
    if tries > most:
        raise DataError(
            f"runs = {tries}: must be at most {most} on this host (one setup takes about {each:.2g} s here, and a run may "
            f"take {limits.seconds:g} s); try fewer, or take aims that are quicker to predict"
        )


def check_draws(draws: int, limits: Limits) -> None:
    """Refuse a chance whose draws cannot end in their time: each is polished with the settings before and after.

    Raises
    ------
    DataError
        Saying how many it may have.
    """
    most = int(SPARE * limits.seconds / (2 * DRAW))
    if draws > most:
        raise DataError(
            f"draws = {draws}: must be at most {most} on this host (each takes about {2 * DRAW:g} s, and a run may take "
            f"{limits.seconds:g} s); ask for fewer draws"
        )


def check_job(kind: str, options: Mapping[str, Any], limits: Limits) -> None:
    """Refuse a job that cannot end within ``limits``; how large an own file is shows when it is read."""
    if kind == "fit":
        return
    if kind == "lot":
        check_lot(options.get("document", {}), int(options.get("wafers", 1000)), limits)
    elif kind == "trade-off":
        check_tries(int(options["tries"]), float(options["each_s"]), limits)
    elif kind == "tune":
        if options["solve"]["meet"]:
            check_draws(int(options["solve"]["draws"]), limits)
    elif options.get("file") is None:
        check_die(float(options.get("cell_um", 50)) * 1e-6, float(options.get("size_mm", 20)) * 1e-3, limits)
