"""The figures of a cost: what each thing adds to a wafer, and what its time goes into."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

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

PARTS = (
    ("polish", BLUE),
    ("between", SKY),
    ("waiting", GRID),
    ("monitors", GREEN),
    ("changes", ORANGE),
    ("failures", PINK),
)
WORDS = {
    "between": "between wafers",
    "waiting": "platens wait",
    "changes": "changes, breaking in",
    "failures": "unscheduled stops",
}


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
    total = document["cost_per_wafer"]
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
        time = document.get(f"{name}_time_s") or 0.0  # files of before know fewer parts
        if not time and name in ("waiting", "failures"):
            continue
        ax.barh([0], [time], left=left, color=color, label=f"{WORDS.get(name, name)} {time:.3g} s")
        left += time
    ax.set_yticks([])
    ax.set_xlim(0, left)
    ax.set_xlabel("time of the machine for a wafer of product [s]")
    ax.set_title(f"{document['wafers_per_hour']:.3g} wafers an hour", color=FAINT)
    ax.grid(axis="y", visible=False)
    ax.legend(loc="upper center", bbox_to_anchor=(0.5, -0.55), ncols=3)


@styled
def saving_figure(saving: Result) -> Figure:
    """Draw what two setups cost, item by item, and what the first saves.

    Parameters
    ----------
    saving
        A cost against another one.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = saving.document()
    rows = [row for row in document["items"] if row["cost"] is not None or row["against_cost"] is not None]
    fig = figure(10.0, 2.6 + 0.75 * max(len(rows), 1))
    ax = subplots(fig, 1, 1)
    money = document["currency"] or "money of the prices"
    for offset, key, color, name in ((-0.2, "against_cost", SKY, "the other"), (0.2, "cost", BLUE, "here")):
        places = [at + offset for at in range(len(rows))]
        ax.barh(places, [row[key] or 0.0 for row in rows], 0.38, color=color, label=name)
    most = max([max(row["cost"] or 0.0, row["against_cost"] or 0.0) for row in rows], default=0.0) or 1.0
    for at, row in enumerate(rows):
        end = max(row["cost"] or 0.0, row["against_cost"] or 0.0)
        word = "saved" if row["saved_cost"] >= 0 else "more"
        ax.text(end + 0.015 * most, at, f"{abs(row['saved_cost']):.3g} {word}", va="center", color=INK)
    ax.set_yticks(range(len(rows)), [row["item"] for row in rows])
    ax.invert_yaxis()
    ax.set_xlim(0, 1.25 * most)
    ax.set_xlabel(f"for a wafer of product [{money}]")
    saved = document["saved_cost"]
    told = (
        "No price is given"
        if saved is None
        else f"{abs(saved):.4g} {document['currency']}".strip()
        + (" saved a wafer" if saved >= 0 else " more a wafer")
    )
    ax.set_title(
        f"{told}; {document['wafers_per_hour']:.3g} wafers an hour, {document['against_wafers_per_hour']:.3g} there"
    )
    ax.grid(axis="y", visible=False)
    ax.legend(loc="lower right")
    return fig


@styled
def tornado_figure(found: Result, most: int = 15) -> Figure:
    """Draw what the cost of a wafer hangs on, the widest bar on top.

    Parameters
    ----------
    found
        Sensitivities of a cost.
    most
        Bars that are drawn.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = found.document()
    total, rows = document["cost_per_wafer"], document["swings"][:most]
    fig = figure(10.0, 2.4 + 0.45 * max(len(rows), 1))
    ax = subplots(fig, 1, 1)
    share = document["moved_percent"]
    for key, color, name in (
        ("low_cost", SKY, f"{share:.3g} % less"),
        ("high_cost", ORANGE, f"{share:.3g} % more"),
    ):
        costs = [total if row[key] is None else row[key] for row in rows]
        ax.barh(range(len(rows)), [cost - total for cost in costs], left=total, color=color, label=name)
    for at, row in enumerate(rows):
        ends = [total if row[key] is None else row[key] for key in ("low_cost", "high_cost")]
        ax.annotate(
            f"{row['width_percent']:.2g} %",
            (max(total, *ends), at),
            xytext=(5, 0),
            textcoords="offset points",
            va="center",
            color=INK,
        )
    ax.axvline(total, color=INK, linewidth=1.2)
    ax.set_yticks(range(len(rows)), [row["quantity"].removeprefix("cost.").replace("_", " ") for row in rows])
    ax.invert_yaxis()
    ax.margins(x=0.12)
    ax.set_xlabel(f"cost of a wafer [{document['currency'] or 'money of the prices'}]")
    ax.set_title(f"What {total:.4g} {document['currency']} a wafer hangs on".replace("  ", " "))
    ax.grid(axis="y", visible=False)
    ax.legend(loc="lower right")
    return fig
