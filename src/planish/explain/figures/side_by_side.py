"""The figure of setups side by side: what each gives, and which choices make it differ from the first."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.explain.figures.style import FAINT, INK, LINES, figure, styled, subplots
from planish.explain.words import label

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.results.result import Result

SMALL = 1e-3  # of the largest share: a group with less in every pair is left out


@styled
def side_by_side_figure(answer: Result) -> Figure:
    """Draw each outcome of all setups, and beside it the shares of the differences from the first.

    Drawn from what the answer tells (its ``document``), so a saved one looks the same.

    Parameters
    ----------
    answer
        Setups side by side.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = answer.document()
    letters = [one["letter"] for one in document["setups"]]
    told = {row["figure"]: row for row in document["figures"]}
    drawn = [
        key
        for key in ("cost_per_wafer", *document["outcomes"])
        if key in told and told[key][letters[0]] is not None
    ]
    drawn = drawn or list(document["outcomes"])
    fig = figure(12.0, 0.8 + 3.4 * len(drawn))
    grid = subplots(fig, len(drawn), 2, squeeze=False)
    for (left, right), key in zip(grid, drawn, strict=True):
        _values(left, letters, told[key])
        if key == "cost_per_wafer":
            _items(right, document, letters)
        else:
            _shares(right, document, key)
    names = [f"{one['letter']}: {textwrap.shorten(one['title'], 60)}" for one in document["setups"]]
    fig.suptitle("\n".join(names), x=0.02, ha="left", fontsize=11)
    return fig


def _values(ax: Any, letters: list[str], row: Any) -> None:
    values = [row[letter] for letter in letters]
    bars = ax.barh(letters, [value or 0.0 for value in values], color=_colors(len(letters)))
    ax.bar_label(bars, ["none" if value is None else f"{value:.4g}" for value in values], padding=4)
    ax.invert_yaxis()
    low, high = min(0.0, *(value or 0.0 for value in values)), max(0.0, *(value or 0.0 for value in values))
    ax.set_xlim(1.2 * low, 1.2 * high or 1.0)
    ax.set_xlabel(label(row["figure"]))
    ax.grid(axis="y", visible=False)


def _items(ax: Any, document: Any, letters: list[str]) -> None:
    """Draw what each item adds to the cost of a wafer, a bar a setup."""
    rows = [row for row in document["costs"] if any(row[letter] for letter in letters)]
    parts = {letter: [row[letter] or 0.0 for row in rows] for letter in letters}
    colors = _colors(len(letters))
    _grouped(ax, [row["item"] for row in rows], parts, dict(zip(letters, colors, strict=True)))
    ax.set_xlabel("what it costs a wafer, in the money of the prices")


def _grouped(ax: Any, names: list[str], parts: dict[str, list[float]], colors: dict[str, str]) -> None:
    """Draw bars side by side: a place a name, a colour a part."""
    height = 0.8 / max(len(parts), 1)
    places = np.arange(len(names))
    for at, (part, values) in enumerate(parts.items()):
        ax.barh(places + (at + 0.5) * height - 0.4, values, height, color=colors[part], label=part)
    ax.set_yticks(places, ["\n".join(textwrap.wrap(name, 24)) for name in names])
    ax.invert_yaxis()
    ax.axvline(0.0, color=INK, linewidth=1)
    ax.grid(axis="y", visible=False)
    ax.legend()


def _shares(ax: Any, document: Any, key: str) -> None:
    """Draw a bar a group and pair; say why where nothing can be shared out."""
    pairs = [pair for pair in document["pairs"] if key in pair["shares"]]
    largest = max((abs(v) for pair in pairs for v in pair["shares"][key].values()), default=0.0)
    groups = [
        group
        for group in dict.fromkeys(name for pair in pairs for name in pair["shares"][key])
        if any(abs(pair["shares"][key].get(group, 0.0)) > SMALL * largest for pair in pairs)
    ]
    if not groups:
        reasons = [pair["unshared"].get(key, "") for pair in document["pairs"]]
        words = next((reason for reason in reasons if reason), "not shared out among the choices")
        ax.text(
            0.5,
            0.5,
            "\n".join(textwrap.wrap(words, 50)),
            ha="center",
            va="center",
            color=FAINT,
            transform=ax.transAxes,
        )
        ax.set_xticks([])
        ax.set_yticks([])
        return
    letters = [one["letter"] for one in document["setups"]]
    colors = {f"{letter} less A": color for letter, color in zip(letters, _colors(len(letters)), strict=True)}
    parts = {
        f"{pair['letter']} less A": [pair["shares"][key].get(group, 0.0) for group in groups]
        for pair in pairs
    }
    _grouped(ax, groups, parts, colors)
    ax.set_xlabel(f"share of the difference: {label(key)}")


def _colors(count: int) -> list[str]:
    return [FAINT, *(LINES[at % len(LINES)] for at in range(count - 1))]
