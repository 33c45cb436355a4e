"""Figures of a qualification, of a test of equivalence, and of the rows that one needs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from planish.explain.figures.style import (
    BLUE,
    FAINT,
    GREEN,
    GRID,
    INK,
    ORANGE,
    figure,
    styled,
    subplots,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.results.result import Result


@styled
def qualification_figure(found: Result) -> Figure:
    """Draw each check between its limits, all on one scale: 0 and 1 are the limits.

    Parameters
    ----------
    found
        A qualification.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = found.document()
    rows = document["checks"]
    fig = figure(10.0, 2.2 + 0.6 * len(rows))
    ax = subplots(fig, 1, 1)
    for at, row in enumerate(rows):
        place = min(max(_place(row), -0.9), 1.9)
        color = GREEN if row["passed"] else ORANGE
        left = 0.0 if row["low"] is not None or row["look"] == "settled" else -1.0
        right = 1.0 if row["high"] is not None else 2.0
        ax.barh([at], [right - left], 0.5, left=left, color=GRID)
        ax.plot([place], [at], marker="o" if row["passed"] else "X", markersize=12, color=color)
        ax.annotate(
            _told(row), (2.05, at), va="center", color=INK, annotation_clip=False, xycoords=ax.transData
        )
    ax.axvline(0, color=FAINT, linewidth=1)
    ax.axvline(1, color=FAINT, linewidth=1)
    ax.set_xlim(-1, 2)
    ax.set_xticks([0, 1], ["lower limit", "upper limit"])
    ax.set_yticks(range(len(rows)), [f"{row['check']} ({row['look']})" for row in rows])
    ax.set_ylim(len(rows) - 0.5, -0.5)
    word = "passed" if document["passed"] else f"{document['missed']} of {len(rows)} checks missed"
    ax.set_title(f"{document['title']}: {word}. Signed by {document['by']}, {document['when']}")
    ax.grid(visible=False)
    return fig


def _place(row: Any) -> float:
    """Return where a value stands, its limits at 0 and 1; with one limit, by its size against that one."""
    value, low, high = row["worst"], row["low"], row["high"]
    if row["look"] == "settled":
        return float(0.5 + 0.5 * value / high)
    if low is not None and high is not None:
        return float((value - low) / (high - low)) if high > low else 0.5 + (value - low)
    limit = low if high is None else high
    scale = abs(limit) or abs(value) or 1.0
    return float((value - limit) / scale + (0.0 if high is None else 1.0))


def _told(row: Any) -> str:
    unit = "%" if row["look"] in ("settled", "spread") else row["unit"]
    limits = " to ".join(
        f"{limit:.4g}"
        for limit in (-row["high"] if row["look"] == "settled" else row["low"], row["high"])
        if limit is not None
    )
    if row["look"] != "settled" and (row["low"] is None or row["high"] is None):
        limits = ("at least " if row["high"] is None else "at most ") + limits
    return f"{row['worst']:.4g} {unit}".strip() + f" ({limits})"


@styled
def equivalence_figure(found: Result) -> Figure:
    """Draw the rows of both parts, and the difference of their means with its interval between the margins.

    Parameters
    ----------
    found
        A test of equivalence.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = found.document()
    parts = document["parts"]
    fig = figure(10.0, 6.4)
    above, below = subplots(fig, 2, 1, height_ratios=[2.2, 1.0])
    for at, (part, color) in enumerate(zip(parts, (FAINT, BLUE), strict=True)):
        rows = [row["value"] for row in document["measured"] if row["part"] == part["part"]]
        spread = 0.18 * (np.arange(len(rows)) / max(len(rows) - 1, 1) - 0.5)
        above.plot(rows, at + spread, "o", color=color, alpha=0.8)
        above.plot([part["mean"]] * 2, [at - 0.25, at + 0.25], color=INK)
    above.set_yticks([0, 1], [f"{part['part']}, {part['rows']} rows" for part in parts])
    above.set_ylim(1.5, -0.5)
    above.set_xlabel(document["value"])
    above.set_title(
        f"{parts[1]['part']} against {parts[0]['part']}: "
        + ("equivalent" if document["equivalent"] else "not shown to be equivalent")
    )
    low, high = document["margin_low"], document["margin_high"]
    below.axvspan(low, high, color=GRID)
    color = GREEN if document["equivalent"] else ORANGE
    below.plot([document["interval_low"], document["interval_high"]], [0, 0], color=color, linewidth=4)
    below.plot([document["difference"]], [0], "o", color=INK)
    below.axvline(0, color=FAINT, linewidth=1)
    ends = [low, high, document["interval_low"], document["interval_high"]]
    reach = 0.1 * (max(ends) - min(ends))
    below.set_xlim(min(ends) - reach, max(ends) + reach)
    below.set_yticks([])
    share = 100 * (1 - 2 * document["alpha"])
    below.set_xlabel(f"difference of the means with its {share:.3g} % interval; grey: within the margins")
    below.grid(visible=False)
    return fig


@styled
def equivalence_size_figure(found: Result) -> Figure:
    """Draw the power over the rows of a sample.

    Parameters
    ----------
    found
        Rows that a test of equivalence needs.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = found.document()
    fig = figure(9.0, 4.6)
    ax = subplots(fig, 1, 1)
    ax.plot(
        [row["rows"] for row in document["curve"]],
        [row["reached_power"] for row in document["curve"]],
        color=BLUE,
        marker="o",
        markersize=4,
    )
    ax.axhline(document["wanted_power"], color=FAINT, linestyle="--")
    ax.plot([document["rows_needed"]], [document["reached_power"]], "o", color=ORANGE, markersize=10)
    ax.set_ylim(0, 1.02)
    ax.set_xlabel("rows of a sample")
    ax.set_ylabel("chance of showing equivalence")
    ax.set_title(f"{document['rows_needed']} rows reach {document['reached_power']:.4g}")
    return fig
