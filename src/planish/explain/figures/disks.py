"""Figure of a fit to disks: how fast each cut the pad over its use, measured and fitted.

It is drawn from what its answer tells (:meth:`~planish.results.result.Result.document`), fresh or saved alike.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from planish.explain.figures.style import axes, figure, line_look, styled

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.results.result import Result


@styled
def disks_figure(fit: Result) -> Figure:
    """Draw the cut rate of each disk over its use, dots measured, lines fitted.

    Parameters
    ----------
    fit
        To cut rates of disks.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = fit.document()
    rows = document["measurements"]
    fig = figure(9.0, 5.2)
    ax = axes(fig, 1, 1, 1)
    for index, name in enumerate(dict.fromkeys(row["disk"] for row in rows)):
        own = sorted((row for row in rows if row["disk"] == name), key=lambda row: row["use_h"])
        use = [row["use_h"] for row in own]
        look = line_look(index)
        ax.plot(use, [row["fitted_cut_um_per_h"] for row in own], label=name, **look)
        ax.plot(use, [row["cut_um_per_h"] for row in own], "o", color=look["color"])
    ax.set_ylim(bottom=0)
    ax.set_xlabel("use of the disk [h]")
    ax.set_ylabel("pad cut rate [µm/h]")
    halving, error = document["halving_time_h"], document["halving_time_error_h"]
    ax.set_title(
        f"Dots measured, lines fitted: reference grit halves its cut in {halving:.3g} ± {error:.2g} h"
    )
    ax.legend()
    return fig
