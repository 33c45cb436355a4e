"""Write the measurement files of the demo: an invented wafer lot, measured by nobody.

Run from anywhere: ``python examples/make_data.py``. The files land in
``examples/data`` and are the same at every run. The scenario is our own; no
number in it comes from a real tool or fab.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

import planish
from planish.fit.calibrate.invented import InventedRun, Noise, write_invented_runs
from planish.measure.layout.make import make_layout, make_maps
from planish.measure.sites.read import SiteMap, write_sites
from planish.measure.sites.site_plan import site_plan
from planish.physics.pattern.effective_density import effective_density
from planish.physics.pattern.oxide_step import contact_height_step
from planish.predict.lot.variation import Variation, draw

HERE = Path(__file__).resolve().parent / "data"
RADIUS, EXCLUSION, TIME = 0.150, 0.003, 99.0
SAID = ("INVENTED for the demo by examples/make_data.py: nobody measured this wafer",)


def thickness_map(value: np.ndarray, x: np.ndarray, y: np.ndarray, what: str) -> SiteMap:
    """Return a thickness map of the invented wafer, named sites, polish time stated."""
    return SiteMap(
        x=x,
        y=y,
        value=value,
        site=tuple(str(i + 1) for i in range(len(x))),
        quantity="thickness",
        unit="nm",
        source=what,
        polish_time=TIME,
        wafer_radius=RADIUS,
    )


def wafer(plan: str, seed: int) -> tuple[SiteMap, SiteMap]:
    """Return (before, after) of one wafer: a slightly domed film, a fast edge, a little tilt."""
    rng = np.random.default_rng(seed)
    x, y = site_plan(plan, RADIUS, EXCLUSION)
    u = np.hypot(x, y) / RADIUS
    before = 1e-9 * (1000 + 12 * (1 - u**2) + 3 * x / RADIUS)
    edge = np.exp(-(RADIUS - u * RADIUS) / 0.004)
    rate = 1e-9 / 60 * 348 * (1 - 0.012 * u**2 + 0.03 * edge + 0.004 * y / RADIUS)
    gauge = 0.3e-9
    return (
        thickness_map(before + gauge * rng.normal(size=len(x)), x, y, "before"),
        thickness_map(before - rate * TIME + gauge * rng.normal(size=len(x)), x, y, "after"),
    )


def write_polar(site_map: SiteMap, path: Path) -> None:
    """Write the same map in polar form and in angstrom, as another gauge might."""
    lines = [
        f"# {SAID[0]}",
        "# units: r=mm, theta=deg, thickness=A",
        f"# polish_time: {TIME:g} s",
        "site,r,theta,thickness",
    ]
    angle = np.degrees(np.arctan2(site_map.y, site_map.x))
    lines += [
        f"{s},{1e3 * r:.3f},{a:.4f},{1e10 * v:.2f}"
        for s, r, a, v in zip(site_map.site, site_map.r, angle, site_map.value, strict=True)
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def lots(path: Path) -> None:
    """Write a nested study: 8 lots x 3 wafers x 9 sites of removal."""
    rng = np.random.default_rng(21)
    lines = [f"# {SAID[0].replace('this wafer', 'these wafers')}", "lot,wafer,site,removal_nm"]
    for lot in range(1, 9):
        level = 574 + 9 * rng.normal()
        for w in range(1, 4):
            own = level + 5 * rng.normal()
            lines += [f"{lot},{w},{s},{own + 3 * rng.normal():.2f}" for s in range(1, 10)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def month(path: Path) -> None:
    """Write the rates of 120 wafers, one monitor a lot: another pad from wafer 61 on, and a rate that sinks from 96 on."""
    rng = np.random.default_rng(35)
    wafers = np.arange(1, 121)
    rate = np.where(wafers <= 60, 301.0, 308.0) + 2.2 * rng.standard_normal(120)
    rate -= 0.45 * np.clip(wafers - 95, 0, None)
    uneven = 2.6 + 0.012 * (308.0 - rate) + 0.12 * rng.standard_normal(120)
    lines = [f"# {SAID[0].replace('this wafer', 'these wafers')}", "wafer,lot,pad,rate [nm/min],WIWNU [%]"]
    for number, one, two in zip(wafers, rate, uneven, strict=True):
        pad = "P1" if number <= 60 else "P2"
        lines.append(f"{number},{1 + (number - 1) // 5},{pad},{one:.1f},{two:.2f}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def steps(layout: Path, path: Path) -> None:
    """Write a layout of density blocks, and steps measured on 24 places of it after three polish times.

    Behind the numbers stand a planarization length of 4.2 mm, a blanket rate of 232 nm/min, a
    contact height of 180 nm and a gauge that scatters by 4 nm.
    """
    kind = {"size": 12e-3, "pitch": 40e-6}
    make_layout("density-blocks", layout, **kind)
    maps = make_maps("density-blocks", 20e-6, **kind)
    rho = effective_density(maps.density, maps.cell, 4.2e-3)
    rng = np.random.default_rng(11)
    place = rng.integers(10, rho.shape[0] - 10, (24, 2))
    lines = [
        "# INVENTED for the demo by examples/make_data.py: nobody measured this die",
        "structure,x_mm,y_mm,time_s,step_before_nm,up_loss_nm,step_left_nm",
    ]
    for time in (40.0, 80.0, 130.0):
        for number, (j, i) in enumerate(place, start=1):
            up, _, left = contact_height_step(rho[j, i], 800e-9, 180e-9, 232e-9 / 60 * time)
            x, y = (np.array([i, j]) + 0.5) * maps.cell * 1e3
            seen = np.array([up, left]) * 1e9 + 4 * rng.normal(size=2)
            lines.append(f"{number},{x:.3f},{y:.3f},{time:g},800,{seen[0]:.1f},{seen[1]:.1f}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def runs(folder: Path) -> None:
    """Write a table of runs with its site files, read by ``planish measure examples/data/runs/runs.csv --setup``.

    Behind the numbers stand the rotary setup with another rate, less slurry let under the
    wafer, and a disk that dulls sooner; the gauge scatters by 0.4 nm, wafers by 0.6 %, rates by 0.8 %.
    """
    main = "recipe.step.main."
    truth = planish.load(HERE.parent / "rotary.toml").replace(
        {"removal.oxide.rate": "232 nm/min", "slurry.entry_share": 0.2, "conditioner.halving_time": "120 h"}
    )
    pressures, speeds = ("2 psi", "3 psi", "4.5 psi"), ("60 rpm", "90 rpm")
    varied = [
        InventedRun(changes={f"{main}zone_pressures": p, f"{main}platen_speed": v}, time=95.0, lot="A")
        for p in pressures
        for v in speeds
    ]
    life = [InventedRun("rate", time=95.0, pad_wafers=n, lot="B") for n in (0, 4, 12, 25)]
    cuts = [InventedRun("cut", disk_time=3600.0 * h) for h in (0.5, 10.0, 40.0, 100.0)]
    noise = Noise(gauge=0.4e-9, wafer=0.006, rate=0.008)
    write_invented_runs(truth, [*varied, *life, *cuts], folder, noise=noise, seed=17)


def upset(folder: Path) -> None:
    """Write a lot of 40 wafers, a row a wafer: a new pad before row 21, and a slurry that removes 5 % less from row 27 on.

    Behind the numbers stands the lot of the rotary setup with chance on; the gauge scatters by 0.4 nm, friction by 1 %.
    """
    folder.mkdir(parents=True, exist_ok=True)
    lot = planish.polish_lot(HERE.parent / "rotary.toml", 40, seed=8, events=["21 pad", "27 slurry 0.95"])
    chance, rng = draw(Variation(), 40, 8), np.random.default_rng(8)
    x, y = site_plan("49", RADIUS, EXCLUSION)
    r = np.hypot(x, y)
    bow = 1 + chance.bow[:, None] * (2 * (r / RADIUS) ** 2 - 1)
    before = 1000 * chance.incoming[:, None] * bow
    after = before - 1e9 * np.stack([np.interp(r, lot.radius, removed) for removed in lot.records.removed])
    said = f"# {SAID[0].replace('this wafer', 'these wafers')}"
    for name, values in (("before", before), ("after", after)):
        lines = [said, ",".join(["wafer", *(f"thickness_{site} [nm]" for site in range(1, 50))])]
        for number, row in enumerate(values + 0.4 * rng.normal(size=values.shape), 1):
            lines.append(",".join([f"W{number}", *(f"{value:.1f}" for value in row)]))
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    lines = [said, "wafer,wafers on the pad,time [s],friction"]
    friction = lot.records.friction * (1 + 0.01 * rng.normal(size=40))
    for number, (time, mu) in enumerate(zip(lot.records.time, friction, strict=True)):
        lines.append(f"W{number + 1},{number % 20},{time:.1f},{mu:.4f}")
    (folder / "lot.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def main() -> None:
    """Write every file of ``examples/data``."""
    HERE.mkdir(parents=True, exist_ok=True)
    before, after = wafer("49", 1)
    write_sites(before, HERE / "wafer-before.csv", comments=SAID)
    write_sites(after, HERE / "wafer-after.csv", comments=SAID)
    write_polar(before, HERE / "wafer-before-polar.csv")
    write_polar(after, HERE / "wafer-after-polar.csv")
    before, after = wafer("121-line", 2)
    write_sites(before, HERE / "line-before.csv", comments=SAID)
    wrong = after.value.copy()
    wrong[30] += 25e-9  # one site the gauge got wrong, to be flagged
    write_sites(replace(after, value=wrong), HERE / "line-after.csv", comments=SAID)
    lots(HERE / "lots.csv")
    month(HERE / "month.csv")
    steps(HERE / "test-blocks.gds", HERE / "steps.csv")
    runs(HERE / "runs")
    upset(HERE / "upset")


if __name__ == "__main__":
    main()
