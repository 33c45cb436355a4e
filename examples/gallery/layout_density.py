"""How much of each cell of a layout is covered."""

import planish

maps = planish.read_layout_maps("examples/data/test-blocks.gds", layer=1, datatype=0, cell=50e-6)
print(
    f"{maps.shape[1]} x {maps.shape[0]} cells, covered {maps.density.min():.0%} to {maps.density.max():.0%}"
)

picture = planish.polish_die("examples/rotary.toml", maps, place="centre").plot()
