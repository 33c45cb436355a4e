"""Figure of all that was measured beside a setup as it stands: by how much each number is foretold too high."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from planish.explain.figures.style import FAINT, INK, LINES, axes, figure, styled

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.results.result import Result
    from planish.results.saved import SavedResult

LONGEST = 46  # characters of a name
KINDS = ("sites", "rate", "lot", "steps", "cut")


@styled
def held_figure(answer: Result | SavedResult) -> Figure:
    """Draw a row a set: a dot a number, a bar across at their mean, and 0 where the setup foretells what was measured.

    Parameters
    ----------
    answer
        Fresh, or read back.

    Returns
    -------
    Figure
        In the house style.
    """
    data, rows = answer.data, answer.tables()["sets"]
    off = 100.0 * np.asarray(data["off"].values, dtype=np.float64)
    of_set = np.asarray(data["set_of_value"].values)
    names = [str(name) for name in rows["name"]]
    fig = figure(10.0, 1.6 + 0.48 * max(len(names), 4))
    ax = axes(fig, 1, 1, 1)
    ax.axvline(0.0, color=FAINT, linewidth=1.4)
    seen: set[str] = set()
    for at in range(len(names)):
        kind, mine = str(rows["kind"][at]), off[of_set == at]
        colour = LINES[KINDS.index(kind) % len(LINES)]
        ax.plot(
            mine,
            np.full(mine.size, at),
            "o",
            color=colour,
            markersize=5,
            alpha=0.45,
            label=None if kind in seen else kind,
        )
        ax.plot([mine.mean()], [at], "|", color=INK, markersize=18, markeredgewidth=2.5)
        seen.add(kind)
    ax.set_yticks(range(len(names)), [n if len(n) <= LONGEST else n[: LONGEST - 1] + "…" for n in names])
    ax.set_ylim(len(names) - 0.5, -0.5)
    widest = 1.08 * max(float(np.abs(off).max()), 1e-9)
    ax.set_xlim(min(-0.1 * widest, 1.08 * float(off.min())), max(0.1 * widest, 1.08 * float(off.max())))
    ax.set_xlabel("foretold less measured, over the mean of its set [%]")
    ax.set_title("How far the setup as it stands is from what was measured")
    if len(seen) > 1:
        ax.legend(loc="best")
    return fig
