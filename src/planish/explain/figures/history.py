"""Figure of a history: one figure of its wafers over time, and what happened meanwhile.

Drawn from what the answer tells, fresh or saved alike.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from planish.explain.figures.style import BLUE, GREEN, INK, ORANGE, PINK, axes, figure, styled
from planish.explain.words import label

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.results.result import Result

DOTS = ((BLUE, "o"), (GREEN, "s"), (ORANGE, "^"), (PINK, "D"))
NAMED_EVENTS = 12  # events up to which each has its words
OTHERS = "other"


@styled
def history_figure(shown: Result) -> Figure:
    """Draw one figure of wafers over time, a mark a tool, with what happened meanwhile.

    Parameters
    ----------
    shown
        Wafers of a history.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = shown.document()
    value = document["value"]
    rows = [row for row in document["rows"] if row.get(value) is not None]
    fig = figure(11.0, 4.6)
    ax = axes(fig)
    tools = list(dict.fromkeys(row["tool"] for row in rows))
    named = tools if len(tools) <= len(DOTS) else [*tools[: len(DOTS) - 1], OTHERS]
    for (color, mark), tool in zip(DOTS, named, strict=False):
        own = [row for row in rows if row["tool"] == tool or (tool == OTHERS and row["tool"] not in named)]
        ax.plot(
            [_day(row["polished"]) for row in own],
            [row[value] for row in own],
            linestyle="none",
            marker=mark,
            markersize=4 if len(rows) < 500 else 2,
            color=color,
            label=f"tool {tool}" if tool and tool != OTHERS else tool or "wafers",
        )
    events = document["events"]
    for event in events:
        ax.axvline(_day(event["at"]), color=INK, linewidth=1, linestyle=(0, (1, 2)))
    ax.margins(x=0.02, y=0.12)
    if 0 < len(events) <= NAMED_EVENTS:
        low, high = ax.get_ylim()
        ax.set_ylim(low, high + 0.45 * (high - low))  # room for the words
        top = ax.get_xaxis_transform()
        for event in events:
            words = " ".join(part for part in (event["kind"], event["part"]) if part)
            ax.text(
                _day(event["at"]), 0.98, words, transform=top, rotation=90, va="top", ha="right", fontsize=8
            )
    ax.set_ylabel(label(value))
    ax.set_xlabel("polished (UTC)")
    fig.autofmt_xdate(rotation=20)
    count = f"{document['wafers']} {'wafer' if document['wafers'] == 1 else 'wafers'}"
    fig.suptitle(f"{count}: {document['chosen']}", fontweight="bold", x=0.02, ha="left")
    if len(named) > 1:
        fig.legend(loc="outside lower left", ncols=len(named))
    return fig


def _day(text: str) -> Any:
    return datetime.fromisoformat(text)
