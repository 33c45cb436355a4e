"""Figures of what is learned from traces: guessed rates, how well guesses do, what the age of parts explains.

Each is drawn from what its answer tells (:meth:`~planish.results.result.Result.document`), fresh or saved alike.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.explain.figures.style import BLUE, FAINT, INK, ORANGE, SKY, figure, styled, subplots

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.results.result import Result

MODEL_WORDS = {
    "guess": "guess",
    "plain_trees": "plain trees",
    "last_three": "last three wafers",
    "forest": "forest",
    "forest_and_drift": "forest and followed drift",
}
MODEL_COLORS = {"guess": BLUE, "forest_and_drift": BLUE, "forest": ORANGE}
LEAST_SKILL = -1.0  # below it a counter only misleads: how much more so is no figure's business


@styled
def guessed_figure(guessed: Result) -> Figure:
    """Draw the guessed rates, polish after polish, with their band; a row a regime.

    Parameters
    ----------
    guessed
        Rates of wafers whose traces alone are known.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = guessed.document()
    regimes = list(dict.fromkeys(row["regime"] for row in document["wafers"]))
    fig = figure(11.0, 1.0 + 3.4 * len(regimes))
    grid = subplots(fig, len(regimes), 1, squeeze=False)[:, 0]
    for ax, regime in zip(grid, regimes, strict=True):
        rows = [row for row in document["wafers"] if row["regime"] == regime]
        low, rate, high = (np.array([row[key] for row in rows], float) for key in ("low", "rate", "high"))
        number = np.arange(1, len(rows) + 1)
        ax.errorbar(
            number, rate, [rate - low, high - rate], fmt="none", ecolor=SKY, elinewidth=2, label="band"
        )
        ax.plot(number, rate, "o", color=BLUE, markersize=4.5, label="guessed rate")
        ax.set_title(_sentence(f"{regime}: {len(rows)} polishes"))
        ax.set_ylabel("removal rate\n[unit of the file]")
        ax.set_xlim(0, len(rows) + 1)
    grid[0].legend(loc="best", ncols=2)
    grid[-1].set_xlabel("polishes in order of start")
    fig.suptitle(_sentence(document["mode"]), x=0.01, ha="left", fontsize=12, color=INK)
    return fig


@styled
def check_figure(check: Result) -> Figure:
    """Draw the error of the guesses beside that of simpler rules, regime by regime, on wafers left out.

    Parameters
    ----------
    check
        Of guesses.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = check.document()
    panels = {**document["rmse_by_regime"], "all regimes": document["rmse"]}
    fig = figure(11.0, 1.0 + 1.9 * len(panels))
    grid = subplots(fig, len(panels), 1, squeeze=False, sharex=True)[:, 0]
    for ax, (name, errors) in zip(grid, panels.items(), strict=True):
        _errors(ax, errors)
        ax.set_title(_sentence(name))
    _one_scale(grid, panels.values())
    grid[-1].set_xlabel("RMSE on wafers left out [unit of the rates]")
    held = f"the band held {document['band_coverage_percent']:.0f} % of {document['wafers_judged']} wafers"
    words = f"{_sentence(document['mode'].partition(':')[0])}: {held}"
    fig.suptitle(words, x=0.01, ha="left", fontsize=12, color=INK)
    return fig


@styled
def checks_figure(checks: Result) -> Figure:
    """Draw the errors on wafers left out in three ways: by time, in between, and guessed ahead.

    Parameters
    ----------
    checks
        Of a rates fit.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = checks.document()
    panels = {
        "Later wafers, learned from the earlier ones": document["by_time"]["rmse_by_regime"]["all"],
        "Wafers in between, rates before and after known": document["interspersed"]["rmse"],
        "Wafers ahead, only rates before known": document["ahead"]["rmse"],
    }
    fig = figure(11.0, 6.8)
    grid = subplots(fig, 3, 1, sharex=True, height_ratios=[2, 3, 3])
    for ax, (name, errors) in zip(grid, panels.items(), strict=True):
        _errors(ax, errors)
        ax.set_title(name)
    _one_scale(grid, panels.values())
    grid[-1].set_xlabel("RMSE on wafers left out [unit of the rates]")
    return fig


