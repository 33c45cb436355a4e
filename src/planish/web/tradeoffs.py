"""Trade-offs on the wire: what may be asked for, how long it takes, the front with a setup for each of its points."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planish.results.plain import clean
from planish.web.answers import setup_of
from planish.web.packing import pack

if TYPE_CHECKING:
    from planish import TradeOff

DIE = ("layout", "place")  # what a choice says of the die


def offered(document: Mapping[str, Any]) -> dict[str, Any]:
    """Return aims, knobs, parts and prices that a choice on a setup can be asked for."""
    from planish.jobs.settings import prices
    from planish.jobs.tradeoffs import offered as offer

    setup = setup_of(document)
    return dict(clean({**offer(setup), "prices": prices(setup)}))


def present(document: Mapping[str, Any]) -> dict[str, Any]:
    """Return the figure of each aim as the setup stands, or why there is none."""
    from planish.jobs.tradeoffs import present as told

    return dict(clean(told(setup_of(document))))


def foreseen(document: Mapping[str, Any], choice: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a choice will take, once all that is asked for can be used."""
    from planish.jobs.tradeoffs import foreseen as told

    asked = {key: choice[key] for key in ("vary", "aims", "runs", "limits", "wafers", *DIE)}
    return told(setup_of(document), **asked).document()


def cost(document: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a wafer costs, as the aims of a choice see it."""
    from planish import cost_of
    from planish.jobs.tradeoffs import WAFERS

    found = cost_of(setup_of(document), WAFERS)
    return dict(clean({**found.document(), "notes": list(found.notes)}))


def job_choice(options: Mapping[str, Any], folder: Path, tell: Callable[[float], None]) -> None:
    """Find a front in one process: packed answer, table of its points."""
    from planish import choose
    from planish.engine.files import write_whole
    from planish.jobs.choices import pattern_maps
    from planish.jobs.written import points_csv

    choice = {key: value for key, value in options["choice"].items() if key not in DIE}
    found = choose(
        setup_of(options["document"]),
        choice.pop("vary"),
        choice.pop("aims"),
        **choice,
        maps=pattern_maps(options["choice"]["layout"]),
        place=options["choice"]["place"],
        workers=1,
        progress=lambda done, total: tell(done / total),
    )
    write_whole(folder / "answer.bin", pack(front(found), {}))
    write_whole(folder / "table.csv", points_csv(found))


def front(found: TradeOff) -> dict[str, Any]:
    """Return what the page shows of a front, with the whole setup of each point and of the one that it starts from."""
    from planish.explain.words import label

    start = found.start.setup
    return {
        **found.document(),
        "title": start.title,
        "axes": {aim.name: label(aim.figure) for aim in found.aims},
        "units": {aim.name: aim.unit for aim in found.aims},
        "start_document": start.document,
        "documents": [found.setup(point.number).document for point in found.points],
    }
