"""The figures of a designed experiment: where its runs lie, and the surface through their results.

Each is drawn from what its answer tells (its ``document``), so a saved one looks the same.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planish.explain.figures.style import (
    BLUE,
    FAINT,
    INK,
    MAP,
    ORANGE,
    axes,
    figure,
    line_look,
    styled,
    subplots,
)
from planish.explain.words import label
from planish.tuning.design.terms import Term, model_matrix, read_terms

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.results.result import Result

Array = NDArray[np.float64]
MOST_DRAWN = 5  # factors whose pairs are drawn
FINE = 61  # of a side of the map
REACH = 1.1  # coded: how far beyond the outermost run is drawn
SHORT = 22  # letters of a path that an axis has room for; of a longer one the end


@styled
def sheet_figure(sheet: Result) -> Figure:
    """Draw where the runs of an experiment lie, two factors at a time; a larger mark stands for more runs.

    Parameters
    ----------
    sheet
        Of runs.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = sheet.document()
    factors = document["factors"][:MOST_DRAWN]
    pairs = list(combinations(factors, 2))
    columns = min(len(pairs), 3)
    rows = -(-len(pairs) // columns)
    fig = figure(4.2 * columns, 3.7 * rows)
    grid = subplots(fig, rows, columns, squeeze=False).ravel()
    for ax, (one, other) in zip(grid, pairs, strict=False):
        _pair(ax, document["sheet"], one, other)
    for ax in grid[len(pairs) :]:
        ax.set_visible(False)
    more = len(document["factors"]) - len(factors)
    beside = f", the first {MOST_DRAWN} of {len(document['factors'])} keys" if more else ""
    fig.suptitle(f"{document['runs']} runs, {document['plan']}{beside}", fontweight="bold", x=0.02, ha="left")
    return fig


def _pair(ax: Any, rows: Any, one: Any, other: Any) -> None:
    counts: dict[tuple[Any, Any], int] = {}
    for row in rows:
        place = (row[_heading(one)], row[_heading(other)])
        counts[place] = counts.get(place, 0) + 1
    x, y = zip(*counts, strict=True)
    ax.scatter(x, y, s=[40.0 * many for many in counts.values()], color=BLUE, alpha=0.7, linewidth=0)
    ax.set_xlabel(_axis(one))
    ax.set_ylabel(_axis(other))
    ax.margins(0.18)


@styled
def surface_figure(surface: Result) -> Figure:
    """Draw the coefficients of a surface with their errors, and the surface over the two keys that move it most.

    Parameters
    ----------
    surface
        Through the results of an experiment.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = surface.document()
    factors, terms = document["factors"], [row["term"] for row in document["terms"]]
    fig = figure(12.0, max(5.0, 2.0 + 0.3 * len(terms)))
    bars, map_ = axes(fig, 1, 2, 1), axes(fig, 1, 2, 2)
    _coefficients(bars, document)
    polynomial = _Polynomial(document)
    numeric = [at for at, factor in enumerate(factors) if " | " not in factor["range"]]
    numeric.sort(key=lambda at: -polynomial.weight(at))
    if len(numeric) >= 2:
        _map(fig, map_, document, polynomial, (numeric[0], numeric[1]))
    else:
        _lines(map_, document, polynomial, numeric)
    return fig


class _Polynomial:
    """The surface as a saved answer tells it."""

    def __init__(self, document: Any) -> None:
        count = len(document["factors"])
        names = [row["term"] for row in document["terms"]]
        self.terms: tuple[Term, ...] = (
            read_terms(" ".join(names[1:]), count) if len(names) > 1 else ((0,) * count,)
        )
        self.values = np.array([row["coefficient"] for row in document["terms"]])

    def at(self, points: Array) -> Array:
        """Return it at coded points (n, k)."""
        values: Array = model_matrix(points, self.terms) @ self.values
        return values

    def weight(self, factor: int) -> float:
        """Return how much a factor moves it: the sum of what its terms are."""
        parts = [abs(value) for term, value in zip(self.terms, self.values, strict=True) if term[factor]]
        return float(sum(parts))


def _coefficients(ax: Any, document: Any) -> None:
    rows = document["terms"][1:]
    colors = [BLUE if row["p"] is not None and row["p"] < 0.05 else FAINT for row in rows]
    values = [row["coefficient"] for row in rows]
    errors = [row["error"] or 0.0 for row in rows]
    ax.barh([row["term"] for row in rows], values, xerr=errors, color=colors, ecolor=INK, capsize=3)
    ax.axvline(0.0, color=INK, linewidth=1)
    ax.invert_yaxis()
    ax.grid(axis="y", visible=False)
    told = document["r_squared"]
    share = "" if told is None else f", R² {told:.3f}"
    ax.set_title(f"Coefficients{share}")
    key = "\n".join(f"{factor['letter']}: {_axis(factor)}" for factor in document["factors"])
    ax.set_xlabel(
        f"{label(document['result'])} for half a range\n(bars: one standard error; grey: p above 0.05)\n{key}"
    )


def _map(fig: Any, ax: Any, document: Any, polynomial: _Polynomial, pair: tuple[int, int]) -> None:
    factors = document["factors"]
    measured = np.array([[row[f"coded_{f['letter']}"] for f in factors] for row in document["measured"]])
    reach = REACH * max(1.0, float(np.abs(measured[:, pair]).max()))
    side = np.linspace(-reach, reach, FINE)
    middle = _beside(document)
    points = np.tile(middle, (FINE * FINE, 1))
    across, up = np.meshgrid(side, side)
    points[:, pair[0]], points[:, pair[1]] = across.ravel(), up.ravel()
    values = polynomial.at(points).reshape(FINE, FINE)
    scales = [_in_unit(factors[at]) for at in pair]
    x, y = (middle_ + half * side for middle_, half in scales)
    filled = ax.contourf(x, y, values, levels=14, cmap=MAP)
    ax.contour(x, y, values, levels=14, colors="white", linewidths=0.5)
    fig.colorbar(filled, ax=ax, label=label(document["result"]))
    runs = [middle_ + half * measured[:, at] for at, (middle_, half) in zip(pair, scales, strict=True)]
    ax.plot(*runs, "o", color="white", markeredgecolor=INK, markersize=6, label="runs")
    flat = [document["settings"][at]["flat_coded"] for at in pair]
    if document["flat_point"] != "none" and np.all(np.abs(flat) < reach):
        spot = [middle_ + half * at for at, (middle_, half) in zip(flat, scales, strict=True)]
        ax.plot(
            *[[each] for each in spot],
            "*",
            color=ORANGE,
            markeredgecolor="white",
            markersize=18,
            label=document["flat_point"],
        )
    others = [factor for at, factor in enumerate(factors) if at not in pair]
    where = f", {' and '.join(f['letter'] for f in others)} {_where(document)}" if others else ""
    ax.set_title(f"The surface{where}")
    ax.set_xlabel(_axis(factors[pair[0]]))
    ax.set_ylabel(_axis(factors[pair[1]]))
    ax.legend(loc="upper right")


def _lines(ax: Any, document: Any, polynomial: _Polynomial, numeric: list[int]) -> None:
    """Draw the surface over the one factor with numbers, or over the first pair of texts; a line a text of another."""
    factors = document["factors"]
    along = numeric[0] if numeric else 0
    text = next((at for at, factor in enumerate(factors) if at != along and " | " in factor["range"]), None)
    side = np.linspace(-1.0, 1.0, FINE) if numeric else np.array([-1.0, 1.0])
    for index, level in enumerate((-1.0, 1.0) if text is not None else (0.0,)):
        points = np.zeros((side.size, len(factors)))
        points[:, along] = side
        name = ""
        if text is not None:
            points[:, text] = level
            name = factors[text]["range"].split(" | ")[index]
        middle, half = _in_unit(factors[along]) if numeric else (0.0, 1.0)
        ax.plot(middle + half * side, polynomial.at(points), label=name, **line_look(index))
    if not numeric:
        ax.set_xticks([-1.0, 1.0], factors[along]["range"].split(" | "))
    ax.set_xlabel(_axis(factors[along]))
    ax.set_ylabel(label(document["result"]))
    ax.set_title("The surface")
    if text is not None:
        ax.legend()


def _beside(document: Any) -> Array:
    """Return the coded settings at which factors stand that no axis has: where the surface is flat, else the middle."""
    flat = [row["flat_coded"] for row in document["settings"]]
    return np.array(flat) if _at_flat(document) else np.zeros(len(flat))


def _at_flat(document: Any) -> bool:
    return document["flat_point"] != "none" and bool(document["flat_point_inside"])


def _where(document: Any) -> str:
    return "where it is flat" if _at_flat(document) else "halfway"


def _in_unit(factor: Any) -> tuple[float, float]:
    """Return the middle of a factor's range and half of its width, in its unit."""
    low, high = (float(end.split(" ")[0]) for end in factor["range"].split(".."))
    return 0.5 * (low + high), 0.5 * (high - low)


def _heading(factor: Any) -> str:
    return f"{factor['path']} [{factor['unit']}]" if factor["unit"] else str(factor["path"])


def _axis(factor: Any) -> str:
    path = str(factor["path"])
    short = path if len(path) <= SHORT else ".".join(path.split(".")[-2:])
    return f"{short} [{factor['unit']}]" if factor["unit"] else short
