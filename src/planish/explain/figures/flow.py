"""The figure of wafers that pass a machine: how many are done, what its stations do, how its time splits."""

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
    PINK,
    SKY,
    figure,
    styled,
    subplots,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.results.result import Result

STATES = (BLUE, GRID, GREEN, ORANGE, PINK, FAINT)


@styled
def flow_figure(flow: Result) -> Figure:
    """Draw wafers done over time beside the closed form, the stations, and the states of the machine.

    Parameters
    ----------
    flow
        Of wafers.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = flow.document()
    stations = document["stations"]
    fig = figure(10.0, 6.4 + 0.4 * len(stations))
    above, middle, below = subplots(fig, 3, 1, height_ratios=[3.0, 0.8 + 0.4 * len(stations), 0.9])
    hours = np.asarray(document["done_s"]) / 3600.0
    above.plot(hours, np.arange(1, hours.size + 1), color=BLUE, label="simulated")
    pace = document["expected_wafers_per_hour"]
    above.plot(
        hours[[0, -1]],
        1 + pace * (hours[[0, -1]] - hours[0]),
        color=ORANGE,
        linestyle="--",
        label="closed form",
    )
    above.set_xlabel("time [h]")
    above.set_ylabel("wafers done")
    above.set_title(
        f"{document['wafers_per_hour']:.4g} ± {document['wafers_per_hour_error']:.2g} wafers an hour; "
        f"{pace:.4g} by the closed form"
    )
    above.legend(loc="upper left")
    names = [
        row["station"] if row["places"] == 1 else f"{row['places']} {row['station']}" for row in stations
    ]
    busy = [row["busy_percent"] for row in stations]
    middle.barh(names, busy, color=SKY, label="at work")
    middle.barh(
        names, [row["blocked_percent"] for row in stations], left=busy, color=GRID, label="waits for the next"
    )
    middle.invert_yaxis()
    middle.set_xlim(0, 100)
    middle.set_xlabel("share of the time [%]")
    middle.set_title(f"Slowest: {document['bottleneck']}", color=INK)
    middle.grid(axis="y", visible=False)
    middle.legend(loc="lower right", ncols=2)
    left = 0.0
    for row, color in zip(document["states"], STATES, strict=True):
        if row["share_percent"] > 0:
            name = f"{row['state']} {row['name']} {row['share_percent']:.3g} %"
            below.barh([0], [row["share_percent"]], left=left, color=color, label=name)
        left += row["share_percent"]
    below.set_xlim(0, 100)
    below.set_yticks([])
    below.set_xlabel("share of the calendar [%]")
    below.grid(axis="y", visible=False)
    below.legend(loc="upper center", bbox_to_anchor=(0.5, -0.9), ncols=3)
    return fig
