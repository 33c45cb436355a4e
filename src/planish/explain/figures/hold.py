"""Figures of a step that is held: control charts, run lengths, capability, gauge studies.

Each is drawn from what its answer tells and from its dataset, fresh or saved alike.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.explain.figures.data import values
from planish.explain.figures.style import (
    AMBER,
    BLUE,
    FAINT,
    GREEN,
    INK,
    ORANGE,
    PINK,
    axes,
    figure,
    line_look,
    styled,
    subplots,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.results.result import Result

DOTTED = 400  # points up to which each is drawn with a dot
NAMED_PHASES = 12  # phases up to which their names are written
# What changed: mark, colour; the mark alone tells them apart.
CHARTS = {
    "individuals": "Single values",
    "xbar": "Means and spreads of groups",
    "ewma": "EWMA",
    "cusum": "CUSUM",
    "t2": "T squared",
}
MARKS = {
    "mean shift": ("^", ORANGE),
    "drift": (">", PINK),
    "spread": ("s", AMBER),
    "mixture": ("D", GREEN),
}


@styled
def chart_figure(chart: Result) -> Figure:
    """Draw a control chart: points, centre and limits of each phase, alarms marked by what changed.

    Parameters
    ----------
    chart
        Of measured rows.

    Returns
    -------
    Figure
        In the house style, a panel a statistic.
    """
    document: Any = chart.document()
    data = chart.data
    names = document["panels"]
    rows = values(data, "row")
    phase = values(data, "phase")
    begins = np.flatnonzero(np.diff(phase, prepend=phase[0])) if rows.size else np.empty(0, dtype=int)
    fig = figure(11.0, 1.2 + 3.2 * len(names))
    grid = subplots(fig, len(names), 1, squeeze=False, sharex=True)[:, 0]
    for number, (ax, name) in enumerate(zip(grid, names, strict=True), 1):
        lines = [
            values(data, key) for line in (1, 2) if (key := f"panel_{number}_line_{line}") in data.variables
        ]
        _lines(ax, rows, begins, lines)
        _limits(
            ax,
            rows,
            begins,
            {end: values(data, f"panel_{number}_{end}") for end in ("centre", "lower", "upper")},
        )
        _alarms(ax, rows, lines, [alarm for alarm in document["alarms"] if alarm["panel"] == number])
        for begin in begins:
            ax.axvline(0.5 * (rows[begin - 1] + rows[begin]), color=INK, linewidth=1, linestyle=(0, (1, 2)))
        unit = "" if name == "T squared" else f" of {document['value']}"
        ax.set_ylabel(f"{name}{unit if len(unit) < 34 else ''}")
        ax.margins(x=0.02, y=0.12)
    _phase_names(grid[0], rows, begins, document["phases"])
    grid[-1].set_xlabel("row of the table")
    told = f"{document['alarm_count']} {'alarm' if document['alarm_count'] == 1 else 'alarms'}"
    fig.suptitle(
        f"{CHARTS[document['chart']]} of {document['value']}: {told}", fontweight="bold", x=0.02, ha="left"
    )
    if document["alarms"]:
        handles, labels = _unique(grid)
        fig.legend(handles, labels, loc="outside lower left", ncols=5)
    return fig


def _lines(ax: Any, rows: Any, begins: Any, lines: list[Any]) -> None:
    """Draw the points of each phase joined, and no line from phase to phase."""
    dotted = {"marker": "o", "markersize": 4} if rows.size <= DOTTED else {}
    width = 1.4 if rows.size <= DOTTED else 0.6
    for color, line in zip((BLUE, GREEN), lines, strict=False):
        ax.plot(
            np.insert(rows, begins, np.nan),
            np.insert(line, begins, np.nan),
            color=color,
            linewidth=width,
            **dotted,
        )


def _limits(ax: Any, rows: Any, begins: Any, ends: dict[str, Any]) -> None:
    starts = [0, *begins, rows.size]
    for low, high in pairwise(starts):
        part = slice(low, high)
        ax.plot(rows[part], ends["centre"][part], color=INK, linewidth=1.2)
        for end in ("lower", "upper"):
            ax.step(rows[part], ends[end][part], where="mid", color=INK, linewidth=1.4, linestyle=(0, (6, 3)))


def _alarms(ax: Any, rows: Any, lines: list[Any], alarms: list[Any]) -> None:
    by: dict[str, set[int]] = {}
    for alarm in alarms:
        by.setdefault(alarm["changed"], set()).add(alarm["point"] - 1)
    for kind, points in by.items():
        at = np.array(sorted(points))
        heights = lines[0][at]
        if len(lines) > 1:  # of two sums the one further out
            heights = np.where(np.abs(lines[1][at]) > np.abs(heights), lines[1][at], heights)
        mark, color = MARKS[kind]
        ax.plot(
            rows[at],
            heights,
            linestyle="none",
            marker=mark,
            markersize=10 if rows.size <= DOTTED else 6,
            markerfacecolor="none",
            markeredgecolor=color,
            markeredgewidth=1.8 if rows.size <= DOTTED else 1.0,
            label=f"alarm, {kind}",
        )


def _phase_names(ax: Any, rows: Any, begins: Any, phases: list[Any]) -> None:
    if not 1 < len(phases) <= NAMED_PHASES:
        return
    starts = [0, *begins]
    for start, phase in zip(starts, phases, strict=True):
        ax.annotate(
            phase["phase"],
            (rows[start], 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(4, -3),
            textcoords="offset points",
            va="top",
            fontsize=10,
            color=FAINT,
        )


def _unique(grid: Any) -> tuple[list[Any], list[str]]:
    found: dict[str, Any] = {}
    for ax in grid:
        for handle, label in zip(*ax.get_legend_handles_labels(), strict=True):
            found.setdefault(label, handle)
    return list(found.values()), list(found)


@styled
def run_length_figure(answer: Result) -> Figure:
    """Draw the run length over the shift of the mean, or, under a drift, the share of charts still silent.

    Parameters
    ----------
    answer
        A run length.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = answer.document()
    fig = figure(8.0, 4.8)
    ax = axes(fig, 1, 1, 1)
    what = f"{CHARTS[document['chart']]}, limit {document['limit']:.4g} sigma"
    if document["run_lengths"]:
        ax.plot(
            [row["shift"] for row in document["run_lengths"]],
            [row["arl"] for row in document["run_lengths"]],
            marker="o",
            markersize=4,
            **line_look(0),
        )
        ax.plot(
            abs(document["shift"]),
            document["arl"],
            "D",
            color=ORANGE,
            markersize=9,
            label=f"{document['arl']:.5g}",
        )
        ax.set_yscale("log")
        ax.set_xlabel("shift of the mean [sigma]")
        ax.set_ylabel("samples on average before an alarm")
        ax.legend()
    else:
        ax.plot(
            [row["samples"] for row in document["silent"]],
            [100 * row["share"] for row in document["silent"]],
            **line_look(0),
        )
        ax.axvline(document["arl"], **line_look(1), label=f"on average {document['arl']:.5g}")
        ax.set_xlabel("samples")
        ax.set_ylabel("charts still silent [%]")
        ax.legend()
    ax.set_title(what)
    return fig


