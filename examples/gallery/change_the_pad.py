"""A new pad in the middle of a lot brings the rate back."""

import planish

lot = planish.polish_lot("examples/rotary.toml", 120, events=["60 pad"])
table = lot.table()
before, after = table["rate_nm_per_min"][57], table["rate_nm_per_min"][60]
print(f"{before:.0f} nm/min before the new pad, {after:.0f} nm/min on it")

picture = lot.plot()
