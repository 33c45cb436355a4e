"""Draw the picture of the front page: the rotary machine, and how evenly three motions polish.

Run from anywhere: ``python docs/figures/wafer.py``. It polishes the wafers of
``examples/`` (an invented scenario) and writes ``docs/figures/wafer.png``.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from matplotlib.figure import Figure

import planish
from planish.engine.files import write_whole
from planish.explain.figures.machine import machine_plan, speeds_text
from planish.explain.figures.style import as_png, axes, figure, line_look, styled
from planish.predict.wafer.result import WaferResult

HERE = Path(__file__).resolve().parent
EXAMPLES = HERE.parents[1] / "examples"
MOTIONS = ("rotary", "linear", "orbital")


def main() -> None:
    """Polish one wafer on each motion and write the picture."""
    wafers = {motion: planish.polish(planish.load(EXAMPLES / f"{motion}.toml")) for motion in MOTIONS}
    write_whole(HERE / "wafer.png", as_png(draw(wafers), dpi=100))


@styled
def draw(wafers: Mapping[str, WaferResult]) -> Figure:
    """Return the machine of the rotary wafer in plan, and the shape of the rate of all of them."""
    fig = figure(11.0, 5.0)
    plan = axes(fig, 1, 2, 1)
    rig = wafers["rotary"].rig
    machine_plan(rig, 1, ax=plan)
    plan.set_title(f"Rotary polisher in plan\n{speeds_text(rig, rig.steps[1])}")
    shape = axes(fig, 1, 2, 2)
    for index, (motion, wafer) in enumerate(wafers.items()):
        inside = wafer.inside()
        rate = wafer.summary()["mean_removal_rate_nm_per_min"]
        shape.plot(
            wafer.radius[inside] * 1e3,
            100 * (wafer.rate[inside] / wafer.mean(wafer.rate) - 1),
            label=f"{motion}, mean {rate:.0f} nm/min",
            **line_look(index),
        )
    exclusion = rig.wafer.edge_exclusion * 1e3
    shape.set_title(f"Removal rate across the wafer\n{exclusion:g} mm edge exclusion")
    shape.set_xlabel("wafer radius [mm]")
    shape.set_ylabel("difference from the mean [%]")
    shape.set_xlim(0, 150)
    shape.legend(loc="upper left")
    return fig


if __name__ == "__main__":
    main()
