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

from planish.measure.sites.read import SiteMap
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
            seen=SimpleNamespace(
                high=share[index], length=(figures["planarization_length_mm"] or np.nan) * 1e-3
            ),
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


def dwell_table(data: xr.Dataset, summary: dict[str, Any]) -> SimpleNamespace:
    """Return what the figure of a dwell table looks at.

    Parameters
    ----------
    data
        The saved dataset.
    summary
        Its figures.
    """
    names = (
        "zone_edges", "zone_dwell", "zone_dwell_unlimited", "pad_radius", "cut_before", "cut_after", "run_place",
    )  # fmt: skip
    return SimpleNamespace(
        **{name: _values(data, name) for name in names},
        run=SimpleNamespace(
            time=_values(data, "run_time"),
            speed=_values(data, "run_speed"),
            acceleration=summary["arm_peak_acceleration_m_per_s2"],
        ),
        top_speed=float(data.attrs["top_speed"]),
        counted=_values(data, "counted") > 0,
        uneven_before=summary["uneven_before_percent"] / 100,
        uneven_after=summary["uneven_after_percent"] / 100,
        rig=SimpleNamespace(polisher=SimpleNamespace(place_word=data.attrs["place_word"])),
    )


def dummy_fill(data: xr.Dataset, summary: dict[str, Any]) -> SimpleNamespace:
    """Return what the figure of a proposed fill looks at.

    Parameters
    ----------
    data
        The saved dataset.
    summary
        Its figures.
    """
    x, y = (float(at) for at in data.attrs["origin"])
    return SimpleNamespace(
        fill=_values(data, "fill"),
        density=_values(data, "density"),
        effective_before=_values(data, "effective_density_before"),
        effective_after=_values(data, "effective_density_after"),
        cell=float(data.attrs["cell"]),
        origin=(x, y),
        added=summary["fill_added_percent"] / 100,
        before=summary["effective_density_range_before_percent"] / 100,
        after=summary["effective_density_range_after_percent"] / 100,
    )


def _sites(data: xr.Dataset) -> SiteMap:
    """Return the removal at the sites of one wafer."""
    radius = data.attrs.get("wafer_radius")
    return SiteMap(
        _values(data, "site_x"),
        _values(data, "site_y"),
        _values(data, "site_value"),
        _names(data, "site_name"),
        "removal",
        "m",
        str(data.attrs["source"]),
        wafer_radius=None if radius is None else float(radius),
    )


def measured_wafer(data: xr.Dataset, _summary: dict[str, Any]) -> SimpleNamespace:
    """Return what the figure of a measured wafer looks at.

    Parameters
    ----------
    data
        The saved dataset.
    _summary
        Its figures; this picture needs none.
    """
    return SimpleNamespace(removal=_sites(data))


def against(data: xr.Dataset, _summary: dict[str, Any]) -> SimpleNamespace:
    """Return what the figure of a wafer measured and predicted looks at.

    Parameters
    ----------
    data
        The saved dataset.
    _summary
        Its figures; this picture needs none.
    """
    return SimpleNamespace(
        wafer=SimpleNamespace(radius=_values(data, "radius"), removed=_values(data, "predicted")),
        paired=SimpleNamespace(removal=_sites(data)),
    )


def removal_fit(data: xr.Dataset, summary: dict[str, Any]) -> SimpleNamespace:
    """Return what the figure of a fitted removal looks at.

    Parameters
    ----------
    data
        The saved dataset.
    summary
        Its figures.
    """
    residual = None
    if "residual_r" in data.variables:
        names = ("r", "value", "lower", "upper")
        residual = SimpleNamespace(**{name: _values(data, f"residual_{name}") for name in names})
    return SimpleNamespace(
        **{name: _values(data, name) for name in ("r", "measured", "fitted")},
        residual=residual,
        k_p=_or_nan(summary["k_p_per_Pa"]),
        k_p_error=_or_nan(summary["k_p_error_per_Pa"]),
    )


def _or_nan(value: float | None) -> float:
    return float("nan") if value is None else value


def planarization_fit(data: xr.Dataset, summary: dict[str, Any]) -> SimpleNamespace:
    """Return what the figure of a fitted planarization length looks at.

    Parameters
    ----------
    data
        The saved dataset.
    summary
        Its figures.
    """
    ends = {"low": "low_", "value": "", "high": "high_"}
    return SimpleNamespace(
        density=_values(data, "effective_density"),
        up_loss=_values(data, "fitted_up_loss"),
        step_left=_values(data, "fitted_step_left"),
        length=SimpleNamespace(
            **{end: summary[f"planarization_length_{word}mm"] * 1e-3 for end, word in ends.items()}
        ),
        measured=SimpleNamespace(
            time=_values(data, "time"),
            up_loss=_values(data, "measured_up_loss"),
            step_left=_values(data, "measured_step_left"),
        ),
    )


def rate_law(data: xr.Dataset, summary: dict[str, Any]) -> SimpleNamespace:
    """Return what the figure of a rate law looks at.

    Parameters
    ----------
    data
        The saved dataset.
    summary
        Its figures.
    """
    names = np.array(_names(data, "regime"))
    told = "predicted_"
    models = [str(name).removeprefix(told) for name in data.variables if str(name).startswith(told)]
    regimes = []
    for figures in summary["regimes"]:
        rows = names == figures["name"]
        regimes.append(
            SimpleNamespace(
                name=figures["name"],
                measured=_values(data, "measured")[rows],
                training=_values(data, "training")[rows] > 0,
                predicted={model: _values(data, told + model)[rows] for model in models},
                rmse=figures["rmse_left_out"],
            )
        )
    return SimpleNamespace(regimes=tuple(regimes))


def rates_fit(data: xr.Dataset, summary: dict[str, Any]) -> SimpleNamespace:
    """Return what the figure of a fit to traces looks at: its law.

    Parameters
    ----------
    data
        The saved dataset.
    summary
        Its figures.
    """
    return SimpleNamespace(law=rate_law(data, summary))
