"""Slurry flow: how much of it is used, and what less of it does to the rate."""

from __future__ import annotations

from planish.experiments.record import Experiment, Row
from planish.physics.slurry.delivery import captured_flow, carried_flow, exchange_flow
from planish.predict.wafer.polish import polish
from planish.setup.load import loads
from planish.setup.new import new_setup

RATES = {200: 1655.0, 150: 1613.0, 100: 1551.0}  # [ml/min]: [A/min]
REPORTED = (2.0, 22.0)  # [%]


def used() -> tuple[float, float]:
    """Return the least and the most share [%] of slurry used over usual flows, speeds and grooves."""
    shares = []
    for millilitres in (100, 200, 300):
        for speed in (0.6, 1.2, 1.8):
            for depth in (0.2e-3, 0.5e-3):
                flow = millilitres * 1e-6 / 60
                carried = carried_flow(speed, 0.15, 30e-6, depth, 0.25 / 1.5)
                shares.append(100 * float(captured_flow(flow, exchange_flow(carried))) / flow)
    return min(shares), max(shares)


def rows_used() -> list[Row]:
    """Compute the rows."""
    words = ("least share of the slurry used", "most share of the slurry used")
    return [
        Row(word, measured, predicted, "%", "shape")
        for word, measured, predicted in zip(words, REPORTED, used(), strict=True)
    ]


def rows_rate() -> list[Row]:
    """Compute the rows."""
    setup = loads(new_setup("rotary"))
    rates = {}
    for flow in RATES:
        wafer = polish(setup.replace({f"recipe.step.{at}.flow": f"{flow} ml/min" for at in (1, 2, 3)}))
        rates[flow] = wafer.mean(wafer.steps[1].rate)
    return [
        Row(
            f"rate at {flow} ml/min over that at 200",
            100 * RATES[flow] / RATES[200],
            100 * rates[flow] / rates[200],
            "%",
            "shape",
        )
        for flow in (150, 100)
    ]


USE = Experiment(
    name="slurry-use",
    title="Share of the slurry fed that gets between wafer and pad",
    source="Philipossian & Mitchell 2003, Mater. Res. Soc. Symp. Proc., 'Slurry utilization efficiency studies'",
    read="abstract",
    rows=rows_used,
    said="One number, what the bow wave lets pass, was chosen with this range in view; the range over conditions is not.",
)
RATE = Experiment(
    name="flow",
    title="Oxide rate against slurry flow",
    source="Oxide rates at 200, 150 and 100 ml/min, as quoted by others",
    read="at second hand",
    rows=rows_rate,
    said="Less flow slows the polish by some per cent, by the share of fresh slurry.",
)
