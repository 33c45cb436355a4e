"""A setup with one thing changed, written as a file of its own."""

import planish

setup = planish.load("examples/rotary.toml")
slower = setup.replace({"recipe.step.main.platen_speed": "70 rpm", "recipe.step.main.flow": "200 ml/min"})
text = slower.to_toml()
print([line for line in text.splitlines() if "70 rpm" in line or "200 ml/min" in line])
before, after = (planish.polish(each).summary()["mean_removal_rate_nm_per_min"] for each in (setup, slower))
print(f"{before:.0f} nm/min becomes {after:.0f} nm/min")
assert after < before

picture = planish.polish(slower).plot()
