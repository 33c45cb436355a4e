"""What became of a lot: a row a wafer, the pad's profile over time, what ended it."""

from __future__ import annotations

import json
import os
from dataclasses import dataclass, fields
from functools import cached_property
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.files import write_whole
from planish.engine.fixed import fix_fields, read_only
from planish.engine.record import counted, shortened
from planish.errors import DataError, ModelError, refuse
from planish.predict.cleaning import left_figures
from planish.predict.lot.row import Records
from planish.predict.wafer.strange import strange
from planish.results.result import Result
from planish.results.saved import LOT_FILE
from planish.units import NM_PER_MIN, ZERO_CELSIUS

if TYPE_CHECKING:
    import polars as pl
    import xarray as xr

    from planish.physics.scratches import ScratchIndex
    from planish.predict.cleaning import Cleaned
    from planish.predict.lot.events import Event
    from planish.results.asked import Asked
    from planish.results.plain import Columns
    from planish.setup.si import Rig

Array = NDArray[np.float64]

#: What ends a pad: depths that are used up, and figures that leave their limits.
WEAR = ("grooves nearly gone", "pad worn thin")
PERFORMANCE = ("rate out of limits", "uniformity out of limits")


@dataclass(frozen=True, slots=True)
class Limits:
    """When pad or disk count as used up (common practice, no source; set your own).

    ``groove_left``: share of the new groove depth, at the most worn place under the wafer;
    ``thickness_left``: share of the top layer; ``sharpness``: cut rate of the disk against new;
    ``rate_change``: of the mean rate of five wafers against the lot's first; ``wiwnu_percent``: 1 sigma.
    """

    groove_left: float = 0.1
    thickness_left: float = 0.4
    sharpness: float = 0.2
    rate_change: float = 0.25
    wiwnu_percent: float = 5.0

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            most = 100.0 if item.name == "wiwnu_percent" else 1.0
            if not 0 <= value <= most:
                raise ModelError(refuse(f"limits: {item.name}", value, f"0 to {most:g}"))


