"""A control chart, a run length, a capability, a gauge study or ranked causes as one page: picture, figures, alarms, what was assumed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from planish.explain.page import Part, render
from planish.explain.words import label

if TYPE_CHECKING:
    from planish.results.result import Result

MOST_ROWS = 500
CAPTIONS = {
    "control chart": "Points with their centre (line) and limits (dashed); dotted lines part phases; marks: alarms by what "
    "changed.",
    "run length": "Samples on average before an alarm, or the share of charts still silent.",
    "capability": "The rows between their specification limits, with the normal curves of both spreads.",
    "gauge study": "Standard deviation of each source of the spread.",
    "control trial": "What each wafer of the first course lost, under each control; grey: twice the least spread about what was wanted.",
    "qualification": "Each check between its limits.",
    "equivalence": "The rows of both parts; the difference of their means between the margins.",
    "equivalence size": "Chance of showing equivalence, by the rows of a sample.",
    "ranked causes": "Share of each cause; how the rings and the figures that moved most changed, measured and by the likeliest cause.",
}
NAMED_BY = ("value", "chart", "likeliest", "title", "step")
TABLES = (
    "causes",
    "moved",
    "alarms",
    "phases",
    "components",
    "anova",
    "run_lengths",
    "controls",
    "spreads",
    "checks",
    "parts",
    "curve",
)


def held_page(answer: Result) -> str:
    """Return an answer of the verb that holds a step as a complete page.

    Parameters
    ----------
    answer
        One of those kinds.

    Returns
    -------
    str
        HTML; nothing in it is fetched from anywhere.
    """
    document: Any = answer.document()
    picture = Part("Picture").figure(answer.plot(), CAPTIONS.get(answer.kind, answer.kind))
    numbers = Part("Figures").table(
        ["figure", "value"], [[label(key), value] for key, value in answer.summary().items()]
    )
    for name in TABLES:
        rows = document.get(name)
        if rows:
            shown = rows[:MOST_ROWS]
            more = f", the first {MOST_ROWS} of {len(rows)}" if len(rows) > MOST_ROWS else ""
            head = list(shown[0])
            numbers.table(
                [label(key) for key in head], [[row.get(key) for key in head] for row in shown], name + more
            )
    notes = Part("Assumed").listing(list(answer.notes))
    of = next((document[key] for key in NAMED_BY if document.get(key)), "")
    title = f"{answer.kind} of {of}" if of else answer.kind
    said = [Part("What the data say").listing(document["said"])] if document.get("said") else []
    return render(title, [picture, *said, numbers, notes], answer.sources())
