"""The time follows the measured rate: the removed amount stays, the time grows."""

import planish

fixed = planish.polish_lot("examples/linear.toml", 80, seed=2, conditioning=False)
followed = planish.polish_lot("examples/linear.toml", 80, seed=2, conditioning=False, adjust="run-to-run")
times = followed.table()["time_s"]
print(f"time of the first wafer {times[0]:.0f} s, of the last {times[-1]:.0f} s")
print(f"removed varies by {followed.summary()['removed_wtwnu_percent']:.2f} %")

picture = fixed.plot()
