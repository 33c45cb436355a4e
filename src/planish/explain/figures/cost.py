"""The figures of a cost: what each thing adds to a wafer, and what its time goes into."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from planish.explain.figures.style import BLUE, FAINT, GREEN, ORANGE, SKY, figure, styled, subplots

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.results.result import Result

PARTS = (("polish", BLUE), ("between", SKY), ("monitors", GREEN), ("changes", ORANGE))
WORDS = {"between": "between wafers", "changes": "changes, breaking in"}


@styled
def cost_figure(cost: Result) -> Figure:
    """Draw what a wafer costs, a bar an item, and where its time goes.

    Drawn from what the answer tells (its ``document``), so a saved one looks the same.

    Parameters
    ----------
    cost
        Of a wafer.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = cost.document()
    fig = figure(10.0, 3.0 + 0.45 * len(document["items"]))
    above, below = subplots(fig, 2, 1, height_ratios=[1.5 + 0.4 * len(document["items"]), 1.3])
    _items(above, document)
    _time(below, document)
    return fig


def _items(ax: Any, document: Any) -> None:
    rows, money = document["items"], document["currency"] or "money of the prices"
    names = [row["item"] for row in rows]
    costs = [row["cost"] or 0.0 for row in rows]
    bars = ax.barh(names, costs, color=BLUE)
    ax.bar_label(bars, [_told(row) for row in rows], padding=4)
    ax.invert_yaxis()
    ax.set_xlim(0, 1.5 * max(costs) or 1.0)
    ax.set_xlabel(f"for a wafer of product [{money}]")
    total = document["wafer_cost"]
    ax.set_title(
        "No price is given" if total is None else f"A wafer costs {total:.4g} {document['currency']}".strip()
    )
    ax.grid(axis="y", visible=False)


def _told(row: Any) -> str:
    life = f", {row['life_wafers']} wafers" if row["life_wafers"] else ""
    if row["cost"] is None:
        return f"left out: no {'price' if row['price'] is None else 'life'}{life}"
    share = "" if row["share_percent"] is None else f" ({row['share_percent']:.3g} %)"
    return f"{row['cost']:.3g}{share}{life}"


def _time(ax: Any, document: Any) -> None:
    left = 0.0
    for name, color in PARTS:
        time = document[f"{name}_time_s"]
        ax.barh([0], [time], left=left, color=color, label=f"{WORDS.get(name, name)} {time:.3g} s")
        left += time
    ax.set_yticks([])
    ax.set_xlim(0, left)
    ax.set_xlabel("time of the machine for a wafer of product [s]")
    ax.set_title(f"{document['throughput_per_h']:.3g} wafers an hour", color=FAINT)
    ax.grid(axis="y", visible=False)
    ax.legend(loc="upper center", bbox_to_anchor=(0.5, -0.55), ncols=4)
