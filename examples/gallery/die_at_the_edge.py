"""The same die at the centre and at the edge of the wafer."""

import planish

maps = planish.read_layout_maps("examples/data/test-blocks.gds", layer=1, datatype=0, cell=40e-6)
dies = planish.polish_die("examples/rotary.toml", maps, place=["centre", "edge"])
for name, die in zip(dies.places, dies.dies, strict=True):
    print(f"{name:12} range of the film {1e9 * die.thickness_range:.0f} nm")

picture = dies.plot()
