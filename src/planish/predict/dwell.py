"""Dwell times of the conditioning disk that wear the pad evenly, for the machine of a setup."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import counted, figure
from planish.errors import SetupError
from planish.physics.motion import sweep
from planish.physics.surface import conditioning, dwell, grit
from planish.predict.lot.pad import cut_matrix, cut_rates
from planish.predict.lot.pad_rings import pad_rings
from planish.predict.wafer.contact_model import prepare
from planish.results.plain import unique
from planish.results.result import Result
from planish.setup.given import as_rig

if TYPE_CHECKING:
    from collections.abc import Callable

    import xarray as xr

    from planish.results.plain import Columns
    from planish.setup.changes import Changes
    from planish.setup.given import SetupLike
    from planish.setup.si import Rig

Array = NDArray[np.float64]
MOST_ZONES = 40


@dataclass(frozen=True, slots=True, repr=False)
class SweepDesign(Result):
    """A dwell table and the pad wear it gives.

    ``zone_edges`` (zones+1,) [m] and ``zone_dwell`` (zones,) shares of time; ``pad_radius`` (n,) [m] with
    ``cut_before`` of the setup's own sweep and ``cut_after`` [m/s]; ``counted`` (n,) the rings that the
    wafer passes; ``uneven_before`` and ``uneven_after``: relative standard deviation of the cut there.
    """

    kind: ClassVar[str] = "dwell table"

    rig: Rig
    zone_edges: Array
    zone_dwell: Array
    pad_radius: Array
    cut_before: Array
    cut_after: Array
    counted: NDArray[np.bool_]
    uneven_before: float
    uneven_after: float

    def _told(self) -> str:
        return (
            f"dwell table of {counted(len(self.zone_dwell), 'zone')} from {1e3 * self.zone_edges[0]:.4g} to "
            f"{1e3 * self.zone_edges[-1]:.4g} mm: pad cut uneven by {figure(100 * self.uneven_after, '%', 3)} (1σ), "
            f"{figure(100 * self.uneven_before, '%', 3)} before"
        )

    @property
    def notes(self) -> tuple[str, ...]:
        """Whether the sweep that the setup has is the better one."""
        if self.better:
            return ()
        return (
            f"no table of {len(self.zone_dwell)} zones with these limits wears the pad more evenly than the sweep "
            "in the setup: keep it, or allow more zones or shorter stays",
        )

    @property
    def better(self) -> bool:
        """Whether the table wears the pad more evenly than the setup's own sweep."""
        return self.uneven_after < self.uneven_before

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return unique([*conditioning.SOURCES, *grit.SOURCES, *sweep.SOURCES, *dwell.SOURCES])

    def tables(self) -> dict[str, Columns]:
        """Return ``zones``: a row a zone, from where to where on the pad, and its share of the time."""
        edges = (1e3 * self.zone_edges).tolist()
        return {
            "zones": {
                "from_mm": edges[:-1],
                "to_mm": edges[1:],
                "dwell_percent": (100 * self.zone_dwell).tolist(),
            }
        }

    def _content(self) -> dict[str, Any]:
        """Return the table and its figures."""
        return {
            "zone_edges_mm": (1e3 * self.zone_edges).tolist(),
            "zone_dwell": self.zone_dwell.tolist(),
            "changes": self.changes,
            "uneven_before_percent": 100 * self.uneven_before,
            "uneven_after_percent": 100 * self.uneven_after,
            "mean_cut_before_um_per_h": 3.6e9 * float(self.cut_before[self.counted].mean()),
            "mean_cut_after_um_per_h": 3.6e9 * float(self.cut_after[self.counted].mean()),
        }

    def dataset(self) -> xr.Dataset:
        """Return the figures, the zones, and the cut over the pad before and after, in SI."""
        over = {
            "pad_radius": (self.pad_radius, "m", "place on the pad"),
            "cut_before": (self.cut_before, "m/s", "pad cut with the sweep as it was"),
            "cut_after": (self.cut_after, "m/s", "pad cut with the table"),
            "counted": (self.counted.astype(np.int8), "1", "whether the wafer passes"),
        }
        return (
            Result.dataset(self)
            .assign(
                {
                    "zone_edges": ("edge", self.zone_edges, {"units": "m", "long_name": "ends of the zones"}),
                    "zone_dwell": ("zone", self.zone_dwell, {"units": "1", "long_name": "share of the time"}),
                    **{
                        name: ("ring", values, {"units": unit, "long_name": words})
                        for name, (values, unit, words) in over.items()
                    },
                }
            )
            .assign_attrs(place_word=self.rig.polisher.place_word)
        )

    @property
    def changes(self) -> Changes:
        """The changes that put the table into a setup (for ``Setup.replace``); none where it is no better."""
        if not self.better:
            return {}
        return {
            "conditioner.sweep.zone_edges": [f"{edge * 1e3:.6g} mm" for edge in self.zone_edges],
            "conditioner.sweep.zone_dwell": [round(float(share), 6) for share in self.zone_dwell],
        }