@styled
def capability_figure(answer: Result) -> Figure:
    """Draw the values as a histogram with the specification limits and the two normal curves.

    Parameters
    ----------
    answer
        A capability.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = answer.document()
    found = values(answer.data, "value")
    fig = figure(9.0, 4.8)
    ax = axes(fig, 1, 1, 1)
    _, edges, _ = ax.hist(found, bins="auto", color=BLUE, alpha=0.35, edgecolor=BLUE, label="rows")
    ends = [*(document[end] for end in ("lsl", "usl") if document[end] is not None), found.min(), found.max()]
    low, high = min(ends), max(ends)
    x = np.linspace(low - 0.08 * (high - low), high + 0.08 * (high - low), 400)
    scale = found.size * float(edges[1] - edges[0])
    for number, (key, name) in enumerate(
        (("sigma_overall", "normal, sigma overall"), ("sigma_within", "normal, sigma within"))
    ):
        sigma = document[key]
        curve = np.exp(-0.5 * ((x - document["mean"]) / sigma) ** 2) / (sigma * np.sqrt(2 * np.pi))
        ax.plot(x, scale * curve, label=name, **line_look(number + 1))
    for key in ("lsl", "usl"):
        if document[key] is not None:
            ax.axvline(document[key], color=INK, linewidth=1.6)
            ax.annotate(key.upper(), (document[key], 1.0), xycoords=("data", "axes fraction"), xytext=(4, -3),
                        textcoords="offset points", va="top")  # fmt: skip
    told = [
        f"{name.capitalize()} {document[name]:.3g} ({document[f'{name}_low']:.3g} to {document[f'{name}_high']:.3g})"
        for name in ("cpk", "ppk")
        if document[name] is not None
    ]
    ax.set_title(", ".join(told))
    ax.set_xlabel(document["value"])
    ax.set_ylabel("rows")
    ax.legend()
    return fig


@styled
def gauge_figure(answer: Result) -> Figure:
    """Draw the standard deviation of each source of the spread as a bar.

    Parameters
    ----------
    answer
        A gauge study.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = answer.document()
    parts = document["components"]
    fig = figure(9.0, 1.6 + 0.5 * len(parts))
    ax = axes(fig, 1, 1, 1)
    bars = ax.barh([part["source"] for part in parts], [part["sd"] for part in parts], color=BLUE, alpha=0.8)
    texts = [
        f"{part['sd']:.4g}"
        + ("" if part["sd_percent"] is None else f"  ({part['sd_percent']:.3g} % of the total)")
        for part in parts
    ]
    ax.bar_label(bars, texts, padding=4)
    ax.invert_yaxis()
    ax.margins(x=0.45)
    ax.grid(axis="y", visible=False)
    categories = document["distinct_categories"]
    told = "" if categories is None else f", parts told apart: {categories}"
    ax.set_title(f"gauge study of {document['value']}{told}")
    ax.set_xlabel("standard deviation, in the unit of the table")
    return fig
