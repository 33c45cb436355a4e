"""The report of one wafer: a self-contained page with figures, numbers, findings, sources and cautions."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planish.engine.files import write_whole
from planish.explain.figures.machine import machine_plan, speeds_text
from planish.explain.figures.sites import against_figure
from planish.explain.figures.wafer import (
    edge_figure,
    map_figure,
    residual_map,
    wafer_figure,
)
from planish.explain.findings import Finding, findings
from planish.explain.page import Part, render
from planish.explain.words import label, set_options
from planish.fit.against import WaferAgainst, wafer_against
from planish.predict.wafer.polish import polish
from planish.predict.wafer.result import WaferResult
from planish.setup.load import as_path

if TYPE_CHECKING:
    from planish.fit.against import Measured
    from planish.setup.given import SetupLike


def write_report(
    result: WaferResult | SetupLike,
    path: str | os.PathLike[str],
    measured: WaferAgainst | Measured | None = None,
) -> Path:
    """Write the report of a wafer, with a measured one beside its prediction if given.

    Parameters
    ----------
    result
        A predicted wafer; or a setup, its SI records or its file, which is polished first.
    path
        The HTML file to write.
    measured
        A measured removal, held against the prediction of the same setup; or that done already
        (:func:`~planish.fit.against.wafer_against`), for another polish time than the stated one.

    Returns
    -------
    Path
        The file that was written.

    Raises
    ------
    PlanishError
        As :func:`~planish.predict.wafer.polish.polish` and :func:`~planish.fit.against.wafer_against`.
    """
    target = Path(as_path(path, "report"))
    wafer = result if isinstance(result, WaferResult) else polish(result)
    if measured is not None and not isinstance(measured, WaferAgainst):
        measured = wafer_against(wafer.rig, measured)
    write_whole(target, report_page(wafer, measured))
    return target


def report_page(result: WaferResult, measured: WaferAgainst | None = None) -> str:
    """Return the report of a wafer as a complete page.

    Parameters
    ----------
    result
        The predicted wafer.
    measured
        A measured one held against it, if there is one.

    Returns
    -------
    str
        HTML.
    """
    parts = wafer_parts(result)
    if measured is not None:
        parts.append(measured_part(measured))
    return render(result.rig.title, parts, result.sources(), lead=headline(result))


def told(item: Finding) -> str:
    """Return a finding with the settings it proposes, ready for ``--set`` and ``Setup.replace``."""
    return " ".join([item.text, *set_options(item.changes)])


def headline(result: WaferResult) -> str:
    """Return the wafer in one sentence.

    Parameters
    ----------
    result
        The wafer.

    Returns
    -------
    str
        In the trade's units.
    """
    figures = result.summary()
    return (
        f"{figures['mean_removed_nm']:.0f} nm removed in {figures['time_s']:.0f} s "
        f"({figures['mean_removal_rate_nm_per_min']:.0f} nm/min), even within "
        f"{_number(figures['wiwnu_sigma_percent'])} % (1σ), pad at most {figures['peak_temperature_C']:.0f} °C."
    )


def wafer_parts(result: WaferResult) -> list[Part]:
    """Return the parts of a page about one wafer.

    Parameters
    ----------
    result
        The wafer.

    Returns
    -------
    list[Part]
        For :func:`~planish.explain.page.render`.
    """
    flat = result.summary().items()
    longest = max(range(len(result.steps)), key=lambda index: result.steps[index].duration)
    step = result.rig.steps[longest]
    machine = Part("The machine").figure(
        machine_plan(result.rig, longest),
        f"{result.rig.polisher.motion.capitalize()} polisher in plan, to scale, at the speeds of step {step.name} "
        f"({speeds_text(result.rig, step)}). Blue: path on the pad of a wafer point 10 mm inside the edge.",
    )
    found = Part("Findings").listing([told(item) for item in findings(result)])
    numbers = Part("Figures").table(["figure", "value"], [[label(key), value] for key, value in flat])
    steps = result.tables()["steps"]
    numbers.table([label(key) for key in steps], list(zip(*steps.values(), strict=True)), "Step by step")
    profiles = Part("Across the wafer")
    profiles.figure(
        wafer_figure(result), "Pressure, speed, rate and thickness against radius; grey: edge exclusion."
    )
    profiles.figure(edge_figure(result), "The last 20 mm: pressure as a share of its mean.")
    profiles.figure(map_figure(result), "Removed and remaining film over the wafer.")
    notes = Part("Assumed").listing(list(result.notes) or ["Nothing was assumed beyond the setup."])
    return [found, numbers, profiles, machine, notes]


def measured_part(against: WaferAgainst) -> Part:
    """Return the part that sets the measured removal beside the prediction for the time it was polished.

    Parameters
    ----------
    against
        Both.

    Returns
    -------
    Part
        For :func:`~planish.explain.page.render`.
    """
    result, removal = against.wafer, against.paired.removal
    part = Part("Predicted against measured")
    part.table(
        ["figure", "predicted", "measured"],
        [[label(row["key"]), row["predicted"], row["measured"]] for row in against.rows()],
    )
    time = "the recipe's own time" if against.time is None else f"{against.time:.4g} s"
    part.figure(
        against_figure(against),
        f"Removal at the measured sites over the profile predicted for {time}; below, the difference.",
    )
    part.figure(
        residual_map(removal.x, removal.y, removal.value - against.at_sites, result.rig.wafer.radius),
        "Where the prediction misses: the difference at each site, less its mean.",
    )
    return part.listing(against.sentences())


def _number(value: Any) -> str:
    return "–" if value is None else f"{value:.1f}"
