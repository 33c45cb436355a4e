"""Figure of a trial of run-to-run control: what each wafer lost under each control, beside the least that chance allows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from planish.explain.figures.data import texts, values
from planish.explain.figures.style import FAINT, INK, axes, figure, line_look, styled

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.results.result import Result

FIXED = "fixed time"
CLOSE = 6.0  # least spreads that the closer look shows: what a new pad does at first leaves it


@styled
def trial_figure(trial: Result) -> Figure:
    """Draw what is removed by wafer under a fixed time and under each control, the bound as a band, and their spreads.

    Parameters
    ----------
    trial
        Of run-to-run control.

    Returns
    -------
    Figure
        In the house style: the fixed time, the controls on a wider scale, the times, and the spreads as bars.
    """
    document: Any = trial.document()
    data = trial.data
    wafers = np.arange(1, values(data, "wanted").size + 1)
    controls = texts(data, "control")
    removed, time = 1e9 * values(data, "removed"), values(data, "time")
    wanted, bound = 1e9 * values(data, "wanted"), 1e9 * values(data, "bound")
    fig = figure(11.5, 9.0)
    grid = fig.add_gridspec(3, 2, width_ratios=(2.7, 1.0))
    whole, close, times = (axes(fig, grid[row, 0]) for row in range(3))
    for ax in (whole, close):
        ax.fill_between(
            wafers, wanted - 2 * bound, wanted + 2 * bound, color=FAINT, alpha=0.3, linewidth=0,
            label="wanted ± 2 least spreads",
        )  # fmt: skip
        ax.set_ylabel("removed [nm]")
    for number, name in enumerate(controls):
        look = {**line_look(number), "linestyle": "-"}
        order = {"zorder": 2 + (name == document["best_control"])}
        for ax in (whole, close):
            if ax is whole or name != FIXED:
                ax.plot(wafers, removed[number], linewidth=0.9, label=name, **look, **order)
        times.plot(wafers, time[number], linewidth=0.9, label=name, **look, **order)
    reach = CLOSE * float(np.median(bound))
    close.set_ylim(float(wanted.min()) - reach, float(wanted.max()) + reach)
    for ax in (whole, close, times):
        for what, dash in (("pad_changed", (0, (1, 2))), ("disk_changed", (0, (5, 3)))):
            for wafer in wafers[values(data, what) > 0]:
                ax.axvline(wafer, color=INK, linewidth=0.9, linestyle=dash)
        ax.margins(x=0.01)
    whole.legend(ncols=2, loc="best", fontsize=9)
    whole.set_title("a fixed time, and the controls")
    close.set_title("the controls alone, closer; dotted: new pad, dashed: new disk")
    times.set_title("time of the step")
    times.set_ylabel("time [s]")
    times.set_xlabel("wafer of the first course")
    _bars(axes(fig, grid[:, 1]), document, controls)
    late = document["delay_wafers"]
    wafer = "wafer" if late == 1 else "wafers"
    fig.suptitle(
        f"{document['step']}, {document['wanted_nm']:.4g} nm, metrology {late} {wafer} late: "
        f"{document['best_control']} {document['best_to_bound_relative']:.2f} × the least spread",
        fontweight="bold", x=0.02, ha="left",
    )  # fmt: skip
    return fig


def _bars(ax: Any, document: Any, controls: list[str]) -> None:
    """Draw the spread of each control over all courses, and the bound as a line."""
    rows = {row["control"]: row for row in document["controls"]}
    sizes = [rows[name]["spread_percent"] for name in controls]
    looks = [line_look(number)["color"] for number in range(len(controls))]
    bars = ax.bar(controls, sizes, color=looks, alpha=0.8)
    ax.bar_label(bars, [f"{size:.3g} %\n{rows[name]['to_bound_relative']:.2f} ×" for size, name in zip(sizes, controls, strict=True)], padding=3, fontsize=9)  # fmt: skip
    ax.axhline(document["bound_spread_percent"], color=INK, linewidth=1.6, linestyle=(0, (4, 2)))
    ax.tick_params(axis="x", rotation=45)
    ax.margins(y=0.15)
    ax.grid(axis="x", visible=False)
    count = document["seeds"]
    ax.set_title(
        f"spread [%], {count} {'course' if count == 1 else 'courses'};\ndashed: least {document['bound_spread_percent']:.3g} %"
    )
