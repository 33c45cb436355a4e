"""The verb that says what a wafer costs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from planish.cli import show


def cost(file: Path, settings: list[str], wafers: int, json_out: bool, out: Path | None) -> None:
    """Print what a wafer costs and how many an hour there are; ``out`` gets picture, table and result."""
    from planish import cost_of
    from planish.jobs.changed import load_changed

    setup = load_changed(file, settings)
    with show.progress(f"{wafers} wafers", quiet=json_out) as tell:
        found = cost_of(setup, wafers, progress=lambda done, of: tell(done / of))
    figures: dict[str, Any] = found.document()
    if json_out:
        show.print_json(figures)
    else:
        columns = ("item", "price", "life_wafers", "cost", "share_percent")
        heads = ["item", "price of one", "lasts, wafers", "cost a wafer", "share [%]"]
        money = f", in {figures['currency']}" if figures["currency"] else ""
        rows = [[row[name] for name in columns] for row in figures["items"]]
        show.table(heads, rows, title=f"what a wafer of product uses up{money}")
        show.summary(figures)
    show.files(found, out, json_out)