@dataclass(frozen=True, repr=False, eq=False)
class LotResult(Result):
    """One lot. ``records`` hold SI; ``table`` and ``summary`` trade units.

    ``radius``, ``areas`` of wafer nodes; ``ring_middles`` of the pad rings and which of them the wafer
    passes (``under``); ``summit_edges``, ``summit_fresh`` and ``summit_last`` the summit heights at
    the start and at the end, averaged over the wafer's track; ``cut_rate`` [m/s] of a sharp disk.
    """

    kind: ClassVar[str] = "lot"

    rig: Rig
    seed: int
    adjust: str
    conditioning: bool
    events: tuple[Event, ...]
    limits: Limits
    radius: Array
    areas: Array
    ring_middles: Array
    under: NDArray[np.bool_]
    records: Records
    summit_edges: Array
    summit_fresh: Array
    summit_last: Array
    cut_rate: Array
    said: tuple[str, ...]  # notes of the setup, and what happened
    rests_on: tuple[str, ...]
    asked: Asked | None = None
    cleaned: Cleaned | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        fix_fields(self.records)  # filled in wafer by wafer until now

    def _told(self) -> str:
        rate = self.records.rate * NM_PER_MIN
        even = 100 * self.wiwnu_sigma
        wafer, cause = self.end_of_life()
        return (
            f"{shortened(self.rig.title, 60)!r}, {counted(self.wafers, 'wafer')}, seed {self.seed}: rate "
            f"{rate[0]:.4g} to {rate[-1]:.4g} nm/min, WIWNU {even[0]:.3g} to {even[-1]:.3g} % (1σ), "
            + ("no limit reached" if wafer is None else f"{cause} at wafer {wafer}")
        )

    @property
    def wafers(self) -> int:
        """How many wafers were polished."""
        return int(self.records.rate.size)

    @property
    def wiwnu_sigma(self) -> Array:
        """1 sigma of each wafer's removal over its mean (n,)."""
        return _over(self.records.sigma, self.records.mean_removed)

    @property
    def wiwnu_range(self) -> Array:
        """(max - min)/(2 mean) of each wafer's removal (n,)."""
        return _over(self.records.half_range, self.records.mean_removed)

    def scratch_index(self) -> Array:
        """Relative scratch index of each wafer (n,); 1 at one reference for all setups (``physics.scratches.USUAL``).

        Relative only: it says neither how many scratches there are nor how deep.
        """
        return self.scratches().value

    def scratches(self) -> ScratchIndex:
        """Scratch index of each wafer with the factors whose product it is: slurry, pad, summits, disk, sliding."""
        from planish.physics.scratches import USUAL, scratch_index
        from planish.predict.wafer.disk import disk_work

        rig, records = self.rig, self.records
        work = disk_work(rig)
        return scratch_index(
            USUAL,
            real_pressure=records.real_pressure,
            large_count=rig.slurry.large_particle_count,
            large_size=rig.slurry.large_particle_size,
            pad_modulus=rig.pad.layers[0].modulus,
            shedding=work.shed if self.conditioning and work is not None else 0.0,
            sliding_distance=records.sliding,
        )

    def end_of_life(self) -> tuple[int | None, str | None]:
        """Return (wafer, cause) at which a limit was first reached, or (None, None)."""
        return self._end

    @property
    def grooved(self) -> bool:
        """Whether the pad has grooves that can wear away."""
        return self.rig.pad.grooves.pattern != "none" and self.rig.pad.grooves.depth > 0

    def limits_reached(self) -> dict[str, int]:
        """Return each limit that the lot reached, in words, and the first wafer that did."""
        return dict(self._reached)

    @cached_property
    def _end(self) -> tuple[int | None, str | None]:
        first = [(wafer, cause) for cause, wafer in self._reached.items()]
        return min(first, key=lambda pair: pair[0]) if first else (None, None)

    @cached_property
    def _reached(self) -> dict[str, int]:
        records, limits, pad = self.records, self.limits, self.rig.pad
        rate = _smooth(records.expected_rate)
        first_rate = rate[0]  # a pad may be spent before it is warm: no later wafer tells what it could do
        tests: list[tuple[str, NDArray[np.bool_]]] = []
        if self.grooved:
            tests.append((WEAR[0], records.groove_min < limits.groove_left * pad.grooves.depth))
        tests.append((WEAR[1], records.thickness_min < limits.thickness_left * pad.layers[0].thickness))
        if self.conditioning:
            tests.append(("disk dull", records.sharpness < limits.sharpness))
        ring = self.rig.head.ring
        if ring is not None:
            tests.append(("ring worn", self._ring_use * ring.wear_rate > ring.wear_allowance))
        drifted = (
            np.abs(rate / first_rate - 1) > limits.rate_change
            if first_rate > 0
            else np.ones(rate.size, dtype=bool)
        )
        tests.append((PERFORMANCE[0], drifted))
        tests.append(
            (
                PERFORMANCE[1],
                100 * _smooth(np.nan_to_num(self.wiwnu_sigma)) > limits.wiwnu_percent,
            )
        )
        return {cause: int(np.argmax(hit)) + 1 for cause, hit in tests if np.any(hit)}

    @property
    def notes(self) -> tuple[str, ...]:
        """What was assumed, what happened to any wafer, and what no real lot has."""
        return (*self.said, *self.strange())

    def tables(self) -> dict[str, Columns]:
        """Return ``wafers``: a row a wafer, in trade units."""
        return {"wafers": {name: column.to_list() for name, column in self.table().to_dict().items()}}

    def _content(self) -> dict[str, Any]:
        """Return the figures of merit of the lot."""
        records = self.records
        rate = records.rate * NM_PER_MIN
        removed = records.mean_removed
        several = self.wafers > 1
        wafer, cause = self.end_of_life()
        sigma = 100 * self.wiwnu_sigma
        scratch = self.scratch_index()
        return {
            "wafers": self.wafers,
            "wtwnu_percent": 100 * float(rate.std(ddof=1) / rate.mean())
            if several and rate.mean() > 0
            else None,
            "wtwnu_range_percent": 100 * float(np.ptp(rate) / (2 * rate.mean())) if rate.mean() > 0 else None,
            "removed_wtwnu_percent": 100 * float(removed.std(ddof=1) / removed.mean())
            if several and removed.mean() > 0
            else None,
            "mean_rate_nm_per_min": float(rate.mean()),
            "first_rate_nm_per_min": float(rate[0]),
            "last_rate_nm_per_min": float(rate[-1]),
            "end_of_life_wafer": wafer,
            "end_of_life_cause": cause,
            "first_wiwnu_sigma_percent": _known(sigma[0]),
            "last_wiwnu_sigma_percent": _known(sigma[-1]),
            "worst_wiwnu_sigma_percent": _known(np.fmax.reduce(sigma)),
            "mean_time_s": float(records.time.mean()),
            "last_groove_depth_um": float(records.groove_min[-1]) * 1e6,
            "last_pad_thickness_um": float(records.thickness_mean[-1]) * 1e6,
            "last_tail_um": float(records.tail[-1]) * 1e6,
            "last_real_contact_percent": 100 * float(records.real_fraction[-1]),
            "last_real_pressure_MPa": float(records.real_pressure[-1]) / 1e6,
            "last_plasticity_index": self._of_time(records.step_plasticity),
            "last_flowing_percent": 100 * self._of_time(records.step_flowing),
            "last_modulus_left_percent": 100 * float(records.modulus_left[-1]),
            "last_sharpness_percent": 100 * float(records.sharpness[-1]),
            "mean_temperature_C": float(records.temperature.mean()) - ZERO_CELSIUS,
            "peak_temperature_C": float(records.peak_temperature.max()) - ZERO_CELSIUS,
            "first_scratch_index_relative": float(scratch[0]),
            "last_scratch_index_relative": float(scratch[-1]),
            **left_figures(self.rig, self.cleaned),
            "seed": self.seed,
            "adjust": self.adjust,
            "conditioning": self.conditioning,
            **self._ring_figures(),
        }

    def _of_time(self, by_step: Array) -> float:
        """Return the mean over the last wafer's time of something told by step (n, steps)."""
        times = self.records.step_time[-1]
        return float(np.average(by_step[-1], weights=times if times.sum() > 0 else None))

    @property
    def _ring_use(self) -> Array:
        """Time [s] that the retaining ring has polished after each wafer (n,)."""
        return np.cumsum(self.records.time)

    def _ring_figures(self) -> dict[str, float]:
        """Return what the lot took off the ring, as far as the setup says how fast it wears."""
        ring, time = self.rig.head.ring, float(self._ring_use[-1])
        if ring is None:
            return {}
        gone = {
            "last_ring_worn_um": 1e6 * ring.wear_rate * time,
            "last_ring_gap_um": 1e6 * (ring.gap + ring.gap_wear_rate * time),
        }
        rates = {"last_ring_worn_um": ring.wear_rate, "last_ring_gap_um": ring.gap_wear_rate}
        return {key: value for key, value in gone.items() if rates[key]}

    def strange(self) -> list[str]:
        """Return what no real lot has, one line each, with the input that drives it."""
        records = self.records
        return strange(
            self.rig,
            real_pressure=float(records.real_pressure.max()),
            friction=float(records.friction.max()),
            rate=float(records.step_fastest.max()),
        )

    def table(self) -> pl.DataFrame:
        """Return a row a wafer, in trade units (a polars frame)."""
        import polars as pl

        r = self.records
        names = [step.name for step in self.rig.steps]
        return pl.DataFrame(
            {
                "wafer": np.arange(1, self.wafers + 1),
                "monitor": r.monitor,
                "rate_nm_per_min": r.rate * NM_PER_MIN,
                "removed_nm": r.mean_removed * 1e9,
                "time_s": r.time,
                "wiwnu_sigma_percent": 100 * self.wiwnu_sigma,
                "wiwnu_range_percent": 100 * self.wiwnu_range,
                "temperature_C": r.temperature - ZERO_CELSIUS,
                "peak_temperature_C": r.peak_temperature - ZERO_CELSIUS,
                "friction_coefficient": r.friction,
                "fresh_fraction_percent": 100 * r.fresh,
                "tail_um": r.tail * 1e6,
                "real_contact_percent": 100 * r.real_fraction,
                "real_pressure_MPa": r.real_pressure / 1e6,
                "groove_depth_min_um": r.groove_min * 1e6,
                "groove_depth_mean_um": r.groove_mean * 1e6,
                "pad_thickness_min_um": r.thickness_min * 1e6,
                "pad_thickness_mean_um": r.thickness_mean * 1e6,
                "disk_sharpness_percent": 100 * r.sharpness,
                "slurry_batch_factor": r.batch,
                "scratch_index_relative": self.scratch_index(),
                **{
                    key: np.full(self.wafers, left)
                    for key, left in left_figures(self.rig, self.cleaned).items()
                },
                **{
                    f"step_{i + 1}_rate_nm_per_min": r.step_rate[:, i] * NM_PER_MIN for i in range(len(names))
                },
                **{f"step_{i + 1}_time_s": r.step_time[:, i] for i in range(len(names))},
            }
        )

    def sources(self) -> list[str]:
        """Return the sources that the result rests on, one line each."""
        return list(self.rests_on)

    def dataset(self) -> xr.Dataset:
        """Return profiles by wafer and radius, and the pad by wafer and ring, in SI units."""
        import xarray as xr

        r = self.records
        top, depth = self.rig.pad.layers[0].thickness, self.rig.pad.grooves.depth
        single = {
            "rate": ("m/s", "mean removal rate", r.rate),
            "mean_removed": ("m", "mean removed", r.mean_removed),
            "time": ("s", "polish time", r.time),
            "wiwnu_sigma": ("1", "within-wafer non-uniformity, 1 sigma over mean", self.wiwnu_sigma),
            "expected_rate": (
                "m/s",
                "mean removal rate without the chance of slurry and process",
                r.expected_rate,
            ),
            "wiwnu_range": ("1", "within-wafer non-uniformity, half range over mean", self.wiwnu_range),
            "temperature": ("K", "mean pad temperature under the wafer", r.temperature),
            "peak_temperature": ("K", "highest pad temperature under the wafer", r.peak_temperature),
            "groove_depth_min": ("m", "shallowest groove under the wafer", r.groove_min),
            "groove_depth_mean": ("m", "mean groove depth under the wafer", r.groove_mean),
            "real_pressure": ("Pa", "mean pressure on summits in contact", r.real_pressure),
            "real_fraction": ("1", "real contact fraction", r.real_fraction),
            "tail": ("m", "mean excess height of summits in contact", r.tail),
            "sharpness": ("1", "cut rate of the disk against new", r.sharpness),
            "scratch_index": ("1", "relative scratch index", self.scratch_index()),
        }
        made = xr.Dataset(
            {
                **{
                    key: (("wafer",), values, {"units": unit, "long_name": words})
                    for key, (unit, words, values) in single.items()
                },
                "removed": (("wafer", "radius"), r.removed, {"units": "m", "long_name": "removed"}),
                "pad_thickness": (
                    ("wafer", "pad_radius"),
                    top - r.worn,
                    {"units": "m", "long_name": "thickness of the top pad"},
                ),
                "groove_depth": (
                    ("wafer", "pad_radius"),
                    np.maximum(depth - r.worn, 0.0),
                    {"units": "m", "long_name": "groove depth"},
                ),
                "summits_fresh": (
                    ("height",),
                    self.summit_fresh,
                    {"units": "1", "long_name": "share of summits, fresh"},
                ),
                "summits_last": (
                    ("height",),
                    self.summit_last,
                    {"units": "1", "long_name": "share of summits, last"},
                ),
                "cut_rate": (
                    ("pad_radius",),
                    self.cut_rate,
                    {"units": "m/s", "long_name": "pad cut by a sharp disk"},
                ),
            },
            coords={
                "wafer": ("wafer", np.arange(1, self.wafers + 1)),
                "radius": (
                    "radius",
                    self.radius,
                    {"units": "m", "long_name": "distance from the wafer's centre"},
                ),
                "pad_radius": (
                    "pad_radius",
                    self.ring_middles,
                    {"units": "m", "long_name": "distance from the pad's centre"},
                ),
                "height": (
                    "height",
                    0.5 * (self.summit_edges[1:] + self.summit_edges[:-1]),
                    {"units": "m", "long_name": "summit height above the conditioned body's mean"},
                ),
            },
        )
        made.attrs.update(
            title=self.rig.title,
            event_wafers=np.array([event.wafer for event in self.events], dtype=np.int32),
        )
        return made

    def save(self, path: str | os.PathLike[str]) -> Path:
        """Write into the folder ``path``: lot.parquet (a row a wafer), lot.nc (profiles), summary.json.

        Each file is written whole or not at all. Returns the folder.

        Raises
        ------
        DataError
            Where the folder cannot be made or written.
        """
        folder = Path(path)
        table = BytesIO()
        self.table().write_parquet(table)
        text = json.dumps(self.document(), indent=1)
        try:
            write_whole(folder / "lot.parquet", table.getvalue())
            Result.save(self, folder / LOT_FILE)
            write_whole(folder / "summary.json", text.encode())
        except OSError as problem:
            reason = problem.strerror or type(problem).__name__
            raise DataError(f"{folder}: cannot be written ({reason}); give a folder that can") from None
        return folder


def _over(spread: Array, removed: Array) -> Array:
    """Return a spread over the mean; NaN where nothing was removed, for then nothing is even or uneven."""
    return read_only(np.divide(spread, removed, out=np.full(removed.shape, np.nan), where=removed > 1e-15))


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _smooth(values: Array, span: int = 5) -> Array:
    """Running mean over up to ``span`` wafers back."""
    total = np.concatenate(([0.0], np.cumsum(values)))
    ends = np.arange(1, values.size + 1)
    starts = np.maximum(ends - span, 0)
    return (total[ends] - total[starts]) / (ends - starts)
