"""Two setups differ by so much: which choices made it?"""

import planish

rotary = planish.load("examples/rotary.toml")
other = rotary.with_part("pad", "medium-microporous").replace({"recipe.step.main.platen_speed": "70 rpm"})
compared = planish.compare(rotary, other, outcomes=["mean_removal_rate_nm_per_min"])
print(compared.sentence("mean_removal_rate_nm_per_min"))

picture = planish.polish(other).plot()
