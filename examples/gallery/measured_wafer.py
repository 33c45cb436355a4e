"""Sites before and after become a removal rate and its unevenness."""

import planish

wafer = planish.measure_wafer("examples/data/wafer-before.csv", "examples/data/wafer-after.csv")
print(f"{wafer['mean_removal_rate_nm_per_min']:.1f} nm/min, {wafer['wiwnu_sigma_percent']:.2f} % (1 sigma)")

picture = planish.polish("examples/rotary.toml").plot()
