"""What deserves a second look in a setup, before a wafer is spent."""

import planish

setup = planish.load("examples/rotary.toml").replace({"recipe.step.main.zone_pressures": "30 psi"})
for finding in planish.check(setup):
    print(finding)

picture = planish.polish(setup).plot()