@styled
def learned_figure(learned: Result) -> Figure:
    """Draw the forest's error on later wafers, regime by regime, and which features it leaned on.

    Parameters
    ----------
    learned
        From the earlier wafers.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = learned.document()
    errors, importance = document["rmse_by_regime"], document["importance"]
    fig = figure(12.0, 5.6)
    grid = subplots(fig, 1, 2)
    places = np.arange(len(errors), dtype=float)
    for shift, model in ((-0.2, "forest"), (0.2, "forest_and_drift")):
        values = [row[model] for row in errors.values()]
        bars = grid[0].barh(
            places + shift, values, height=0.38, color=MODEL_COLORS[model], label=MODEL_WORDS[model]
        )
        grid[0].bar_label(bars, fmt="%.3g", padding=3)
    grid[0].set_yticks(places, [_wrapped(name) for name in errors])
    grid[0].invert_yaxis()
    grid[0].set_xlim(0, 1.2 * max(max(row.values()) for row in errors.values()))
    grid[0].set_xlabel("RMSE on later wafers [unit of the rates]")
    grid[0].set_title(f"Error on {document['wafers_judged']} later wafers")
    grid[0].legend(loc="upper center", bbox_to_anchor=(0.5, -0.14), ncols=2)
    bars = grid[1].barh(
        [name.replace("_", " ") for name in importance], [100 * v for v in importance.values()], color=FAINT
    )
    grid[1].bar_label(bars, fmt="%.0f %%", padding=3)
    grid[1].invert_yaxis()
    grid[1].set_xlim(0, 120 * max(importance.values()))
    grid[1].set_xlabel("share of what the forest leaned on [%]")
    grid[1].set_title("What mattered (a hint, no proof)")
    for ax in grid:
        ax.grid(axis="y", visible=False)
    return fig


@styled
def age_figure(consumables: Result) -> Figure:
    """Draw what each usage counter explains of the rate; a row a regime.

    Parameters
    ----------
    consumables
        By regime.

    Returns
    -------
    Figure
        In the house style.
    """
    regimes: Any = consumables.document()["regimes"]
    most = max((len(counters) for counters in regimes.values()), default=0)
    every = [max(age["skill"], LEAST_SKILL) for counters in regimes.values() for age in counters.values()]
    low, high = 115 * min(-0.1, *every, 0.0), 100 * max(0.1, *every, 0.0)
    fig = figure(11.0, 1.0 + (1.2 + 0.4 * most) * len(regimes))
    grid = subplots(fig, len(regimes), 1, squeeze=False, sharex=True)[:, 0]
    for ax, (regime, counters) in zip(grid, regimes.items(), strict=True):
        ax.set_title(_sentence(regime))
        ax.set_xlim(low, high + 0.6 * (high - low))
        ax.grid(axis="y", visible=False)
        if not counters:
            words = "no counter told apart from the calendar"
            ax.text(0.5, 0.5, words, ha="center", va="center", color=FAINT, transform=ax.transAxes)
            ax.set_yticks([])
            ax.grid(visible=False)
            continue
        ax.axvline(0, color=INK, linewidth=1)
        skills = [100 * max(age["skill"], LEAST_SKILL) for age in counters.values()]
        names = ["all counters" if name == "all" else name.removeprefix("use_") for name in counters]
        colors = [BLUE if skill > 0 else ORANGE for skill in skills]
        ax.barh([name.replace("_", " ") for name in names], skills, color=colors)
        ax.invert_yaxis()
        for place, age in enumerate(counters.values()):
            ax.text(
                max(100 * age["skill"], 0.0) + 0.02 * (high - low),
                place,
                _age_words(age),
                va="center",
                color=INK,
            )
    grid[-1].set_xlabel("later wafers' squared error that the counter saves [%]; below 0 it misleads")
    return fig


def _age_words(age: Mapping[str, Any]) -> str:
    words = f"{100 * age['skill']:.0f} %"
    steady = age["percent_per_life_drift_followed"]
    if steady is not None:
        words += f"; rate {steady[0]:+.1f} ± {steady[1]:.1f} % over its range"
    return words.replace("-", "−")


def _errors(ax: Any, errors: Mapping[str, float]) -> None:
    colors = [MODEL_COLORS.get(model, FAINT) for model in errors]
    bars = ax.barh([MODEL_WORDS[model] for model in errors], list(errors.values()), color=colors)
    ax.bar_label(bars, fmt="%.3g", padding=3)
    ax.invert_yaxis()
    ax.grid(axis="y", visible=False)


def _one_scale(grid: Any, panels: Any) -> None:
    top = max((value for errors in panels for value in errors.values() if np.isfinite(value)), default=1.0)
    for ax in grid:
        ax.set_xlim(0, 1.12 * top)


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _wrapped(words: str) -> str:
    return "\n".join(textwrap.wrap(words, 18))