def design_sweep(
    setup: SetupLike, zones: int = 10, *, least: float = 0.0, wanted: Callable[[Array], Array] | None = None
) -> SweepDesign:
    """Find the dwell table that makes pad wear under the wafer's track as even as can be.

    Parameters
    ----------
    setup
        A loaded setup, its SI records, or the path of a setup file; the sweep keeps its inner and outer end.
    zones
        Equal zones between those ends.
    least
        Least share of time in any zone (how fast the arm can pass).
    wanted
        Wanted relative cut as a function of pad radius [m]; even unless given.

    Raises
    ------
    SetupError
        Without a conditioner, or for zones out of 2 to 40.
    ModelError
        Where the disk does not reach the track, or the bounds cannot be kept.
    """
    rig = as_rig(setup)
    disk = rig.conditioner
    if disk is None or disk.downforce <= 0:
        raise SetupError("conditioner: none that presses in this setup: must have one to design its sweep")
    if not 2 <= zones <= MOST_ZONES:
        raise SetupError(f"zones = {zones}: must be 2 to {MOST_ZONES}")
    model = prepare(rig)
    rings = pad_rings(rig, model.grid)
    step = max(rig.steps, key=lambda each: each.stop_value if each.stop == "time" else each.max_time)
    edges = np.linspace(disk.sweep.inner, disk.sweep.outer, zones + 1)
    # where a sweep by such a table is taken to be, so that a setup with the table wears as is said here
    positions, _ = sweep.dwell_shares(
        disk.sweep.kind,
        disk.sweep.inner,
        disk.sweep.outer,
        pivot_distance=disk.sweep.pivot_distance,
        arm_length=disk.sweep.arm_length,
        zone_edges=edges,
        zone_dwell=np.ones(zones),
    )
    matrix = cut_matrix(rig, rings, step, positions)
    by_zone = dwell.zone_cut(matrix, zones)
    track = model.grid.areas @ rings.to_wafer
    reached = by_zone.sum(axis=1) > 0
    weights = np.where(reached, track, 0.0)
    target = np.ones_like(track) if wanted is None else np.asarray(wanted(rings.middles))
    found = dwell.design_dwell(target, by_zone, weights=weights, least=least)
    before = cut_rates(rig, rings, step)
    counted = weights > 0
    return SweepDesign(
        rig=rig,
        zone_edges=edges,
        zone_dwell=found.zone_dwell,
        pad_radius=rings.middles,
        cut_before=before,
        cut_after=found.cut_rate,
        counted=counted,
        uneven_before=_uneven(before / target, weights),
        uneven_after=_uneven(found.cut_rate / target, weights),
    )


def _uneven(cut: Array, weights: Array) -> float:
    mean = float(np.average(cut, weights=weights))
    return float(np.sqrt(np.average((cut - mean) ** 2, weights=weights)) / mean) if mean > 0 else np.inf
