"""Every field of the wafer polished: the same layout, each under its own pressure."""

import planish

maps = planish.read_layout_maps("examples/data/test-blocks.gds", layer=1, datatype=0, cell=600e-6)
fields = planish.polish_fields("examples/rotary.toml", maps, workers=1)
print(fields)

picture = fields.plot()
