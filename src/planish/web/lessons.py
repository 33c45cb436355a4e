"""The guided comparisons on the wire."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from planish.jobs import lessons
from planish.jobs.exchange import fresh
from planish.results.plain import clean
from planish.web.answers import setup_of


def listing() -> list[dict[str, Any]]:
    """Return title, question and what is set side by side, of every comparison."""
    setup = setup_of(fresh())
    return [
        {"id": one.id, "title": one.title, "question": one.question, "cases": list(one.cases(setup))}
        for one in lessons.LESSONS
    ]


def answer(document: Mapping[str, Any], lesson: str) -> dict[str, Any]:
    """Return the computed answer of one comparison: figures, curves and a sentence for each figure."""
    asked = lessons.lesson(lesson)
    found = lessons.answer(asked, setup_of(document))
    return dict(
        clean(
            {
                "id": asked.id,
                "title": asked.title,
                "question": asked.question,
                "look": asked.look,
                "curve": asked.curve,
                "cases": list(found.setups),
                "figures": [
                    {
                        "name": told.figure.name,
                        "unit": told.figure.unit,
                        "digits": told.figure.digits,
                        "values": told.values,
                        "sentence": told.sentence,
                    }
                    for told in found.told
                ],
                "curves": {
                    name: {**asdict(curve), "x": list(curve.x)} for name, curve in found.curves.items()
                },
                "documents": {name: setup.document for name, setup in found.setups.items()},
            }
        )
    )
