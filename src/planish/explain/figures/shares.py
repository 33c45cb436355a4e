"""Figures of a whole and its parts: why two setups differ, where the spread of a measurement comes from.

Each is drawn from what its answer tells (:meth:`~planish.results.result.Result.document`), fresh or saved alike.
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

from planish.explain.figures.style import BLUE, FAINT, INK, ORANGE, axes, figure, styled, subplots
from planish.explain.words import label, text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.results.result import Result

SMALL = 1e-3  # of the largest share: smaller ones are left out, as in the sentence


@styled
def shares_figure(comparison: Result) -> Figure:
    """Draw what each group of choices adds to the difference of B from A; a row an outcome.

    Parameters
    ----------
    comparison
        Of two setups.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = comparison.document()
    outcomes = document["outcomes"]
    rows = {outcome: _told(document, outcome) for outcome in outcomes}
    heights = [1.3 + 0.45 * len(parts) for parts in rows.values()]
    fig = figure(10.0, sum(heights) + 0.4)
    grid = subplots(fig, len(outcomes), 1, squeeze=False, height_ratios=heights)[:, 0]
    for ax, (outcome, parts) in zip(grid, rows.items(), strict=True):
        ends = (text(document[side][outcome]) for side in ("a", "b"))
        ax.set_title("{}: {} in A, {} in B".format(_sentence(label(outcome)), *ends))
        ax.grid(axis="y", visible=False)
        if not parts:
            reason = document["unshared"].get(outcome, "no difference between A and B")
            words = "\n".join(textwrap.wrap(reason, 80))
            ax.text(0.5, 0.5, words, ha="center", va="center", color=FAINT, transform=ax.transAxes)
            ax.set_xticks([])
            ax.set_yticks([])
            continue
        _bars(ax, parts, document["told_in"][outcome])
    return fig


def _told(document: Any, outcome: str) -> dict[str, float]:
    """Return the shares in the unit in which they are told, largest first, and what they add up to."""
    shares = document["shares"].get(outcome, {})
    largest = max(map(abs, shares.values()), default=0.0)
    if largest == 0.0:
        return {}
    scale = 100 / document["a"][outcome] if document["told_in"][outcome] == "%" else 1.0
    kept = {name: scale * share for name, share in shares.items() if abs(share) > SMALL * largest}
    ordered = dict(sorted(kept.items(), key=lambda item: -abs(item[1])))
    return {**ordered, "B less A": scale * document["difference"][outcome]}


def _bars(ax: Any, parts: dict[str, float], unit: str) -> None:
    names = ["\n".join(textwrap.wrap(name, 28)) for name in parts]
    colors = [BLUE if value > 0 else ORANGE for value in parts.values()]
    colors[-1] = INK
    shown = f" {unit}" if unit else ""
    bars = ax.barh(names, list(parts.values()), color=colors)
    ax.bar_label(bars, [f"{value:+.3g}{shown}".replace("-", "−") for value in parts.values()], padding=4)
    ax.invert_yaxis()
    ax.axvline(0, color=INK, linewidth=1)
    low, high = min(0.0, *parts.values()), max(0.0, *parts.values())
    room = 0.25 * (high - low)
    ax.set_xlim(low - (room if low < 0 else 0.02 * high), high + (room if high > 0 else -0.02 * low))
    ax.set_xlabel(
        "share of the difference [% of A]" if unit == "%" else f"share of the difference [{unit or '1'}]"
    )


@styled
def spread_figure(nested: Result) -> Figure:
    """Draw how much of the spread each level of a nested study brings.

    Parameters
    ----------
    nested
        Variance components.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = nested.document()
    percent, sd, raw = document["percent"], document["sd"], document["variance_components"]
    fig = figure(9.5, 1.8 + 0.6 * len(percent))
    ax = axes(fig, 1, 1, 1)
    bars = ax.barh([name.replace("_", " ") for name in percent], list(percent.values()), color=BLUE)
    words = [
        f"{share:.3g} %, sd {sd[name]:.3g}" if raw[name] >= 0 else "none seen (its estimate is below 0)"
        for name, share in percent.items()
    ]
    ax.bar_label(bars, words, padding=4)
    ax.invert_yaxis()
    ax.set_xlim(0, 1.45 * max(percent.values(), default=1.0) or 1.0)
    ax.set_xlabel("share of the variance [%]")
    named = f"{document['value'].replace('_', ' ')}: mean {document['mean']:.5g}"
    ax.set_title(f"Where the spread comes from ({named}, {document['observations']} values)")
    ax.grid(axis="y", visible=False)
    return fig


def _sentence(words: str) -> str:
    return words if words[:4].isupper() else words[:1].upper() + words[1:]
