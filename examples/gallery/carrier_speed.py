"""The carrier turns as fast as the platen: every point slides alike. Slower, it does not."""

import planish

setup = planish.load("examples/rotary.toml")
for rpm in (83, 40, 5):
    wafer = planish.polish(setup.replace({"recipe.step.main.carrier_speed": f"{rpm} rpm"}))
    speed = wafer.steps[1].speed
    print(
        f"carrier at {rpm} rpm: speed over the radius varies by {100 * (speed.max() / speed.min() - 1):.2f} %"
    )

picture = wafer.plot()
