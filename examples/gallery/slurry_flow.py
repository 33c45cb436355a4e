"""Less flow leaves older slurry under the wafer."""

import planish

setup = planish.load("examples/rotary.toml")
fresh = []
for flow in (100, 250, 500):
    wafer = planish.polish(setup.replace({"recipe.step.main.flow": f"{flow} ml/min"}))
    figures = wafer.summary()
    fresh.append(figures["fresh_fraction_percent"])
    print(f"{flow} ml/min: {fresh[-1]:.0f} % fresh, {figures['mean_removal_rate_nm_per_min']:.0f} nm/min")
assert fresh == sorted(fresh)

picture = wafer.plot()
