"""Write the measurement files of the demo: an invented wafer lot, measured by nobody.

Run from anywhere: ``python examples/make_data.py``. The files land in
``examples/data`` and are the same at every run. The scenario is our own; no
number in it comes from a real tool or fab.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from planish.measure.sites import SiteMap, site_plan, write_sites

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
    after.value[30] += 25e-9  # one site the gauge got wrong, to be flagged
    write_sites(after, HERE / "line-after.csv", comments=SAID)
    lots(HERE / "lots.csv")


if __name__ == "__main__":
    main()
