"""Invented measurements of known truth: a table of runs with its site files, as a fab would bring it.

Nobody measured them: each number is what the full model says of a setup, and noise of a seed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from planish.engine.csv_text import csv_text
from planish.engine.files import write_whole
from planish.errors import DataError, refuse
from planish.fit.calibrate.cuts import CutModel
from planish.fit.calibrate.lots import Age, LotModel
from planish.fit.calibrate.wafers import RateModel, SitesModel, WaferModel
from planish.measure.sites.site_plan import site_plan
from planish.predict.wafer.incoming import mean_profile
from planish.units import NM_PER_MIN, as_whole

if TYPE_CHECKING:
    from planish.setup.models import Setup

Array = NDArray[np.float64]
Plan: TypeAlias = Literal["9", "49", "121-line"]
SAID = "INVENTED: nobody measured this"
HOUR, UM_PER_H = 3600.0, 3.6e9


@dataclass(frozen=True, slots=True)
class InventedRun:
    """A run to be invented.

    Attributes
    ----------
    kind
        What is measured: "sites" (two site files), "rate" (its mean) or "cut" (of the pad).
    changes
        What is set otherwise for it (path to text).
    time
        Of polishing [s]; None: as the recipe takes.
    pad_wafers
        Polished on its pad before; None: the pad as the setup has it.
    disk_time
        Use of the disk before [s].
    lot
        Name of its lot.
    """

    kind: Literal["sites", "rate", "cut"] = "sites"
    changes: Mapping[str, str] = field(default_factory=dict)
    time: float | None = None
    pad_wafers: int | None = None
    disk_time: float | None = None
    lot: str = ""


@dataclass(frozen=True, slots=True)
class Noise:
    """What blurs the truth; all 0 for none.

    Attributes
    ----------
    gauge
        Standard deviation of a thickness at a site [m].
    wafer
        Relative standard deviation of the whole removal, from wafer to wafer.
    rate
        Relative standard deviation of a measured mean rate or cut rate.
    """

    gauge: float = 0.0
    wafer: float = 0.0
    rate: float = 0.0

    def __post_init__(self) -> None:
        for name, value, most in (
            ("gauge [m]", self.gauge, 1e-6),
            ("wafer", self.wafer, 0.5),
            ("rate", self.rate, 0.5),
        ):
            if not 0 <= value <= most:
                raise DataError(refuse(f"noise: {name}", value, f"0 to {most:g}"))


def write_invented_runs(
    truth: Setup,
    runs: Sequence[InventedRun],
    folder: Path,
    *,
    noise: Noise | None = None,
    plan: Plan = "49",
    seed: int = 0,
) -> Path:
    """Write a table of invented runs and its site files.

    Parameters
    ----------
    truth
        The setup that the runs are polished with, but for their changes.
    runs
        To be invented, a row each.
    folder
        Where to: ``runs.csv`` and the site files beside it.
    noise
        None: none, and all numbers with every digit.
    plan
        Of the sites; see :func:`~planish.measure.sites.site_plan.site_plan`.
    seed
        Of the noise.

    Returns
    -------
    Path
        Of the table.

    Raises
    ------
    PlanishError
        For a run that the model has no answer to, and no runs at all.
    """
    if not runs:
        raise DataError(refuse("runs to be invented", 0, "one or more"))
    as_whole(seed, "seed", 0, 2**63 - 1)
    blur = Noise() if noise is None else noise
    rng = np.random.default_rng(seed)
    exact = blur == Noise()
    rows = [
        _row(truth, run, f"W{number:02d}", Path(folder), blur, plan, rng, exact=exact)
        for number, run in enumerate(runs, start=1)
    ]
    names = [name for name in _ORDER if any(row.get(name) for row in rows)]
    names += list(dict.fromkeys(name for row in rows for name in row if name not in _ORDER))
    table = Path(folder) / "runs.csv"
    write_whole(table, csv_text(names, [[row.get(name, "") for name in names] for row in rows], [SAID]))
    return table


_ORDER = (
    "wafer", "lot", "pre file", "post file", "time_s", "rate_nm_per_min", "cut_rate_um_per_h", "sd_nm", "sd_nm_per_min",
    "sd_um_per_h", "pad_wafers", "disk_h",
)  # fmt: skip


def _row(
    truth: Setup,
    run: InventedRun,
    wafer: str,
    folder: Path,
    noise: Noise,
    plan: Plan,
    rng: np.random.Generator,
    *,
    exact: bool,
) -> dict[str, str]:
    row = {"wafer": wafer, "lot": run.lot, **run.changes}
    if run.pad_wafers is not None:
        row["pad_wafers"] = str(run.pad_wafers)
    if run.disk_time is not None:
        row["disk_h"] = repr(run.disk_time / HOUR)
    if run.kind == "cut":
        cut = CutModel(run.changes, None, np.array([run.disk_time or 0.0]))(truth)[0]
        row["cut_rate_um_per_h"] = _text(UM_PER_H * cut * (1 + noise.rate * rng.normal()), exact=exact)
        row["disk_h"] = repr((run.disk_time or 0.0) / HOUR)
        return row
    seconds = WaferModel(run.changes, run.time).polished(truth).time if run.time is None else run.time
    row["time_s"] = repr(float(seconds))
    if run.kind == "rate":
        rate = _rate(truth, run, seconds)
        row["rate_nm_per_min"] = _text(NM_PER_MIN * rate * (1 + noise.rate * rng.normal()), exact=exact)
        return row
    before, after = _maps(truth, run, seconds, noise, plan, rng)
    for name, film in (("pre file", before), ("post file", after)):
        row[name] = f"{wafer}-{name.split(' ', maxsplit=1)[0]}.csv"
        _write_sites(folder / row[name], film, exact=exact)
    if noise.gauge:
        row["sd_nm"] = f"{1e9 * noise.gauge * np.sqrt(2):.4g}"  # of the difference of two readings
    return row


def _rate(truth: Setup, run: InventedRun, seconds: float) -> float:
    if run.pad_wafers is None:
        return float(RateModel(run.changes, seconds, 1)(truth)[0])
    age = Age(run.pad_wafers, None, run.disk_time)
    return float(LotModel(run.changes, seconds, (age,), (None,))(truth)[0])


def _maps(
    truth: Setup, run: InventedRun, seconds: float, noise: Noise, plan: Plan, rng: np.random.Generator
) -> tuple[tuple[Array, Array, Array], tuple[Array, Array, Array]]:
    """Return places [m] and thickness [m] before and after."""
    rig = WaferModel(run.changes, None).rig(truth)
    x, y = (np.round(1e3 * v, 3) / 1e3 for v in site_plan(plan, rig.wafer.radius, rig.wafer.edge_exclusion))
    r = np.hypot(x, y)
    if run.pad_wafers is None:
        removed = SitesModel(run.changes, seconds, r)(truth)
    else:
        age = Age(run.pad_wafers, None, run.disk_time)
        removed = LotModel(run.changes, seconds, (age,), (r,))(truth)
    film = np.asarray(mean_profile(rig.wafer.films[0], r))
    removed = removed * (1 + noise.wafer * rng.normal())
    first, second = (noise.gauge * rng.normal(size=r.size) for _ in range(2))
    return (x, y, film + first), (x, y, film - removed + second)


def _write_sites(path: Path, film: tuple[Array, Array, Array], *, exact: bool) -> None:
    rows = [
        (str(site), f"{1e3 * x:.3f}", f"{1e3 * y:.3f}", _text(1e9 * value, exact=exact))
        for site, (x, y, value) in enumerate(zip(*film, strict=True), start=1)
    ]
    write_whole(path, csv_text(("site", "x_mm", "y_mm", "thickness_nm"), rows, [SAID]))


def _text(value: float, *, exact: bool) -> str:
    return repr(float(value)) if exact else f"{value:.3f}"
