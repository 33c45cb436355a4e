"""One zone of the head pressed harder: where the wafer loses more."""

import planish

setup = planish.load("examples/rotary.toml")
even = planish.polish(setup)
middle = planish.polish(
    setup.replace({"recipe.step.main.zone_pressures": ["3 psi", "3 psi", "3.6 psi", "3 psi", "3 psi"]})
)
more = middle.removed / middle.removed.mean() - even.removed / even.removed.mean()
at = float(middle.radius[more.argmax()]) * 1e3
print(f"most more at {at:.0f} mm from the centre; the zone reaches from 90 to 120 mm")
assert 85 < at < 125

picture = middle.plot()
