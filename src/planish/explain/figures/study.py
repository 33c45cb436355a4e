"""Figures of a study: a curve for one key, a map for two, bars for which key matters how much, a spread for draws.

They are drawn from what the answer tells (its dataset and its document), fresh or saved alike.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from planish.errors import DataError, refuse
from planish.explain.figures.style import (
    BLUE,
    FAINT,
    MAP,
    ORANGE,
    axes,
    figure,
    line_look,
    styled,
    subplots,
)
from planish.explain.words import label
from planish.results.units import stem, unit_of
from planish.tuning.study.result import labelled_as

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.results.result import Result

#: Figures that are drawn unless others are asked for: the first of these that the answer has.
HEADLINES = (
    "mean_removal_rate_nm_per_min",
    "wiwnu_sigma_percent",
    "wafer_to_wafer_percent",
    "edge_rate_percent",
    "peak_temperature_C",
)
BINS = 30
MOST_NAMES = 12  # keys in bars, and figures in a matrix


@styled
def study_figure(study: Result, figures: str | tuple[str, ...] | list[str] | None = None) -> Figure:
    """Draw a study.

    Parameters
    ----------
    study
        Its answer, fresh or saved.
    figures
        Keys of the summary; one or two headlines unless given.

    Returns
    -------
    Figure
        In the house style.

    Raises
    ------
    DataError
        For a figure that it has not.
    """
    document: Any = study.document()
    known = [row["figure"] for row in document["figures"]]
    if not known:
        raise DataError("study: no run has an answer: must be one at least to be drawn (see notes)")
    asked = [figures] if isinstance(figures, str) else list(figures or ())
    for name in asked:
        if name not in known:
            raise DataError(refuse("figures", name, f"one of {', '.join(known)}"))
    if document["method"] in ("sobol", "morris"):
        return _sensitivity(document, (asked or _headlines(known))[0])
    chosen = asked or _headlines(known)
    data = study.data
    if document["method"] != "grid":
        return _histograms(data, chosen)
    keys = [labelled_as(row["key"]) for row in document["varied"]]
    if len(keys) == 2 and all(data[key].dtype.kind == "f" for key in keys):
        return _maps(data, keys, chosen)
    return _curves(data, keys, chosen)


def _headlines(known: list[str]) -> list[str]:
    return [name for name in HEADLINES if name in known][:2] or known[:1]


def _told(data: Any, name: str) -> Any:
    """Return a figure in its trade unit."""
    unit, values = unit_of(name), data[stem(name)]
    return values if unit is None else (values - unit.offset) / unit.factor


def _axis(data: Any, key: str) -> str:
    attrs = data[key].attrs
    unit = attrs.get("written_in") or attrs.get("units", "1")
    return f"{key} [{unit}]" if unit not in ("1", "") else key


def _where(data: Any, key: str) -> Any:
    """Return the values of a key in the unit that they were asked for in."""
    attrs = data[key].attrs
    return (data[key].values - attrs.get("offset", 0.0)) / attrs.get("factor", 1.0)


def _curves(data: Any, keys: list[str], chosen: list[str]) -> Figure:
    """Draw each figure over each key: of several keys the mean over the others, and how far those move it."""
    fig = figure(4.6 * max(len(keys), 1.6), 3.6 * len(chosen) + 0.4)
    grid = subplots(fig, len(chosen), len(keys), squeeze=False, sharey="row")
    for row, name in zip(grid, chosen, strict=True):
        values = _told(data, name)
        for index, (ax, key) in enumerate(zip(row, keys, strict=True)):
            others = [dim for dim in values.dims if dim != key]
            mean = values.mean(others, skipna=True).values
            texts = data[key].dtype.kind not in "fi"
            where = np.arange(mean.size) if texts else _where(data, key)
            look = {"marker": "o", "markersize": 4, **line_look(index)}
            if texts:
                look["linestyle"] = "none"
                ax.set_xticks(where, [str(item) for item in data[key].values], rotation=20, ha="right")
            ax.plot(where, mean, **look)
            if others:
                low, high = values.min(others).values, values.max(others).values
                ax.vlines(where, low, high, color=FAINT, linewidth=1)
            ax.set_xlabel(_axis(data, key))
        row[0].set_ylabel(label(name))
    if len(keys) > 1:
        fig.suptitle("Mean over the other keys; thin lines: as far as those move it")
    return fig


def _maps(data: Any, keys: list[str], chosen: list[str]) -> Figure:
    fig = figure(5.4 * len(chosen) + 0.6, 4.6)
    grid = subplots(fig, 1, len(chosen), squeeze=False)[0]
    for ax, name in zip(grid, chosen, strict=True):
        values = _told(data, name).transpose(keys[1], keys[0])
        x, y = _where(data, keys[0]), _where(data, keys[1])
        across, up = np.argsort(x), np.argsort(y)
        shown = ax.pcolormesh(
            x[across], y[up], values.values[np.ix_(up, across)], cmap=MAP, shading="nearest"
        )
        ax.set_xlabel(_axis(data, keys[0]))
        ax.set_ylabel(_axis(data, keys[1]))
        ax.set_title(label(name))
        ax.grid(visible=False)
        fig.colorbar(shown, ax=ax)
    return fig


def _histograms(data: Any, chosen: list[str]) -> Figure:
    fig = figure(5.2 * len(chosen) + 0.4, 4.2)
    grid = subplots(fig, 1, len(chosen), squeeze=False)[0]
    for ax, name in zip(grid, chosen, strict=True):
        values = np.asarray(_told(data, name).values)
        values = values[np.isfinite(values)]
        ax.hist(values, bins=min(BINS, max(5, int(np.sqrt(values.size)))), color=BLUE)
        low, middle, high = np.quantile(values, (0.05, 0.5, 0.95))
        for place in (low, middle, high):
            ax.axvline(place, color=ORANGE, linewidth=1.5, linestyle="-" if place == middle else "--")
        ax.set_xlabel(label(name))
        ax.set_title(f"{middle:.4g}, nine of ten from {low:.4g} to {high:.4g}")
    grid[0].set_ylabel("runs")
    return fig


def _sensitivity(document: Any, chosen: str) -> Figure:
    """Draw the indices of one figure as bars, and those of all figures as a matrix."""
    sobol = document["method"] == "sobol"
    rows = document["indices"]
    main, doubt = ("total", "total_doubt") if sobol else ("effect", "effect_doubt")
    if not rows:
        raise DataError("study: no indices: must have two whole base samples or trajectories (see notes)")
    own = sorted((row for row in rows if row["figure"] == chosen), key=lambda row: -row[main])[:MOST_NAMES]
    if not own:
        chosen = rows[0]["figure"]
        own = sorted((row for row in rows if row["figure"] == chosen), key=lambda row: -row[main])[
            :MOST_NAMES
        ]
    names = [row["key"] for row in own]
    fig = figure(12.0, 2.4 + 0.55 * max(len(names), 5))
    left, right = axes(fig, 1, 2, 1), axes(fig, 1, 2, 2)
    place = np.arange(len(names))
    second = "first" if sobol else "sigma"
    values = {
        "total" if sobol else "mean size of the effect": main,
        "first order" if sobol else "its spread": second,
    }
    for shift, (words, index), color in zip((-0.2, 0.2), values.items(), (BLUE, ORANGE), strict=True):
        error = [
            row[doubt if index == main else f"{index}_doubt"] if sobol or index == main else 0.0
            for row in own
        ]
        left.barh(place + shift, [row[index] for row in own], 0.38, xerr=error, color=color, label=words)
    left.set_yticks(place, names)
    left.invert_yaxis()
    left.set_xlabel("share of the variance" if sobol else "change over the range of the key")
    left.set_title(label(chosen))
    left.legend()
    _matrix(fig, right, rows, names, main)
    return fig


def _matrix(fig: Figure, ax: Any, rows: Any, names: list[str], main: str) -> None:
    figures = list(dict.fromkeys(row["figure"] for row in rows if row[main] > 0))
    ordered = [name for name in HEADLINES if name in figures]
    figures = (ordered + [name for name in figures if name not in ordered])[:MOST_NAMES]
    held = {(row["figure"], row["key"]): row[main] for row in rows}
    table = np.array([[held[name, key] for key in names] for name in figures])
    table = table.reshape(len(figures), len(names))
    most = table.max(axis=1, keepdims=True) if table.size else table
    shown = ax.imshow(table / np.where(most > 0, most, 1.0), cmap=MAP, vmin=0, vmax=1, aspect="auto")
    ax.set_xticks(np.arange(len(names)), names, rotation=25, ha="right")
    ax.set_yticks(np.arange(len(figures)), [label(name) for name in figures])
    ax.grid(visible=False)
    ax.set_title("All figures, strongest key = 1")
    fig.colorbar(shown, ax=ax)
