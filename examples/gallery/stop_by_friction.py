"""Friction changes when the film is gone: called at a promised share of false alarms, and how long to go on."""

import planish

trace = planish.invent_trace("examples/rotary.toml", "friction", seed=3)
found = planish.watch_trace(trace, false_alarms="0.5 %", clear="99.9 %", rate_spread="3 %")
print(
    f"changed at {found.began:.0f} s, called at {found.found:.0f} s; promised delay {found.plan.delay:.1f} s"
)
print(f"go on for {found.over.over:.0f} s, and 99.9 % of the wafer is clear")

picture = found.plot()
