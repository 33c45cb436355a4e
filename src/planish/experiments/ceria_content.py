"""Quartz glass and oxide against ceria content: rates that bend with pressure, and that stop growing."""

from __future__ import annotations

from planish.experiments.record import Experiment, Row, scenario
from planish.physics.removal.factors import saturating_factor
from planish.predict.wafer.polish import polish

LINEAR_TO, BENT_AT = 20.0, 31.4  # [kPa]
BELOW_LINE = 75.0  # [% of the line] with 5 % of ceria
SATURATED = (2.5, 5.0)  # [% by weight]: calcined ceria does no more beyond the first


def over_line(content: str) -> float:
    """Return the rate at the higher pressure over the line through 0 and the lower one [%]."""
    setup = scenario()
    rates = []
    for pressure in (LINEAR_TO, BENT_AT):
        wafer = polish(
            setup.replace(
                {
                    "slurry.abrasive_fraction": content,
                    "recipe.step.2.zone_pressures": f"{pressure:g} kPa",
                    "recipe.step.2.ring_pressure": f"{1.2 * pressure:g} kPa",
                }
            )
        )
        rates.append(wafer.mean(wafer.steps[1].rate))
    return 100 * rates[1] / rates[0] * LINEAR_TO / BENT_AT


def rows() -> list[Row]:
    """Compute the rows."""
    low, high = SATURATED
    half = 100 * scenario().rig.slurry.half_content
    return [
        Row("rate at 31.4 kPa over the line from 20 kPa, 5 % of grains", BELOW_LINE, over_line("5 %"), "%", "shape"),
        Row("the same, 1 % of grains", 100.0, over_line("1 %"), "%", "shape"),
        Row("rate at 5 % of calcined ceria over that at 2.5 %", 100.0,
            100 * float(saturating_factor(high, low, half)), "%", "shape"),
    ]  # fmt: skip


EXPERIMENT = Experiment(
    name="ceria-content",
    title="Rates with ceria against pressure and content",
    source="Wakamatsu et al. (ceria on quartz glass)",
    read="full text",
    rows=rows,
    said=(
        "planish cannot follow: content and pressure act apart here (a factor each), so a rate that falls behind its line at a "
        "high pressure, and only where there are many grains, does not come out. Nor does a rate that stops growing at once: "
        "sites that fill leave half as much again between 2.5 and 5 % with the content of half effect that the setup has "
        "(5 %); a smaller one, which belongs to the slurry, makes it less."
    ),
)
