"""Copper in two steps: fast, then gently until it has cleared."""

import planish

wafer = planish.polish("examples/copper.toml")
for step in wafer.summary()["steps"]:
    print(f"{step['name']:14} {step['time_s']:5.0f} s   {step['removal_rate_nm_per_min']:4.0f} nm/min")

picture = wafer.plot()
