"""The pads of the catalogue, each value with what it rests on."""

import planish

for row in planish.list_parts("pad"):
    if row.key == "top.shore_d":
        print(f"{row.part:20} Shore D {row.value}   ({row.source})")

picture = planish.polish("examples/rotary.toml").plot()
