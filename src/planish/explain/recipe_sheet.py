"""The recipe on one page to print: steps, pressures, speeds, consumables, what to expect, and the cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planish.explain.page import Part, render
from planish.units import PSI, RPM

if TYPE_CHECKING:
    from planish.predict.wafer.result import WaferResult
    from planish.setup.models import Setup
    from planish.setup.si import Step


def recipe_sheet(setup: Setup, result: WaferResult) -> str:
    """Return the sheet as a complete page.

    Parameters
    ----------
    setup
        As loaded.
    result
        The wafer predicted for it.

    Returns
    -------
    str
        HTML.
    """
    rig = setup.rig
    figures = result.summary()
    names = [zone.name for zone in setup.model.head.zone]
    steps = Part("Steps")
    rows: list[list[object]] = []
    rows.append(["ends at", *[_ending(step) for step in rig.steps]])
    drive = rig.polisher.drive
    rows.append(
        [f"{drive.part} [{drive.unit}]", *[drive.shown(getattr(step, drive.key)) for step in rig.steps]]
    )
    rows.append(["carrier [rpm]", *[step.carrier_speed / RPM for step in rig.steps]])
    for index, name in enumerate(names):
        rows.append([f"{name} zone [psi]", *[float(step.zone_pressures[index]) / PSI for step in rig.steps]])
    if rig.head.ring is not None:
        rows.append(["ring [psi]", *[step.ring_pressure / PSI for step in rig.steps]])
    rows.append(["slurry flow [ml/min]", *[step.flow * 6e7 for step in rig.steps]])
    rows.append(["disk down", *["yes" if step.conditioning else "no" for step in rig.steps]])
    steps.table(["setting", *[step.name for step in rig.steps]], rows)
    parts = Part("Machine and consumables")
    used = [
        [section, setup.parts.get(section) or "own values"]
        for section in ("polisher", "head", "pad", "conditioner", "slurry", "wafer")
        if section != "conditioner" or rig.conditioner is not None
    ]
    parts.table(["part", "in use"], used)
    expected = Part("Expected")
    expected.table(
        ["figure", "predicted"],
        [
            ["polish time [s]", figures["time_s"]],
            ["removed, mean [nm]", figures["mean_removed_nm"]],
            ["removal rate, mean [nm/min]", figures["mean_removal_rate_nm_per_min"]],
            ["within-wafer non-uniformity, 1σ [%]", figures["wiwnu_sigma_percent"]],
            ["pad temperature, highest [°C]", figures["peak_temperature_C"]],
        ],
    )
    signing = Part("Checked by").table(
        ["", "name", "date"], [["set up", "", ""], ["checked", "", ""], ["released", "", ""]]
    )
    lead = f"Setup {setup.digest()}; made from “{setup.title}”."
    return render(f"Recipe: {setup.title}", [steps, parts, expected, signing], (), lead=lead)


def _ending(step: Step) -> str:
    stop, value = step.stop, step.stop_value
    if stop == "time":
        return f"{value:.4g} s"
    return f"{value * 1e9:.4g} nm {stop}, at most {step.max_time:.4g} s"
