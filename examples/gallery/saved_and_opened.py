"""A result saved, opened again, and drawn from the file alone."""

import planish

path = planish.polish("examples/rotary.toml").save("wafer.nc")
again = planish.open_result(path)
print(f"{again.summary()['mean_removal_rate_nm_per_min']:.1f} nm/min, from {path.name}")

picture = again.plot()
