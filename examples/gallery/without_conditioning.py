"""Never conditioned, a pad glazes and the rate falls."""

import planish

kept = planish.polish_lot("examples/rotary.toml", 100).summary()
glazed = planish.polish_lot("examples/rotary.toml", 100, conditioning=False)
left = glazed.summary()
print(
    f"after 100 wafers: {kept['last_rate_nm_per_min']:.0f} nm/min conditioned, {left['last_rate_nm_per_min']:.0f} not"
)
assert left["last_rate_nm_per_min"] < kept["last_rate_nm_per_min"]

picture = glazed.plot()
