"""Draw how even a wafer comes out over the hardness of the sub-pad, as platen and wafer are less and less flat.

Run from anywhere: ``python docs/figures/sub_pad.py``. It polishes wafers of ``examples/rotary.toml`` (an invented
scenario) and writes ``docs/figures/sub_pad.png``.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure

import planish
from planish.engine.files import write_whole
from planish.explain.figures.style import as_png, axes, figure, styled

HERE = Path(__file__).resolve().parent
SHORE_A = (25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 75, 80)
Changes = Mapping[str, object]
PANELS: tuple[tuple[str, tuple[tuple[str, Changes], ...]], ...] = (
    (
        "Membrane, platen of 8 rings",
        tuple(
            (f"{high} µm", {"polisher.flatness": f"{high} um", "polisher.flatness_waves": 8})
            for high in (0, 5, 10, 20, 40)
        ),
    ),
    (
        "Membrane, edge lifted by",
        tuple((f"{bow} µm", {"wafer.bow": f"{bow} um"}) for bow in (0, 25, 50, 100)),
    ),
    (
        "Rigid head, domed platen",
        tuple(
            (f"{high} µm", {"polisher.flatness": f"{high} um", "head.kind": "rigid"}) for high in (0, 1, 2, 5)
        ),
    ),
)


def main() -> None:
    """Polish all wafers and write the picture."""
    setup = planish.load(HERE.parents[1] / "examples" / "rotary.toml")
    write_whole(HERE / "sub_pad.png", as_png(draw(setup), dpi=110))


def spread(setup: planish.Setup, changes: Changes) -> list[float]:
    """Return WIWNU [%, 1 sigma] over the hardnesses of the sub-pad."""
    wafers = (planish.polish(setup.replace({**changes, "pad.sub.shore_a": hard})) for hard in SHORE_A)
    return [float(wafer.summary()["wiwnu_sigma_percent"]) for wafer in wafers]


@styled
def draw(setup: planish.Setup) -> Figure:
    """Return a panel for each thing that is not flat; a dot marks the best sub-pad."""
    fig = figure(12.0, 4.2)
    for place, (title, cases) in enumerate(PANELS, start=1):
        panel = axes(fig, 1, 3, place)
        for share, (label, changes) in zip(np.linspace(0.05, 0.85, len(cases)), cases, strict=True):
            values = spread(setup, changes)
            best = int(np.argmin(values))
            colour = mpl.colormaps["viridis"](float(share))
            panel.plot(SHORE_A, values, color=colour, label=label)
            panel.plot(SHORE_A[best], values[best], "o", color=colour)
        panel.set(
            xlabel="hardness of the sub-pad [Shore A]", ylabel="WIWNU, 1σ [%]", title=title, ylim=(0, 2.4)
        )
        panel.legend(frameon=False, fontsize=9)
    return fig


if __name__ == "__main__":
    main()
