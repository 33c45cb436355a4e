"""What is known after polishing every field of a wafer: one set of figures a field, on the wafer."""

from __future__ import annotations

from dataclasses import dataclass
from operator import attrgetter
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record, counted, figure
from planish.predict.die.level import Merit
from planish.results.result import Result
from planish.units import PSI

if TYPE_CHECKING:
    import xarray as xr

    from planish.results.asked import Asked

Array = NDArray[np.float64]
PLAIN = ("within_die_range", "within_die_sigma", "topography", "clear_time")  # that any process has
_NOTHING = (np.nan, np.nan, np.nan)


@dataclass(frozen=True, slots=True, repr=False)
class Field(Record):
    """One field: its centre on the wafer [m] and what came of it [m], [s], [Pa].

    ``clear_time`` may lie beyond the recipe, or be infinite; it is 0 if nothing had to clear; ``named`` holds the
    process's own figures (dishing, erosion, ...) as (least, mean, most).
    """

    x: float
    y: float
    pressure: float
    thickness_range: float
    thickness_sigma: float
    topography: float
    clear_time: float
    planarization_length: float
    named: dict[str, tuple[float, float, float]]

    def _told(self) -> str:
        return (
            f"at ({1e3 * self.x:.4g}, {1e3 * self.y:.4g}) mm, range {figure(1e9 * self.thickness_range, 'nm')}, "
            f"length {figure(1e3 * self.planarization_length, 'mm')}, clear at {figure(self.clear_time, 's')}"
        )

    @property
    def radius(self) -> float:
        """Distance of its centre from the wafer's [m]."""
        return float(np.hypot(self.x, self.y))

    def worst(self, merit: Merit) -> float:
        """Return the worst value of one of the named figures [m], NaN where the field has none."""
        least, _, most = self.named.get(merit.name, _NOTHING)
        return least if merit.worse_low else most


_PLAIN_VALUES = (
    attrgetter("thickness_range"),
    attrgetter("thickness_sigma"),
    attrgetter("topography"),
    attrgetter("clear_time"),
)


