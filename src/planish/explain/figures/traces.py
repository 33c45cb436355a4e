"""Figures of rates fitted to tool traces: measured and predicted wafer after wafer, and what is left."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

import numpy as np

from planish.explain.figures.style import BLUE, FAINT, GREEN, INK, ORANGE, figure, styled, subplots

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.fit.traces import RateLaw

WORDS = {
    "law": "law from traces",
    "law_and_drift": "law and followed drift",
    "mean": "mean of regime",
    "last_three": "last three wafers",
}


@styled
def trace_figure(fit: RateLaw) -> Figure:
    """Draw, regime by regime, measured rates with the law's and the drift-following prediction, and residuals.

    Wafers left of the dashed line were learned from; the rest were left out.

    Parameters
    ----------
    fit
        The laws.

    Returns
    -------
    Figure
        In the house style.
    """
    fig = figure(12.0, 3.9 * len(fit.regimes))
    fig.set_layout_engine("constrained", h_pad=0.12)
    grid = np.atleast_2d(subplots(fig, len(fit.regimes), 2, width_ratios=[2.2, 1]))
    for row, regime in zip(grid, fit.regimes, strict=True):
        number = np.arange(regime.measured.size)
        row[0].plot(number, regime.measured, ".", color=FAINT, markersize=4, label="measured")
        for model, color in (("law", ORANGE), ("law_and_drift", BLUE)):
            if model in regime.predicted:
                row[0].plot(number, regime.predicted[model], color=color, linewidth=1.1, label=WORDS[model])
        cut = int(regime.training.sum()) - 0.5
        row[0].axvline(cut, color=INK, linestyle="--", linewidth=1.3)
        row[0].set_title(f"Regime {regime.name}")
        row[0].set_ylabel("removal rate [as published]")
        row[0].set_xlabel("wafers in order of time (right of the dashed line: left out)")
        row[0].legend(loc="best", ncols=3)
        names = [
            model
            for model in ("mean", "last_three", "law", "law_and_drift")
            if regime.rmse.get(model) is not None
        ]
        values = [float(regime.rmse[model] or 0) for model in names]
        bars = row[1].barh(
            [WORDS[model] for model in names], values, color=[FAINT, FAINT, ORANGE, BLUE][: len(names)]
        )
        row[1].bar_label(bars, fmt="%.2f", padding=3)
        row[1].invert_yaxis()
        row[1].set_xlim(0, 1.25 * max(values))
        row[1].set_xlabel("RMSE on left-out wafers")
        row[1].set_title("Error")
        row[1].grid(axis="y")
    return fig


class _WithLaw(Protocol):
    @property
    def law(self) -> RateLaw: ...


def rates_figure(fit: _WithLaw) -> Figure:
    """Draw the law of a fit to traces as :func:`trace_figure` does."""
    return trace_figure(fit.law)


@styled
def residual_figure(fit: RateLaw, model: str = "law_and_drift") -> Figure:
    """Draw the residuals of the left-out wafers of every regime over time and their spread.

    Parameters
    ----------
    fit
        The laws.
    model
        Whose prediction (see ``fit.traces.MODELS``).

    Returns
    -------
    Figure
        In the house style.
    """
    fig = figure(12.0, 3.8)
    grid = subplots(fig, 1, 2, width_ratios=[2, 1])
    for regime, color in zip(fit.regimes, (BLUE, ORANGE, GREEN), strict=False):
        left = ~regime.training & np.isfinite(regime.predicted[model])
        rest = regime.measured[left] - regime.predicted[model][left]
        grid[0].plot(np.flatnonzero(left), rest, ".", color=color, markersize=5, label=regime.name)
        grid[1].hist(rest, bins=30, color=color, alpha=0.6, label=regime.name)
    grid[0].axhline(0, color=INK, linewidth=1)
    grid[0].set_title("Measured − predicted, wafers left out")
    grid[0].set_xlabel("wafers in order of time")
    grid[0].set_ylabel("residual [as published]")
    grid[1].set_title("Spread")
    grid[1].set_xlabel("residual [as published]")
    grid[0].legend(title="regime")
    return fig
