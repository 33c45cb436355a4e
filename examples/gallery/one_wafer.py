"""One wafer, from its setup file to its profile."""

import planish

wafer = planish.polish("examples/rotary.toml")
figures = wafer.summary()
print(
    f"{figures['mean_removal_rate_nm_per_min']:.0f} nm/min, {figures['wiwnu_sigma_percent']:.2f} % (1 sigma)"
)

picture = wafer.plot()