@dataclass(frozen=True, repr=False, eq=False)
class FieldsResult(Result):
    """All fields of a wafer. Lengths [m], times [s]."""

    kind: ClassVar[str] = "fields"

    process: str
    route: str
    size: tuple[float, float]
    wafer_radius: float
    duration: float
    merits: tuple[Merit, ...]
    fields: tuple[Field, ...]
    said: tuple[str, ...]  # what was assumed, and what the wafer says
    rests_on: tuple[str, ...]
    asked: Asked | None = None

    def _told(self) -> str:
        ranges = [one.thickness_range for one in self.fields]
        return (
            f"{self.process}, {counted(len(ranges), 'field')} of {figure(1e3 * self.size[0], 'mm')} x "
            f"{figure(1e3 * self.size[1], 'mm')}: within-die range {figure(1e9 * min(ranges), 'nm')} to "
            f"{figure(1e9 * max(ranges), 'nm')}"
        )

    @property
    def x(self) -> Array:
        """Where the fields' centres are [m]."""
        return np.array([one.x for one in self.fields])

    @property
    def y(self) -> Array:
        """Where the fields' centres are [m]."""
        return np.array([one.y for one in self.fields])

    @property
    def told(self) -> list[Merit]:
        """The process's own figures that at least one field has, in order."""
        return [merit for merit in self.merits if any(merit.name in one.named for one in self.fields)]

    def values(self) -> dict[str, Array]:
        """Return the worst value of each figure in every field, NaN where a field has none, SI."""
        plain = {
            name: [value(f) for f in self.fields] for name, value in zip(PLAIN, _PLAIN_VALUES, strict=True)
        }
        named = {merit.name: [f.worst(merit) for f in self.fields] for merit in self.told}
        return {name: np.array(values, dtype=np.float64) for name, values in (plain | named).items()}

    @property
    def notes(self) -> tuple[str, ...]:
        """What was assumed, and how many fields are not clear in the end."""
        return (*self.said, *self._unclear(self.values()["clear_time"]))

    def _content(self) -> dict[str, Any]:
        """Return how the figures spread over the fields, and those of every field under ``fields``."""
        found = self.values()
        clear = found.pop("clear_time")
        spread: dict[str, Any] = {}
        for name, values in found.items():
            known = values[~np.isnan(values)]
            for side, pick in (("least", np.min), ("mean", np.mean), ("most", np.max)):
                spread[f"{name}_{side}_nm"] = float(pick(known)) * 1e9
        cleared = clear[np.isfinite(clear)]
        where = int(np.argmax(found["within_die_range"]))
        return {
            "process": self.process,
            "route": self.route,
            "fields_polished": len(self.fields),
            "field_width_mm": self.size[0] * 1e3,
            "field_height_mm": self.size[1] * 1e3,
            "polish_time_s": self.duration,
            "fields_not_clear": int(np.sum(clear > self.duration)),
            "first_clear_s": float(cleared.min()) if cleared.size else None,
            "last_clear_s": float(cleared.max()) if cleared.size == clear.size else None,
            "worst_field_x_mm": self.fields[where].x * 1e3,
            "worst_field_y_mm": self.fields[where].y * 1e3,
            **spread,
            "fields": [self._row(one) for one in self.fields],
        }

    def _unclear(self, clear: Array) -> list[str]:
        late = int(np.sum(clear > self.duration))
        return [f"{late} of {clear.size} fields are not clear when the recipe ends"] if late else []

    def _row(self, one: Field) -> dict[str, Any]:
        sides = ("min", "mean", "max")
        return {
            "x_mm": one.x * 1e3,
            "y_mm": one.y * 1e3,
            "radius_mm": one.radius * 1e3,
            "pressure_psi": one.pressure / PSI,
            "within_die_range_nm": one.thickness_range * 1e9,
            "within_die_sigma_nm": one.thickness_sigma * 1e9,
            "topography_nm": one.topography * 1e9,
            "clear_time_s": one.clear_time if np.isfinite(one.clear_time) else None,
            "planarization_length_mm": one.planarization_length * 1e3,
            **{
                f"{name}_{side}_nm": value * 1e9
                for name, three in one.named.items()
                for side, value in zip(sides, three, strict=True)
            },
        }

    def sources(self) -> list[str]:
        """Return the sources that the result rests on, one line each."""
        return list(self.rests_on)

    def dataset(self) -> xr.Dataset:
        """Return the figures over ``field``, with the centres as coordinates and units in ``attrs``."""
        import xarray as xr

        def over(values: list[float], unit: str, name: str) -> tuple[Any, ...]:
            return "field", np.array(values, dtype=np.float64), {"units": unit, "long_name": name}

        rows = self.fields
        plain = {
            "pressure": over([f.pressure for f in rows], "Pa", "mean pressure at the centre"),
            "within_die_range": over([f.thickness_range for f in rows], "m", "range over the field"),
            "within_die_sigma": over([f.thickness_sigma for f in rows], "m", "standard deviation"),
            "topography": over([f.topography for f in rows], "m", "highest minus lowest surface"),
            "clear_time": over([f.clear_time for f in rows], "s", "time to clear"),
            "planarization_length": over([f.planarization_length for f in rows], "m", "planarization length"),
        }
        for merit in self.told:
            for index, side in enumerate(("min", "mean", "max")):
                values = [f.named.get(merit.name, _NOTHING)[index] for f in rows]
                plain[f"{merit.name}_{side}"] = over(values, "m", f"{merit.words}, {side}")
        return xr.Dataset(
            plain,
            coords={
                "x": over([f.x for f in rows], "m", "centre of the field"),
                "y": over([f.y for f in rows], "m", "centre of the field"),
                "radius": over([f.radius for f in rows], "m", "distance from the wafer's centre"),
            },
            attrs={
                "process": self.process,
                "route": self.route,
                "field_width": self.size[0],
                "field_height": self.size[1],
                "wafer_radius": self.wafer_radius,
                "polish_time": self.duration,
            },
        )
