"""Twice the pressure: nearly, but not quite, twice the rate."""

import planish

setup = planish.load("examples/rotary.toml")
rates = {}
for psi in (1.5, 3.0, 6.0):
    changed = setup.replace(
        {
            "recipe.step.main.zone_pressures": f"{psi} psi",
            "recipe.step.main.ring_pressure": f"{1.4 * psi} psi",
        }
    )
    wafer = planish.polish(changed)
    rates[psi] = wafer.tables()["steps"]["removal_rate_nm_per_min"][1]
    print(f"{psi} psi: {rates[psi]:.0f} nm/min in the main step")
assert 1.5 < rates[6.0] / rates[3.0] < 2.5

picture = wafer.plot()
