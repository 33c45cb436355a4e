"""What the page asks for, computed: each function takes plain data and returns plain data or a packed body.

They run in worker processes (see ``workers``), so that the server's event loop never waits for physics.
"""

from __future__ import annotations

import json
from collections import OrderedDict
from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.engine.csv_text import csv_text
from planish.units import PSI
from planish.web.packing import pack

if TYPE_CHECKING:
    from planish.predict.wafer.result import WaferResult
    from planish.setup.models import Setup

MAP_POINTS = 201
OUTCOMES = (
    "mean_removal_rate_nm_per_min",
    "wiwnu_sigma_percent",
    "edge_extreme_percent",
    "peak_temperature_C",
    "time_s",
    "real_contact_percent",
)


@lru_cache(maxsize=64)
def _setup(text: str) -> Setup:
    from planish.setup.models import Setup

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


_POLISHED: OrderedDict[str, WaferResult] = OrderedDict()
_KEPT = 32


def polished(setup: Setup) -> WaferResult:
    """Return the wafer of a setup; the last ones are kept."""
    from planish.predict.wafer.polish import polish

    key = json.dumps(setup.document)
    if key not in _POLISHED:
        _POLISHED[key] = polish(setup)
        while len(_POLISHED) > _KEPT:
            _POLISHED.popitem(last=False)
    _POLISHED.move_to_end(key)
    return _POLISHED[key]


def wafer(document: Mapping[str, Any], changes: Mapping[str, Any], step: int = 0) -> bytes:
    """Return everything that the page paints for one wafer, packed."""
    from planish.explain.findings import findings
    from planish.web.machine import geometry, point_path

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
            for f in findings(result, remedies=False)
        ],
        "warnings": setup.warnings,
        "machine": geometry(rig),
        "step": shown,
        "path_s": duration,
        "exclusion_m": rig.wafer.edge_exclusion,
    }
    return pack(header, arrays)


def advice(document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the findings with the changes that would help, which takes some twenty runs of the model."""
    from planish.explain.findings import findings

    result = polished(setup_of(document))
    return [
        {"subject": f.subject, "weight": f.weight, "text": f.text, "changes": f.changes}
        for f in findings(result)
    ]


def forms(document: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    """Return the settings of a setup, each with unit, range, source and spread."""
    from planish.web.forms import describe, part_choices, step_paths

    setup = setup_of(document, changes)
    return {
        "document": setup.document,
        "title": setup.title,
        "motion": setup.motion,
        "digest": setup.digest(),
        "parts": part_choices(setup),
        "fields": describe(setup),
        "steps": step_paths(setup),
        "warnings": list(setup.warnings),
        "notes": list(setup.notes),
        "sources": list(setup.sources),
    }


def choose(document: Mapping[str, Any], section: str, part: str) -> dict[str, Any]:
    """Return the document with another part in place."""
    from planish.web.changes import choose as chosen

    return {"document": chosen(setup_of(document), section, part).document}


def fresh(motion: str | None = None) -> dict[str, Any]:
    """Return the document of the invented scenario for a motion, the first where none is named."""
    from planish.web.changes import fresh as made

    return {"document": made(motion)}


def move(document: Mapping[str, Any], motion: str) -> dict[str, Any]:
    """Return the document on a polisher of another motion."""
    from planish.web.changes import with_motion

    return {"document": with_motion(setup_of(document), motion).document}


def read_toml(text: str) -> dict[str, Any]:
    """Return the document of a TOML text, checked."""
    from planish.setup.load import loads

    setup = loads(text, "your file")
    return {"document": json.loads(json.dumps(setup.document)), "title": setup.title}


def to_toml(document: Mapping[str, Any]) -> str:
    """Return a document as TOML."""
    return setup_of(document).to_toml()


def compare(a: Mapping[str, Any], b: Mapping[str, Any], outcomes: list[str]) -> dict[str, Any]:
    """Return what differs between two setups and why: the exact share of each group of choices."""
    from planish.explain.comparison.attribution import compare as shared
    from planish.explain.comparison.attribution import differing
    from planish.explain.words import label
    from planish.results.plain import clean

    one, other = setup_of(a), setup_of(b)
    found = shared(one, other, outcomes or OUTCOMES[:2])
    answer: dict[str, Any] = found.document()
    answer["labels"] = {key: label(key) for key in {**found.a, **found.b}}
    answer["changed"] = differing(one.rig, other.rig)
    return dict(clean(answer))


def profile_csv(document: Mapping[str, Any]) -> str:
    """Return the wafer's profiles as CSV."""
    result = polished(setup_of(document))
    head = ["radius_mm", "removed_nm", "remaining_nm"]
    columns = [result.radius * 1e3, result.removed * 1e9, result.remaining.sum(axis=0) * 1e9]
    for step in result.steps:
        head += [f"{step.name}_pressure_psi", f"{step.name}_speed_m_per_s"]
        columns += [step.pressure / PSI, step.speed]
    return csv_text(head, ([f"{value:.6g}" for value in row] for row in zip(*columns, strict=True)))


def recipe_sheet(document: Mapping[str, Any]) -> str:
    """Return the recipe as a page to print."""
    from planish.explain.recipe_sheet import recipe_sheet as sheet

    setup = setup_of(document)
    return sheet(setup, polished(setup))


def report(document: Mapping[str, Any]) -> str:
    """Return the whole report of the wafer as a page."""
    from planish.explain.page import render
    from planish.explain.report import headline, wafer_parts

    result = polished(setup_of(document))
    return render(result.rig.title, wafer_parts(result), result.sources(), lead=headline(result))


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
