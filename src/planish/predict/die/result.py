"""What is known after polishing a die: maps at each place, figures of merit, hot spots, budget."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record, counted, figure
from planish.physics.pattern.topography import surface_after
from planish.predict.die.cells import Effective
from planish.predict.die.conditions import LocalConditions
from planish.predict.die.hot_spots import HotSpot
from planish.predict.die.level import Level
from planish.predict.die.model import DieFields
from planish.predict.die.window import PolishWindow
from planish.results.result import Result
from planish.units import PSI

if TYPE_CHECKING:
    import xarray as xr

    from planish.results.asked import Asked

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, repr=False, eq=False)
class Die(Record):
    """One die at one place."""

    local: LocalConditions
    seen: Effective
    fields: DieFields
    window: PolishWindow
    hot: tuple[HotSpot, ...]
    incoming: Array | None = None  # topography from below, where it differs from place to place

    def _told(self) -> str:
        return (
            f"{self.local.place} ({figure(1e3 * self.local.radius, 'mm')} out), range "
            f"{figure(1e9 * self.thickness_range, 'nm')}, topography {figure(1e9 * self.topography, 'nm')}, "
            f"length {figure(1e3 * self.seen.length, 'mm')}, {counted(len(self.hot), 'hot spot')}"
        )

    @property
    def thickness_range(self) -> float:
        """Range [m] of the high areas' surface over the die (film thickness left, if the film was even)."""
        high = self.fields.level_high
        return float("nan") if np.all(np.isnan(high)) else float(np.nanmax(high) - np.nanmin(high))

    @property
    def thickness_sigma(self) -> float:
        """Standard deviation [m] of the same."""
        high = self.fields.level_high
        return float("nan") if np.all(np.isnan(high)) else float(np.nanstd(high))

    @property
    def topography(self) -> float:
        """Highest minus lowest surface [m], high and low areas together: what the next exposure meets."""
        tops = [v for v in (self.fields.level_high, self.fields.level_low) if not np.all(np.isnan(v))]
        return float(max(np.nanmax(v) for v in tops) - min(np.nanmin(v) for v in tops))

    @property
    def clear_time(self) -> float:
        """Time [s] at which the last cell is clear, infinite if the recipe ends before; 0 if none had to clear."""
        clear = self.fields.clear
        return 0.0 if np.all(np.isnan(clear)) else float(np.nanmax(clear))

    @property
    def counted(self) -> float:
        """Share of the cells that the clear time counts."""
        return float(np.mean(~np.isnan(self.fields.clear)))


