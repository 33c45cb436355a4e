"""A pad flattened before it polishes: its tallest summits flow under a high pressure, and meet the wafer blunter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from planish.experiments.record import Experiment, Row, scenario
from planish.physics.surface import asperities, summit_flow
from planish.units import PSI

Array = NDArray[np.float64]
PRESSURE = 1e6  # [Pa] that flattens; the abstract says high, and no number
POLISH = 3 * PSI
BINS = 4000
USUAL_POWER = 0.5  # of the pressure on summits in the rate


@dataclass(frozen=True)
class Summits:
    """Summits by height [m] and tip radius [m] of each ``share`` of them; density, plane modulus, flow pressure."""

    height: Array
    radius: Array
    share: Array
    density: float
    modulus: float
    flow_pressure: float

    @property
    def depth(self) -> Array:
        """At which each begins to flow [m]."""
        return self.radius * summit_flow.elastic_depth(1.0, self.modulus, self.flow_pressure)

    def under(self, apart: float) -> tuple[float, float]:
        """Return pressure [Pa] and real contact fraction with a flat at ``apart`` [m]."""
        pressed = np.maximum(self.height - apart, 0.0)
        over = np.maximum(pressed - self.depth, 0.0)
        area = np.pi * self.radius * (pressed + over)
        elastic = 4.0 / 3.0 * self.modulus * np.sqrt(self.radius) * pressed**1.5
        load = np.where(over > 0, self.flow_pressure * area, elastic)
        return self.density * float(self.share @ load), self.density * float(self.share @ area)

    def separation(self, pressure: float) -> float:
        """Return where the flat stands [m] under ``pressure`` [Pa]."""
        low, high = self.height.min() - 1e-4, self.height.max()
        return float(brentq(lambda d: self.under(d)[0] - pressure, low, high, xtol=1e-15))

    def roughness(self) -> float:
        """Return the mean deviation of their heights [m]."""
        return float(self.share @ np.abs(self.height - self.share @ self.height))


def new() -> Summits:
    """Return the summits of the invented rotary setup."""
    surface = scenario().rig.pad.surface
    edges = asperities.height_grid(surface.height_sd, surface.tail_length, BINS)
    return Summits(
        height=0.5 * (edges[1:] + edges[:-1]),
        radius=np.full(BINS, surface.tip_radius),
        share=asperities.fresh_heights(edges, surface.height_sd, surface.tail_length),
        density=surface.density,
        modulus=asperities.plane_modulus(surface.modulus, surface.poisson),
        flow_pressure=surface.flow_pressure,
    )


def flattened(pressure: float = PRESSURE) -> Summits:
    """Return them after a flat has pressed on them and gone again.

    What has flowed springs back as a blunter summit that would carry the same load on the same area: of radius
    R sqrt(2 delta/delta_c - 1), and as high over the flat as it is pressed in elastically by it.

    Parameters
    ----------
    pressure
        Of the flat [Pa].
    """
    fresh = new()
    flat = fresh.separation(pressure)
    times = np.sqrt(np.maximum(2.0 * (fresh.height - flat) / fresh.depth - 1.0, 1.0))
    height = np.where(times > 1.0, flat + times * fresh.depth, fresh.height)
    return Summits(
        height, fresh.radius * times, fresh.share, fresh.density, fresh.modulus, fresh.flow_pressure
    )


def real(summits: Summits) -> tuple[float, float]:
    """Return mean real pressure [Pa] and real contact fraction in polishing."""
    pressure, area = summits.under(summits.separation(POLISH))
    return pressure / area, area


def rows() -> list[Row]:
    """Compute the rows."""
    fresh, flat = new(), flattened()
    (pressed, area), (pressed_flat, area_flat) = real(fresh), real(flat)
    return [
        Row(
            "change of the mean roughness (measured: less than 10 %)",
            10.0,
            100 * (1 - flat.roughness() / fresh.roughness()),
            "%",
            "shape",
        ),
        Row(
            f"rate, with the usual power {USUAL_POWER:+g} of the pressure on summits",
            30.0,
            100 * ((pressed_flat / pressed) ** USUAL_POWER - 1),
            "%",
            "shape",
        ),
        Row("rate, were it as the real contact area", 30.0, 100 * (area_flat / area - 1), "%", "shape"),
    ]


EXPERIMENT = Experiment(
    name="flattened-summits",
    title="Roughness and removal rate of a pad whose summits were flattened under a high pressure",
    source="Kim, Saka & Chun 2014, Procedia CIRP, 'The effect of pad-asperity curvature on material removal rate'",
    read="abstract",
    rows=rows,
    said=(
        "As was found, only the tallest summits flow, so that the roughness hardly changes while radius over spread of what "
        "touches, and real contact, grow. The flattening pressure is not in the abstract; 1 MPa was chosen, and 0.3 and 3 MPa give "
        "11 and 49 % more contact. The rate rises only for a slurry that gains from contact area: with the usual power of the "
        "pressure on summits planish has the wrong sign, as for one of the two slurries of worn-summits."
    ),
)
