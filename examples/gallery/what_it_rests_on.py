"""The sources of a prediction."""

import planish

wafer = planish.polish("examples/rotary.toml")
for source in wafer.sources()[:5]:
    print(source)

picture = wafer.plot()
