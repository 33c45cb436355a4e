"""The removal constant from one measured wafer, with its error."""

import planish

setup = planish.load("examples/rotary.toml")
wafer = planish.measure_wafer("examples/data/wafer-before.csv", "examples/data/wafer-after.csv")
fitted = planish.fit_wafer(setup, wafer)
print(f"measured / predicted = {fitted.scale:.3f} within {fitted.scale_error:.1g}")

picture = planish.polish(setup).plot()
