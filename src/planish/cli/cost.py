"""The verbs that say what a wafer costs, and how wafers pass the machine."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from planish.cli import show
from planish.errors import DataError

if TYPE_CHECKING:
    from planish.results.result import Result


def cost(
    file: Path,
    settings: list[str],
    prices: Path | None,
    wafers: int,
    against: Path | None,
    moved: str | None,
    json_out: bool,
    out: Path | None,
) -> None:
    """Print what a wafer costs, what it saves against another setup, or what its cost hangs on."""
    from planish import cost_of, cost_saving, cost_sensitivity
    from planish.jobs.changed import load_changed
    from planish.jobs.prices import with_prices

    if against is not None and moved is not None:
        raise DataError("--against and --tornado: must be one of them (ask twice for both)")

    def priced(path: Path, changes: list[str]) -> Any:
        setup = load_changed(path, changes)
        return setup if prices is None else with_prices(setup, prices, "--prices")

    setup = priced(file, settings)
    found: Result
    with show.progress(f"{wafers} wafers", quiet=json_out) as tell:
        if moved is not None:
            share = show.quantity("--tornado", moved, "ratio")
            found = cost_sensitivity(setup, share, wafers, progress=lambda done, of: tell(done / of))
            listed = ("swings", "what the cost of a wafer hangs on")
        elif against is not None:
            other = cost_of(priced(against, []), wafers, progress=lambda done, of: tell(0.5 * done / of))
            mine = cost_of(setup, wafers, progress=lambda done, of: tell(0.5 + 0.5 * done / of))
            found = cost_saving(mine, other)
            listed = ("items", f"what a wafer costs here and with {against.name}")
        else:
            found = cost_of(setup, wafers, progress=lambda done, of: tell(done / of))
            listed = ("items", "what a wafer of product uses up")
    _shown(found, listed, json_out, out)


def flow(
    file: Path,
    settings: list[str],
    options: dict[str, Any],
    arrival: str | None,
    json_out: bool,
    out: Path | None,
) -> None:
    """Print how many wafers pass the machine, how long they wait, and how its time splits."""
    from planish import flow_wafers
    from planish.jobs.changed import load_changed

    gap = None if arrival is None else show.quantity("--arrival", arrival, "time")
    with show.progress(f"{options['wafers']} wafers", quiet=json_out) as tell:
        found = flow_wafers(
            load_changed(file, settings),
            arrival=gap,
            progress=lambda done, of: tell(done / of),
            **options,
        )
    _shown(found, ("stations", "stations of the machine"), json_out, out)


HEADS = {
    "price": "price of one",
    "life_wafers": "lasts, wafers",
    "cost": "cost a wafer",
    "share_percent": "share [%]",
    "against_cost": "there",
    "saved_cost": "saved",
    "low_cost": "cost, moved down",
    "high_cost": "moved up",
    "width_percent": "width [%]",
    "week_h": "hours a week",
}


def _shown(found: Result, listed: tuple[str, str], json_out: bool, out: Path | None) -> None:
    from planish.explain.words import label

    figures: dict[str, Any] = found.document()
    if json_out:
        show.print_json(figures)
    else:
        money = f", in {figures['currency']}" if figures.get("currency") else ""
        for key, title in (listed, ("states", "how the machine spends its time")):
            rows = figures.get(key)
            if rows:
                names = [name for name in rows[0] if name not in ("end", "group", "against_life_wafers")]
                heads = [HEADS.get(name, label(name)) for name in names]
                show.table(
                    heads,
                    [[row[name] for name in names] for row in rows],
                    title=title + (money if key in ("items", "swings") else ""),
                )
        show.summary(figures)
    show.files(found, out, json_out)
