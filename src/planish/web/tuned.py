"""Settings solved for: what the page's tune view asks for."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from planish.results.plain import clean
from planish.web.answers import setup_of
from planish.web.own_data import file_as_told, named


def solved(
    document: Mapping[str, Any],
    incoming: str | None = None,
    name: str = "",
    limits: Mapping[str, Any] | None = None,
    told: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """Return the settings that leave the most even wafer, beside those of the setup, and the setup with them.

    ``incoming`` is the path of a person's site file and ``name`` what they call it; ``limits`` are keywords of
    :func:`planish.tune`; ``told`` says how the file is read.
    """
    from planish import tune

    setup = setup_of(document)
    with named(incoming or "", name):
        sites = None if incoming is None else file_as_told(incoming, told or {}).read()
        found = tune(setup, incoming=sites, **(limits or {}))
    before, after = found.before, found.after
    answer: dict[str, Any] = found.document()
    answer |= {
        "document": found.tuned().document,
        "radius": after.radius,
        "left_before": before.remaining.sum(axis=0),
        "left_after": after.remaining.sum(axis=0),
        "goal": found.goal,
        "exclusion_m": after.rig.wafer.edge_exclusion,
    }
    return dict(clean(answer))
