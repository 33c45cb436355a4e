"""Draw the pressure at the wafer's edge for five ring pressures, at the default grid and at twice as many cells.

Run from anywhere: python docs/figures/ring_pressure.py
"""

from __future__ import annotations

from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np

from planish.physics.pressure.layers import ElasticLayer, rigid_base
from planish.physics.pressure.plate import plate_operator
from planish.physics.pressure.radial_grid import pressure_grid
from planish.physics.pressure.ring_influence import build_pad_operator
from planish.physics.pressure.solve import solve_pressure

RADIUS = 0.150
MEAN = 3 * 6894.757
STACK = (ElasticLayer(100e6, 0.3, 1.3e-3), ElasticLayer(5e6, 0.3, 1.3e-3))
RATIOS = (0.5, 1.0, 1.5, 2.0, 3.0)


def profiles(cells: int) -> list[tuple[np.ndarray, np.ndarray]]:
    """Return distance from the edge [mm] and p over its mean for each ring pressure."""
    grid = pressure_grid(RADIUS, RADIUS + 0.75e-3, RADIUS + 25.75e-3, cells=cells)
    pad = build_pad_operator(grid, STACK, rigid_base())
    plate = plate_operator(grid, 130e9, 0.28, 775e-6)
    load = np.full(grid.r.size, MEAN)
    out = []
    for ratio in RATIOS:
        found = solve_pressure(pad, plate, load, ratio * MEAN, asperity_length=5e-6, asperity_pressure=2e6)
        out.append((1e3 * (RADIUS - grid.r), found.pressure / MEAN))
    return out


def main() -> None:
    """Write ring_pressure.png beside this file."""
    colours = plt.get_cmap("viridis")(np.linspace(0.05, 0.85, len(RATIOS)))
    figure, axes = plt.subplots(figsize=(7, 4.2), layout="constrained")
    for ratio, colour, (x, p), (x2, p2) in zip(RATIOS, colours, profiles(120), profiles(240), strict=True):
        axes.plot(x, p, color=colour, label=f"{ratio:g} × wafer pressure")
        axes.plot(x2[::2], p2[::2], ".", color=colour, markersize=3.5)
    axes.axhline(1, color="0.6", linewidth=0.8, zorder=0)
    axes.set(xlim=(20, 0), ylim=(0.6, 1.25))
    axes.set_xlabel("distance from the wafer edge [mm]")
    axes.set_ylabel("pressure / mean pressure")
    axes.legend(title="retaining ring at", frameon=False, fontsize=9, loc="lower left")
    axes.set_title("lines: 120 cells; dots: 240 cells", fontsize=9, loc="right")
    figure.savefig(Path(__file__).with_suffix(".png"), dpi=150)


if __name__ == "__main__":
    main()
