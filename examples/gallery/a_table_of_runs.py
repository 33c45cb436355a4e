"""Wafers, rates along a pad's life and cut rates in one table of runs, beside what the setup says of them."""

import planish

setup = planish.load("examples/rotary.toml")
sets = planish.observe(setup, "examples/data/runs/runs.csv")
held = planish.hold_against(setup, sets)
figures = held.summary()
print(
    f"{figures['numbers']} numbers, misfit {figures['misfit_percent']:.1f} %, worst: {figures['worst_set']}"
)

picture = held.plot()
