"""The picture of ranked causes: their shares, how the rings changed, and the course of the figures that moved most.

It is drawn from what the answer tells and from its dataset, fresh or saved alike.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from planish.explain.figures.data import values
from planish.explain.figures.style import BLUE, INK, ORANGE, axes, figure, line_look, styled

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.results.result import Result


@styled
def causes_figure(answer: Result) -> Figure:
    """Draw the shares of the causes, the change of the rings, and the two figures that moved most.

    Parameters
    ----------
    answer
        Ranked causes.

    Returns
    -------
    Figure
        In the house style, four panels.
    """
    document: Any = answer.document()
    data = answer.data
    fig = figure(12.0, 8.4)
    _shares(axes(fig, 2, 2, 1), document["causes"])
    _rings(axes(fig, 2, 2, 2), data, document["likeliest"])
    names = [f"{one['figure']} [{one['unit']}]" for one in document["moved"][:2]]
    for number, name in enumerate(names):
        _course(axes(fig, 2, 2, 3 + number), data, document, document["figures"].index(name))
    odd = "" if document["explained"] else " (which does not explain it)"
    fig.suptitle(
        f"{document['likeliest']}, {document['share_percent']:.0f} %: {document['change']} since row {document['onset_row']}{odd}",
        fontweight="bold",
        x=0.02,
        ha="left",
    )
    return fig


def _shares(ax: Any, causes: list[Any]) -> None:
    names = [one["cause"] for one in causes]
    bars = ax.barh(names, [one["share_percent"] for one in causes], color=BLUE, alpha=0.8)
    ax.bar_label(bars, [f"{one['share_percent']:.1f} %, row {one['onset_row']}" for one in causes], padding=4)
    ax.invert_yaxis()
    ax.set_xlim(0, 135)
    ax.set_xticks([0, 25, 50, 75, 100])
    ax.grid(axis="y", visible=False)
    ax.set_xlabel("share [%]")
    ax.set_title("how likely, and since when")


def _rings(ax: Any, data: Any, cause: str) -> None:
    radius = 1e3 * values(data, "ring_radius")
    measured, foretold = 1e9 * values(data, "rings"), 1e9 * values(data, "rings_foretold")
    for number, what in enumerate(("before", "removal")):
        look = line_look(number)
        first, second = (each[0] - (each[1] if number else 0.0) for each in (measured, foretold))
        ax.plot(
            radius,
            first,
            marker="os"[number],
            linestyle="none",
            color=look["color"],
            label=f"{what}, measured",
        )
        ax.plot(radius, second, **look, label=f"{what}, by {cause}")
    ax.set_xlabel("radius [mm]")
    ax.set_ylabel("change [nm]")
    ax.set_title("thickness before and removal since then")
    ax.margins(y=0.2)
    ax.legend()


def _course(ax: Any, data: Any, document: Any, number: int) -> None:
    rows = values(data, "row")
    ax.plot(
        rows,
        values(data, "course")[number],
        marker="o",
        markersize=4,
        linestyle="none",
        color=BLUE,
        label="measured",
    )
    ax.plot(rows, values(data, "foretold")[number], color=ORANGE, label=f"by {document['likeliest']}")
    ax.axvline(
        rows[document["baseline"] - 1] + 0.5,
        color=INK,
        linewidth=1,
        linestyle=(0, (1, 2)),
        label="end of the baseline",
    )
    ax.set_xlabel("row of the table")
    name = document["figures"][number]
    ax.set_ylabel(name if len(name) < 36 else "[" + name.rsplit("[", 1)[-1])
    ax.set_title(f"{name.rsplit(' [', 1)[0]}, less what ageing foretells")
    ax.legend()