@dataclass(frozen=True, repr=False, eq=False)
class DieResult(Result):
    """A die polished at one or more places of the wafer. Lengths [m], times [s]."""

    kind: ClassVar[str] = "die"

    process: str
    level: Level
    cell: float
    origin: tuple[float, float]
    density: Array  # layout density (ny, nx)
    high: Array  # share of each cell that is high (ny, nx)
    incoming: Array  # (ny, nx) [m]
    dies: tuple[Die, ...]
    focus: float  # depth of focus of the next exposure [m]
    said: tuple[str, ...]  # what was assumed, and what the dies say
    rests_on: tuple[str, ...]
    route: str = "density"  # or "contact"
    asked: Asked | None = None

    def _told(self) -> str:
        ny, nx = self.density.shape
        worst = self.worst
        return (
            f"{self.process}, {nx} x {ny} cells of {figure(1e6 * self.cell, 'um')}, at {', '.join(self.places[:6])}: "
            f"within-die range {figure(1e9 * worst.thickness_range, 'nm')} at worst ({worst.local.place}), "
            f"topography {figure(1e9 * worst.topography, 'nm')} of {figure(1e9 * self.focus, 'nm')} depth of focus"
        )

    @property
    def places(self) -> list[str]:
        """Names of the places, in order."""
        return [die.local.place for die in self.dies]

    @property
    def worst(self) -> Die:
        """The die with the widest thickness range."""
        return max(self.dies, key=lambda die: die.thickness_range)

    def surface(self, place: int = 0) -> Array:
        """Mean surface height of each cell about the die's mean [m]: what the next level lies on."""
        fields, incoming = self.dies[place].fields, self.came_in(place)
        loss = incoming - np.where(np.isnan(fields.level_high), fields.level_low, fields.level_high)
        drop = np.nan_to_num(fields.level_high - fields.level_low, nan=0.0)
        return surface_after(incoming, loss, drop, self.high)

    def came_in(self, place: int = 0) -> Array:
        """Incoming topography of a place [m]."""
        own = self.dies[place].incoming
        return self.incoming if own is None else own

    def _content(self) -> dict[str, Any]:
        """Return the figures of merit of the worst place, and those of every place under ``places``."""
        worst = self.worst
        own = self._figures(worst)
        spots = [
            {
                "place": s.place,
                "what": s.what,
                "x_mm": s.x * 1e3,
                "y_mm": s.y * 1e3,
                "value_nm": s.value * 1e9,
            }
            for die in self.dies
            for s in die.hot
        ]
        return {
            "process": self.process,
            "route": self.route,
            **own,
            "worst_place": worst.local.place,
            "depth_of_focus_nm": self.focus * 1e9,
            "focus_used_percent": 100 * worst.topography / self.focus,
            "places": [{"place": die.local.place, **self._figures(die)} for die in self.dies],
            "hot_spots": spots,
        }

    def _figures(self, die: Die) -> dict[str, Any]:
        named = {
            f"{name}_{side}_nm": float(pick(values)) * 1e9
            for name, values in die.fields.named.items()
            if not np.all(np.isnan(values))
            for side, pick in (("min", np.nanmin), ("max", np.nanmax), ("mean", np.nanmean))
        }
        clear, window = die.clear_time, die.window
        return {
            "within_die_range_nm": die.thickness_range * 1e9,
            "within_die_sigma_nm": die.thickness_sigma * 1e9,
            "topography_nm": die.topography * 1e9,
            "planarization_length_mm": _known(die.seen.length * 1e3),
            "own_density_share_percent": _known(100 * die.seen.local_share),
            "lowest_effective_share_percent": 100 * float(die.seen.high.min()),
            "highest_effective_share_percent": 100 * float(die.seen.high.max()),
            "clear_time_s": clear if np.isfinite(clear) else None,
            "cells_counted_in_clear_time_percent": 100 * die.counted,
            "polish_time_s": die.local.duration,
            "window_earliest_s": window.earliest if np.isfinite(window.earliest) else None,
            "window_latest_s": window.latest if np.isfinite(window.latest) else None,
            "window_set_by": window.set_by or None,
            "radius_mm": die.local.radius * 1e3,
            "pressure_psi": die.local.pressure / PSI,
            **named,
        }

    @property
    def notes(self) -> tuple[str, ...]:
        """What was assumed, and what the dies say."""
        return self.said

    def sources(self) -> list[str]:
        """Return the sources that the result rests on, one line each."""
        return list(self.rests_on)

    def dataset(self) -> xr.Dataset:
        """Return all maps over (place, y, x) with units in ``attrs``."""
        import xarray as xr

        ny, nx = self.density.shape
        x = self.origin[0] + (np.arange(nx) + 0.5) * self.cell
        y = self.origin[1] + (np.arange(ny) + 0.5) * self.cell
        over = ("place", "y", "x")

        def stacked(maps: list[Array], unit: str, name: str) -> tuple[Any, ...]:
            return over, np.stack(maps), {"units": unit, "long_name": name}

        fields = {
            "surface": stacked([self.surface(i) for i in range(len(self.dies))], "m", "mean surface height"),
            "effective_density": stacked(
                [d.seen.high for d in self.dies], "1", "effective share of high area"
            ),
            "clear_time": stacked([d.fields.clear for d in self.dies], "s", "time to clear"),
            "level_high": stacked([d.fields.level_high for d in self.dies], "m", "surface of the high areas"),
            "level_low": stacked([d.fields.level_low for d in self.dies], "m", "surface of the low areas"),
        }
        for merit in self.level.merits:
            values = [d.fields.named[merit.name] for d in self.dies]
            fields[merit.name] = stacked(values, "m", merit.words)
        return xr.Dataset(
            {
                **fields,
                "density": (("y", "x"), self.density, {"units": "1", "long_name": "layout density"}),
                "incoming": stacked(
                    [self.came_in(i) for i in range(len(self.dies))], "m", "incoming topography"
                ),
            },
            coords={
                "place": self.places,
                "radius": (
                    "place",
                    [d.local.radius for d in self.dies],
                    {"units": "m", "long_name": "distance from the wafer's centre"},
                ),
                "x": ("x", x, {"units": "m", "long_name": "middle of the cell"}),
                "y": ("y", y, {"units": "m", "long_name": "middle of the cell"}),
            },
            attrs={
                "process": self.process,
                "route": self.route,
                "cell": self.cell,
                "origin": list(self.origin),
            },
        )


def _known(value: float) -> float | None:
    return value if np.isfinite(value) else None
