"""The figures of endpoint traces: the signal, the film as followed, and a change as it was called.

Each is drawn from what its answer tells (its ``document``), so a saved one looks the same.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from planish.explain.figures.style import (
    BLUE,
    FAINT,
    GREEN,
    INK,
    MAP,
    ORANGE,
    figure,
    line_look,
    styled,
    subplots,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.results.result import Result

MOST_LINES = 6  # signals drawn as lines; more are a map


@styled
def trace_figure(trace: Result) -> Figure:
    """Draw a trace: its signal over time, or of many colours a map.

    Parameters
    ----------
    trace
        As recorded or invented.

    Returns
    -------
    Figure
        In the house style.
    """
    rows: Any = trace.document()["signals"]
    names = [name for name in rows[0] if name not in ("time_s", "true_thickness_nm")]
    times = [row["time_s"] for row in rows]
    fig = figure(9.0, 4.2)
    ax = subplots(fig, 1, 1)
    if len(names) <= MOST_LINES:
        for at, name in enumerate(names):
            label = name.replace("_", " ")
            ax.plot(times, [row[name] for row in rows], label=label, **{**line_look(at), "linewidth": 1.2})
        ax.set_ylabel("signal")
        if len(names) > 1:
            ax.legend()
    else:
        waves = [
            float(name.removesuffix("_nm")) if name.endswith("_nm") else at for at, name in enumerate(names)
        ]
        values = np.array([[row[name] for name in names] for row in rows]).T
        shown = ax.pcolormesh(times, waves, values, cmap=MAP, shading="nearest", rasterized=True)
        fig.colorbar(shown, ax=ax, label="signal")
        ax.set_ylabel("wavelength [nm]" if names[0].endswith("_nm") else "column")
        ax.grid(visible=False)
    ax.set_xlabel("time [s]")
    return fig


@styled
def followed_figure(followed: Result) -> Figure:
    """Draw the signal with what the film as followed should give, and the thickness that was left.

    Parameters
    ----------
    followed
        A trace that was followed.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = followed.document()
    rows = document["states"]
    times = np.array([row["time_s"] for row in rows])

    def column(name: str) -> Any:
        return np.array([np.nan if row[name] is None else row[name] for row in rows])

    fig = figure(9.0, 7.6)
    above, below, pace = subplots(fig, 3, 1, sharex=True, height_ratios=(3, 3, 2))
    above.plot(times, column("signal"), ".", color=FAINT, markersize=3, label="signal")
    above.plot(
        times, column("signal_as_followed"), color=ORANGE, linewidth=1.6, label="of the film as followed"
    )
    above.set_ylabel("signal")
    signal = column("signal")
    above.set_ylim(top=np.nanmax(signal) + 0.3 * np.ptp(signal))
    above.legend(loc="upper right", ncols=2)
    left, error = column("thickness_nm"), column("thickness_error_nm")
    below.fill_between(
        times,
        left - 2 * error,
        left + 2 * error,
        color=BLUE,
        alpha=0.25,
        linewidth=0,
        label="± 2 standard errors",
    )
    below.plot(times, left, color=BLUE, label="thickness left")
    below.axhline(document["target_nm"], color=GREEN, linestyle=(0, (5, 2)), linewidth=1.6, label="target")
    pace.plot(times, column("removal_rate_nm_per_min"), color=BLUE)
    for ax in (above, below, pace):
        if document["called_s"] is not None:
            ax.axvline(document["called_s"], color=INK, linewidth=1.2)
        if document["understood_s"] is not None:
            ax.axvspan(times[0], document["understood_s"], color=FAINT, alpha=0.12, linewidth=0)
    below.set_ylabel("thickness left [nm]")
    pace.set_ylabel("rate [nm/min]")
    pace.set_xlabel("time [s]")
    below.legend(loc="upper right")
    above.set_title(_when(document))
    return fig


def _when(document: Any) -> str:
    if document["called_s"] is None:
        return f"{document['target_nm']:.4g} nm not reached (grey: not yet understood)"
    return f"{document['target_nm']:.4g} nm called at {document['called_s']:.4g} s (grey: not yet understood)"


@styled
def watched_figure(watched: Result) -> Figure:
    """Draw the blocks of a watched signal, its baseline, and where its change began and was called.

    Parameters
    ----------
    watched
        A trace that was watched.

    Returns
    -------
    Figure
        In the house style.
    """
    document: Any = watched.document()
    rows = document["blocks"]
    mean, sd = document["baseline_mean"], document["baseline_sd"]
    fig = figure(9.0, 4.4)
    ax = subplots(fig, 1, 1)
    times = [row["time_s"] for row in rows]
    ax.axhspan(
        mean - 3 * sd,
        mean + 3 * sd,
        color=BLUE,
        alpha=0.15,
        linewidth=0,
        label="baseline ± 3 standard deviations",
    )
    ax.plot(
        times,
        [row["block"] for row in rows],
        ".-",
        color=BLUE,
        linewidth=1.0,
        markersize=4,
        label=f"{document['by']} of blocks",
    )
    if document["found_s"] is None:
        title = "no change"
    else:
        ax.axvline(document["began_s"], color=GREEN, linestyle=(0, (5, 2)), linewidth=1.6, label="began")
        ax.axvline(document["found_s"], color=ORANGE, linewidth=1.6, label="called")
        title = f"goes {document['direction']}: began {document['began_s']:.4g} s, called {document['found_s']:.4g} s"
    ax.set_title(title)
    ax.set_xlabel("time [s]")
    ax.set_ylabel("signal" if document["by"] == "level" else "slope of the signal [1/s]")
    ax.legend(loc="best")
    return fig
