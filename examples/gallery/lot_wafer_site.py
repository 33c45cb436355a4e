"""How much of the spread is lot, wafer and site."""

import planish

lots = ["1"] * 4 + ["2"] * 4 + ["3"] * 4
wafers = ["a", "a", "b", "b"] * 3
removed = [501.0, 503.0, 498.0, 499.0, 511.0, 512.0, 515.0, 514.0, 490.0, 489.0, 493.0, 494.0]
parts = planish.nested_variance({"lot": lots, "wafer": wafers}, removed, value_name="removed [nm]")
print(parts)

picture = planish.polish("examples/rotary.toml").plot()
