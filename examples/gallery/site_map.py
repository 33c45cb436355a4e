"""One file of measured sites, whatever its columns and units."""

import planish

polar = planish.read_sites("examples/data/wafer-before-polar.csv")
plain = planish.read_sites("examples/data/wafer-before.csv")
print(polar)
assert len(polar.x) == len(plain.x)
assert abs(polar.value - plain.value).max() < 1e-10

picture = planish.polish("examples/rotary.toml").plot()
