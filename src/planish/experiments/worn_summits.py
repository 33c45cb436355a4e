"""A pad worn for half an hour: blunter summits of less spread touch over more area."""

from __future__ import annotations

import numpy as np

from planish.experiments.record import Experiment, Row
from planish.physics.surface import asperities
from planish.units import PSI

RADII, DEVIATIONS = (50.2e-6, 122.6e-6), (3.4e-6, 2.9e-6)  # [m], fresh and worn
DENSITY, MODULUS, POISSON = 200e6, 300e6, 0.3  # usual of such a pad; neither changes the ratio by much


def contact(radius: float, deviation: float) -> asperities.Contact:
    """Return the contact of Gaussian summits at 3 psi.

    Parameters
    ----------
    radius, deviation
        Of the tips, and of their heights [m].
    """
    edges = np.linspace(-5 * deviation, 7 * deviation, 2401)
    heights = asperities.fresh_heights(edges, deviation, 1e-3 * deviation)
    summits = {
        "density": DENSITY,
        "tip_radius": radius,
        "modulus": asperities.plane_modulus(MODULUS, POISSON),
    }
    apart = asperities.separation_under(3 * PSI, edges, heights, **summits)
    return asperities.contact(apart, edges, heights, **summits)


def rows() -> list[Row]:
    """Compute the rows."""
    fresh, worn = (contact(radius, sd) for radius, sd in zip(RADII, DEVIATIONS, strict=True))
    area = 100 * (float(worn.area_fraction) / float(fresh.area_fraction) - 1)
    pressed = float(worn.real_pressure) / float(fresh.real_pressure)
    found = [Row("real contact area after 30 min without conditioning", 69.0, area, "% more", "shape")]
    for word, change in (("silica", 0.41), ("ceria", 1.47)):
        power = float(np.log(change) / np.log(pressed))
        found.append(
            Row(
                f"{word}: rate, with the power {power:+.2f} of the pressure on summits",
                100 * (change - 1),
                100 * (pressed**power - 1),
                "%",
                "fitted",
            )
        )
    return found


EXPERIMENT = Experiment(
    name="worn-summits",
    title="Summits, contact area and oxide rates with silica and ceria before and after 30 min without conditioning",
    source="Jeon et al., pad asperities and oxide rates",
    read="full text",
    rows=rows,
    said=(
        "The growth of contact area comes out of the measured summits. Whether a slurry gains or loses with it is the sign of one "
        "power, one number for each slurry: silica loses by 59 %, ceria gains 47 %, so the fit meets them by construction."
    ),
)
