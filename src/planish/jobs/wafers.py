"""What becomes of a wafer, and what is to be said about it? The wafers asked for last are kept.

Whoever looks at a wafer asks for its figures, its findings, its recipe and its report one after the other.
"""

from __future__ import annotations

import json
from collections import OrderedDict
from collections.abc import Mapping
from typing import TYPE_CHECKING

from planish.errors import PlanishError
from planish.predict.wafer.polish import polish

if TYPE_CHECKING:
    from planish.explain.findings import Finding
    from planish.predict.wafer.result import WaferResult
    from planish.setup.models import Setup

KEPT = 32
_polished: OrderedDict[tuple[object, ...], WaferResult] = OrderedDict()


def polished(setup: Setup) -> WaferResult:
    """Return the wafer of a setup; the last ones are kept, by all that the setup says and is called."""
    # the digest, for the data files beside it; the document, because the order of its tables counts too
    key = (setup.digest(), json.dumps(setup.document, default=str), setup.name, setup.notes)
    if key not in _polished:
        _polished[key] = polish(setup)
        while len(_polished) > KEPT:
            _polished.popitem(last=False)
    _polished.move_to_end(key)
    return _polished[key]


HEADLINES = (
    "mean_removal_rate_nm_per_min",
    "wiwnu_sigma_percent",
    "edge_extreme_percent",
    "peak_temperature_C",
)


def nudged(setup: Setup, moves: Mapping[str, object]) -> dict[str, dict[str, float | None] | str]:
    """Return what each of several changes, made alone, does to the headlines of the wafer.

    Parameters
    ----------
    setup
        As loaded.
    moves
        Dotted path to the value that it would have.

    Returns
    -------
    dict[str, dict[str, float | None] | str]
        By path: the change of each of ``HEADLINES`` (None where there is no such figure before or after), or why
        the change cannot be made.
    """
    now = polished(setup).summary()
    found: dict[str, dict[str, float | None] | str] = {}
    for path, value in moves.items():
        try:
            then = polish(setup.replace({path: value})).summary()
        except PlanishError as error:
            found[path] = str(error)
            continue
        found[path] = {key: _change(now.get(key), then.get(key)) for key in HEADLINES}
    return found


def _change(now: object, then: object) -> float | None:
    return then - now if isinstance(now, int | float) and isinstance(then, int | float) else None


def wafer_findings(setup: Setup, *, remedies: bool = True) -> list[Finding]:
    """Return what deserves saying about the wafer of a setup, the most pressing first.

    Parameters
    ----------
    setup
        As loaded.
    remedies
        Find what causes an uneven wafer and the settings that would mend it too: some ten runs of the model.

    Returns
    -------
    list[Finding]
        One sentence a subject.
    """
    from planish.explain.findings import findings

    return findings(polished(setup), remedies=remedies)


def recipe_page(setup: Setup) -> str:
    """Return the recipe of a setup, and what to expect of it, as an HTML page to print."""
    from planish.explain.recipe_sheet import recipe_sheet

    return recipe_sheet(setup, polished(setup))


def wafer_page(setup: Setup) -> str:
    """Return the whole report of the wafer of a setup as an HTML page."""
    from planish.explain.report import report_page

    return report_page(polished(setup))
