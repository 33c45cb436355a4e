"""What cannot be is refused with its place, its value and what is allowed."""

import planish

setup = planish.load("examples/rotary.toml")
try:
    setup.replace({"recipe.step.main.ring_pressure": "-2 psi"})
except planish.PlanishError as refusal:
    print(refusal)
else:
    raise AssertionError("a negative pressure was taken")

picture = planish.polish(setup).plot()
