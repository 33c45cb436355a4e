"""A saved result as its picture is drawn: what the drawing functions look at, out of its dataset and figures.

They are written for fresh results. Each record here has the few attributes of one that its drawing
function reads, with the same numbers, so that the picture is the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planish.predict.die.fields_result import PLAIN

if TYPE_CHECKING:
    import xarray as xr

Array = NDArray[np.float64]


def _values(data: xr.Dataset, name: str) -> Array:
    """Return a variable's numbers; KeyError with its name where there is none."""
    if name not in data.variables:
        raise KeyError(name)
    return np.asarray(data[name].values)


def _names(data: xr.Dataset, name: str) -> tuple[str, ...]:
    return tuple(item.decode() if isinstance(item, bytes) else str(item) for item in _values(data, name))


def wafer(data: xr.Dataset, _summary: dict[str, Any]) -> SimpleNamespace:
    """Return what the figure of one wafer looks at.

    Parameters
    ----------
    data
        The saved dataset.
    _summary
        Its figures; this picture needs none.
    """
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
        rig=SimpleNamespace(
            wafer=SimpleNamespace(
                radius=float(data.attrs["wafer_radius"]), edge_exclusion=float(data.attrs["edge_exclusion"])
            )
        ),
    )


def lot(data: xr.Dataset, summary: dict[str, Any]) -> SimpleNamespace:
    """Return what the figure of a lot looks at.

    Parameters
    ----------
    data
        The saved dataset.
    summary
        Its figures.
    """
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


def die(data: xr.Dataset, summary: dict[str, Any]) -> _Die:
    """Return what the figure of a die looks at.

    Parameters
    ----------
    data
        The saved dataset.
    summary
        Its figures.
    """
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


def fields(data: xr.Dataset, _summary: dict[str, Any]) -> SimpleNamespace:
    """Return what the figure of all fields of a wafer looks at.

    Parameters
    ----------
    data
        The saved dataset.
    _summary
        Its figures; this picture needs none.
    """
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
