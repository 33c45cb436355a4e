"""Is the step still centred? A control chart of a month, its limits anew with each pad, and what changed at the alarm."""

import planish

chart = planish.hold_chart("examples/data/month.csv", "rate", "ewma", weight=0.2, phase="pad", baseline=30)
print(chart)
print("first alarm:", chart.alarms[0].cause)

# How soon would this chart see a rate that sinks by a tenth of a standard deviation a wafer?
length = planish.hold_run_length("ewma", 3.0, weight=0.2, drift=-0.1)
print(f"a false alarm in {chart.arl:.0f} wafers on average, a drift seen after {length.arl:.1f}")

picture = chart.plot()
