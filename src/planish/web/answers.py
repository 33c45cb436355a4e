"""What the page asks for, computed: each function takes plain data and returns plain data or a packed body.

They run in worker processes (see ``workers``), so that the server's event loop never waits for physics.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.web.packing import pack

if TYPE_CHECKING:
    from planish import Setup

MAP_POINTS = 201


@lru_cache(maxsize=64)
def _setup(text: str) -> Setup:
    from planish import Setup

    return Setup(json.loads(text))


def setup_of(document: Mapping[str, Any], changes: Mapping[str, Any] | None = None) -> Setup:
    """Return the setup of a document with changes applied; the last ones are kept."""
    setup = _setup(json.dumps(_given(document), sort_keys=False))
    return setup.replace(changes) if changes else setup


def _given(value: Any) -> Any:
    """Leave out what is null: JSON can say that, TOML cannot, and both mean that nothing is given."""
    if isinstance(value, Mapping):
        return {key: _given(item) for key, item in value.items() if item is not None}
    return [_given(item) for item in value] if isinstance(value, list) else value


def wafer(document: Mapping[str, Any], changes: Mapping[str, Any], step: int = 0) -> bytes:
    """Return everything that the page paints for one wafer, packed."""
    from planish.jobs.machine import geometry, point_path
    from planish.jobs.wafers import polished, wafer_findings

    setup = setup_of(document, changes)
    result = polished(setup)
    rig = result.rig
    shown = min(max(step, 0), len(rig.steps) - 1)
    path, duration = point_path(rig, shown)
    figures: dict[str, Any] = result.document()
    arrays: dict[str, Any] = {
        "radius": result.radius,
        "removed": result.removed,
        "incoming": result.incoming.sum(axis=0),
        "remaining": result.remaining.sum(axis=0),
        "pressure": np.stack([one.pressure for one in result.steps]),
        "speed": np.stack([one.speed for one in result.steps]),
        "path": path,
    }
    if any(film.sites is not None for film in rig.wafer.films):
        arrays["map"] = result.maps(MAP_POINTS).removed
    header = {
        "document": setup.document,
        "digest": setup.digest(),
        "title": setup.title,
        "summary": figures,
        "findings": [
            {"subject": f.subject, "weight": f.weight, "text": f.text}
            for f in wafer_findings(setup, remedies=False)
        ],
        "warnings": setup.warnings,
        "machine": geometry(rig),
        "step": shown,
        "path_s": duration,
        "exclusion_m": rig.wafer.edge_exclusion,
    }
    return pack(header, arrays)


def advice(document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the findings with the changes that would help, which takes some ten runs of the model."""
    from planish.jobs.wafers import wafer_findings

    return [
        {"subject": f.subject, "weight": f.weight, "text": f.text, "changes": f.changes}
        for f in wafer_findings(setup_of(document))
    ]


def nudges(document: Mapping[str, Any], moves: Mapping[str, Any]) -> dict[str, Any]:
    """Return what each of several changes, made alone, does to the headlines."""
    from planish.jobs.wafers import nudged
    from planish.results.plain import clean

    return dict(clean(nudged(setup_of(document), moves)))


def forms(document: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    """Return the settings of a setup, each with unit, range, source and spread."""
    from planish.jobs.exchange import part_choices
    from planish.jobs.settings import describe, step_paths, usual_cleaning

    setup = setup_of(document, changes)
    return {
        "document": setup.document,
        "title": setup.title,
        "motion": setup.motion,
        "digest": setup.digest(),
        "parts": part_choices(setup),
        "fields": describe(setup),
        "usual_cleaning": usual_cleaning(),
        "steps": step_paths(setup),
        "warnings": list(setup.warnings),
        "notes": list(setup.notes),
        "sources": list(setup.sources),
    }


def choose(document: Mapping[str, Any], section: str, part: str) -> dict[str, Any]:
    """Return the document with another part in place."""
    from planish.jobs.exchange import choose as chosen

    return {"document": chosen(setup_of(document), section, part).document}


def fresh(motion: str | None = None) -> dict[str, Any]:
    """Return the document of the invented scenario for a motion, the first where none is named."""
    from planish.jobs.exchange import fresh as made

    return {"document": made(motion)}


def move(document: Mapping[str, Any], motion: str) -> dict[str, Any]:
    """Return the document on a polisher of another motion."""
    from planish.jobs.exchange import with_motion

    return {"document": with_motion(setup_of(document), motion).document}


def read_toml(text: str) -> dict[str, Any]:
    """Return the document of a TOML text, checked."""
    from planish import loads

    setup = loads(text, "your file")
    return {"document": json.loads(json.dumps(setup.document)), "title": setup.title}


def to_toml(document: Mapping[str, Any]) -> str:
    """Return a document as TOML."""
    return setup_of(document).to_toml()


def compare(a: Mapping[str, Any], b: Mapping[str, Any], outcomes: list[str]) -> dict[str, Any]:
    """Return what differs between two setups and why: the exact share of each group of choices."""
    from planish import compare as shared
    from planish.explain.words import label
    from planish.results.plain import clean

    found = shared(setup_of(a), setup_of(b), outcomes)
    answer: dict[str, Any] = found.document()
    answer["labels"] = {key: label(key) for key in {**found.a, **found.b}}
    answer["changed"] = found.differing
    return dict(clean(answer))


def profile_csv(document: Mapping[str, Any]) -> str:
    """Return the wafer's profiles as CSV."""
    from planish.jobs.wafers import polished
    from planish.jobs.written import profile_csv as as_table

    return as_table(polished(setup_of(document)))


def recipe_sheet(document: Mapping[str, Any]) -> str:
    """Return the recipe as a page to print."""
    from planish.jobs.wafers import recipe_page

    return recipe_page(setup_of(document))


def report(document: Mapping[str, Any]) -> str:
    """Return the whole report of the wafer as a page."""
    from planish.jobs.wafers import wafer_page

    return wafer_page(setup_of(document))


def warm() -> str:
    """Load what the first answer needs, and compute one."""
    document = fresh()["document"]
    wafer(document, {}, 1)
    forms(document, {})
    return "ready"


def digest(document: Mapping[str, Any]) -> dict[str, str]:
    """Return the digest and the title of a setup, checked."""
    setup = setup_of(document)
    return {"digest": setup.digest(), "title": setup.title}
