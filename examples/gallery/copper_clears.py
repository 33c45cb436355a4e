"""Copper in two steps: fast, then gently until it has cleared."""

import planish

wafer = planish.polish("examples/copper.toml")
steps = wafer.tables()["steps"]
for name, time, rate in zip(steps["name"], steps["time_s"], steps["removal_rate_nm_per_min"], strict=True):
    print(f"{name:14} {time:5.0f} s   {rate:4.0f} nm/min")

picture = wafer.plot()
