"""A saved result as its picture is drawn: what the drawing functions look at, out of the file.

They are written for fresh results. Each record here has the few attributes of one that its drawing
function reads, with the same numbers, so that the picture is the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError

if TYPE_CHECKING:
    from collections.abc import Callable

    import xarray as xr

Array = NDArray[np.float64]


def drawable(kind: str, data: xr.Dataset, summary: dict[str, Any]) -> tuple[str, object]:
    """Return the drawing function ("module:function") of a kind of result, and what it draws.

    Raises
    ------
    DataError
        For a kind that has no picture, or a file that lacks what it needs.
    """
    from planish.predict.die.fields_result import FieldsResult
    from planish.predict.die.result import DieResult
    from planish.predict.lot.result import LotResult
    from planish.predict.wafer.result import WaferResult

    known: dict[str, tuple[str, Callable[[xr.Dataset, dict[str, Any]], object]]] = {
        WaferResult.kind: (WaferResult.drawer, _wafer),
        LotResult.kind: (LotResult.drawer, _lot),
        DieResult.kind: (DieResult.drawer, _die),
        FieldsResult.kind: (FieldsResult.drawer, _fields),
    }
    if kind not in known:
        raise DataError(f"saved result of kind = {kind!r}: must be one of {', '.join(known)} to be drawn")
    drawer, made = known[kind]
    try:
        return drawer, made(data, summary)
    except KeyError as missing:
        raise DataError(
            f"the saved {kind} cannot be drawn: the file holds no {missing.args[0]!r} (predict it again and save that)"
        ) from None


def _values(data: xr.Dataset, name: str) -> Array:
    """Return a variable's numbers; KeyError with its name where there is none."""
    if name not in data.variables:
        raise KeyError(name)
    return np.asarray(data[name].values)


def _names(data: xr.Dataset, name: str) -> tuple[str, ...]:
    return tuple(item.decode() if isinstance(item, bytes) else str(item) for item in _values(data, name))


def _wafer(data: xr.Dataset, _summary: dict[str, Any]) -> SimpleNamespace:
    profiles = {what: _values(data, what) for what in ("pressure", "speed", "rate")}
    return SimpleNamespace(
        radius=_values(data, "radius"),
        removed=_values(data, "removed"),
        remaining=_values(data, "remaining"),
        films=_names(data, "film"),
        steps=tuple(
            SimpleNamespace(name=name, **{what: rows[index] for what, rows in profiles.items()})
            for index, name in enumerate(_names(data, "step"))
        ),
        bench=SimpleNamespace(
            wafer=SimpleNamespace(
                radius=float(data.attrs["wafer_radius"]), edge_exclusion=float(data.attrs["edge_exclusion"])
            )
        ),
    )


def _lot(data: xr.Dataset, summary: dict[str, Any]) -> SimpleNamespace:
    columns = {
        "rate": "rate",
        "expected_rate": "expected_rate",
        "temperature": "temperature",
        "peak_temperature": "peak_temperature",
        "groove_min": "groove_depth_min",
        "groove_mean": "groove_depth_mean",
    }
    end = summary["end_of_life_wafer"], summary["end_of_life_cause"]
    return SimpleNamespace(
        wafers=int(_values(data, "wafer").size),
        records=SimpleNamespace(**{name: _values(data, kept) for name, kept in columns.items()}),
        wiwnu_sigma=_values(data, "wiwnu_sigma"),
        wiwnu_range=_values(data, "wiwnu_range"),
        events=tuple(SimpleNamespace(wafer=int(at)) for at in np.atleast_1d(data.attrs["event_wafers"])),
        end_of_life=lambda: end,
    )


@dataclass(frozen=True, slots=True)
class _Die:
    """A die with its maps, place by place."""

    density: Array
    surfaces: Array
    incoming: Array
    cell: float
    origin: tuple[float, float]
    dies: tuple[SimpleNamespace, ...]

    @property
    def worst(self) -> SimpleNamespace:
        return max(self.dies, key=lambda die: float(die.thickness_range))

    def surface(self, place: int = 0) -> Array:
        return np.asarray(self.surfaces[place])

    def came_in(self, place: int = 0) -> Array:
        return np.asarray(self.incoming[place])


def _die(data: xr.Dataset, summary: dict[str, Any]) -> _Die:
    share = _values(data, "effective_density")
    spots = summary["hot_spots"]
    dies = tuple(
        SimpleNamespace(
            thickness_range=figures["within_die_range_nm"],
            seen=SimpleNamespace(high=share[index], length=figures["planarization_length_mm"] * 1e-3),
            hot=tuple(
                SimpleNamespace(x=spot["x_mm"] * 1e-3, y=spot["y_mm"] * 1e-3)
                for spot in spots
                if spot["place"] == figures["place"]
            ),
        )
        for index, figures in enumerate(summary["places"])
    )
    x, y = (float(at) for at in data.attrs["origin"])
    return _Die(
        density=_values(data, "density"),
        surfaces=_values(data, "surface"),
        incoming=_values(data, "incoming"),
        cell=float(data.attrs["cell"]),
        origin=(x, y),
        dies=dies,
    )


def _fields(data: xr.Dataset, _summary: dict[str, Any]) -> SimpleNamespace:
    from planish.predict.die.fields_result import PLAIN
    from planish.predict.die.levels import default_level

    values = {name: _values(data, name) for name in PLAIN}
    merits = default_level(str(data.attrs["process"])).merits
    for merit in merits:
        side = "min" if merit.worse_low else "max"
        if f"{merit.name}_{side}" in data.variables:
            values[merit.name] = _values(data, f"{merit.name}_{side}")
    return SimpleNamespace(
        x=_values(data, "x"),
        y=_values(data, "y"),
        size=(float(data.attrs["field_width"]), float(data.attrs["field_height"])),
        wafer_radius=float(data.attrs["wafer_radius"]),
        merits=merits,
        values=lambda: values,
    )
