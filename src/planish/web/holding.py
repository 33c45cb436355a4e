"""What the page's hold view asks for: charts of a person's tables, and traces replayed as a machine would have seen them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.results.plain import clean
from planish.web.answers import setup_of
from planish.web.own_data import named

if TYPE_CHECKING:
    from planish import FollowedTrace, Trace, WatchedTrace

MOST_DRAWN = 3000  # points of a chart that go over the wire


def columns(path: str, name: str) -> dict[str, Any]:
    """Return the columns of a table and what each can be used for."""
    from planish.jobs.charted import table_columns

    with named(path, name):
        return dict(clean(table_columns(path)))


def chart(path: str, name: str, asked: Mapping[str, Any]) -> dict[str, Any]:
    """Return a control chart: its figures, and of each panel the points with their limits.

    Of a long table the last points are sent.
    """
    from planish import hold_chart

    given = {key: value for key, value in asked.items() if value not in (None, [], "")}
    value = given.pop("value")
    with named(path, name):
        found = hold_chart(path, value if given["chart"] == "t2" else value[0], **given)
    late = slice(max(0, found.rows.size - MOST_DRAWN), None)
    panels = [
        {
            "name": panel.name,
            "lines": panel.series[:, late],
            "centre": panel.centre[late],
            "lower": panel.lower[late],
            "upper": panel.upper[late],
        }
        for panel in found.panels
    ]
    told = found.document()
    left_out = late.start
    return dict(
        clean(
            {
                **told,
                "panels": panels,
                "rows": found.rows[late],
                "phase_of": found.phase[late],
                "first_point": left_out,
                "sources": found.sources(),
            }
        )
    )


def trace(
    document: Mapping[str, Any] | None, file: tuple[str, str] | None, asked: Mapping[str, Any]
) -> dict[str, Any]:
    """Replay a trace: a file, or one that is invented from the setup.

    ``asked`` as in `schemas.TraceAsked`: light is followed to a thickness, friction and eddy currents are watched for a change.
    """
    from planish import follow_trace, invent_trace, watch_trace

    kind = asked["kind"]

    def replayed(source: str | Trace) -> dict[str, Any]:
        if kind == "light":
            given = {key: asked[key] for key in ("start", "rate", "film", "light") if asked.get(key)}
            return _followed(follow_trace(source, f"{asked['target_nm']!r} nm", **given))
        given = {key: asked[key] for key in ("direction", "baseline") if asked.get(key)}
        return _watched(watch_trace(source, by="slope" if kind == "eddy" else "level", **given))

    if file is None:
        invented = invent_trace(
            setup_of(document or {}), kind, seed=asked["seed"], signal_to_noise=asked["noise"]
        )
        return dict(clean({**replayed(invented), "invented": True}))
    with named(*file):
        return dict(clean(replayed(file[0])))


def _followed(found: FollowedTrace) -> dict[str, Any]:
    return {**found.document(), "is": "light"}


def _watched(found: WatchedTrace) -> dict[str, Any]:
    signal = found.trace.signals[:, 0]
    thin = slice(None, None, max(1, -(-signal.size // MOST_DRAWN)))
    return {
        **found.document(),
        "is": "change",
        "time": np.asarray(found.trace.times[thin]),
        "signal": signal[thin],
    }
