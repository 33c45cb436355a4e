"""Settings solved for: what the page's tune view asks for, at once for one wafer and as a job for many or for a chance."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.results.plain import clean
from planish.web.answers import setup_of
from planish.web.own_data import file_as_told, named
from planish.web.packing import pack

if TYPE_CHECKING:
    from planish import Tuned

LINES = 8  # wafers that are drawn one by one; more are drawn as a band
PLAIN = {
    "target": "target_nm",
    "neighbour": "neighbour_psi",
    "most_time": "most_time_s",
    "least_rate": "least_rate_nm_per_min",
}
UNITS = {"target": "nm", "neighbour": "psi", "most_time": "s", "least_rate": "nm/min"}


def figures() -> list[dict[str, str]]:
    """Return the figures of what is left that wafers can be asked to meet."""
    from planish.jobs.tuning import figures_to_meet

    return figures_to_meet()


def solved(
    document: Mapping[str, Any], files: Sequence[Sequence[Any]] = (), limits: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """Return the settings that leave the most even wafers, beside those of the setup, and the setup with them.

    ``files`` are paths of a person's site files with what they call them and how they are read; ``limits`` as the page asks
    (`schemas.Solve`).
    """
    return told(_found(document, files, limits or {}, None))


def job_tune(options: Mapping[str, Any], folder: Path, tell: Callable[[float], None]) -> None:
    """Solve for settings for many wafers, or for the chance of meeting limits: packed answer."""
    from planish.engine.files import write_whole

    found = _found(
        options["document"],
        options["files"],
        options["solve"],
        lambda done, total: tell(done / total),
    )
    write_whole(folder / "answer.bin", pack(told(found), {}))


def _found(
    document: Mapping[str, Any],
    files: Sequence[Sequence[Any]],
    asked: Mapping[str, Any],
    progress: Callable[[int, int], None] | None,
) -> Tuned:
    from planish import tune

    quantities: dict[str, Any] = {
        key: f"{asked[name]!r} {UNITS[key]}" for key, name in PLAIN.items() if asked.get(name) is not None
    }
    others = {
        key: asked[key] for key in ("keep", "meet", "spreads", "over_wafers", "draws", "seed") if key in asked
    }
    with ExitStack() as stack:
        for path, name, *_ in files:
            stack.enter_context(named(path, name))
        return tune(
            setup_of(document),
            incoming=[_read(path, how) for path, _, how in files] or None,
            workers=1,
            progress=progress,
            **quantities,
            **others,
        )


def _read(path: str, how: Mapping[str, Any]) -> Any:
    """Return a person's file read as they told, or its path where nothing was told."""
    if how.get("told") or how.get("wafer"):
        return file_as_told(path, how).read()
    return path


def told(found: Tuned) -> dict[str, Any]:
    """Return what the page shows of tuned settings, with the profiles of each of several wafers, or their band."""
    before, after = found.before, found.after
    answer: dict[str, Any] = found.document()
    answer |= {
        "start_document": found.setup.document,
        "document": found.tuned().document,
        "radius": after.radius,
        "left_before": before.remaining.sum(axis=0),
        "left_after": after.remaining.sum(axis=0),
        "goal": found.goal,
        "exclusion_m": after.rig.wafer.edge_exclusion,
    }
    if found.wafers:
        profiles = np.stack([one.after.remaining.sum(axis=0) for one in found.wafers])
        answer["band_after"] = [profiles.min(axis=0), profiles.max(axis=0)]
        if len(found.wafers) <= LINES:
            answer["each_after"] = profiles
    return dict(clean(answer))
