"""A lot on one pad: the rate drifts as summits, grooves and disk age."""

import planish

lot = planish.polish_lot("examples/rotary.toml", 200, seed=1)
figures = lot.summary()
print(
    f"{figures['first_rate_nm_per_min']:.0f} nm/min at first, {figures['last_rate_nm_per_min']:.0f} at last"
)

picture = lot.plot()
