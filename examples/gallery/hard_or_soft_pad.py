"""A harder pad keeps the die flatter; what it does to the wafer."""

import planish

setup = planish.load("examples/rotary.toml")
maps = planish.read_layout_maps("examples/data/test-blocks.gds", layer=1, datatype=0, cell=40e-6)
left = {}
for pad in ("hard-solid", "soft-felt"):
    changed = setup.with_part("pad", pad)
    die = planish.polish_die(changed, maps, place="centre").worst
    left[pad] = die.topography
    wafer = planish.polish(changed).summary()
    print(
        f"{pad:10} die height {1e9 * die.topography:.0f} nm, wafer uneven {wafer['wiwnu_sigma_percent']:.2f} %"
    )
assert left["hard-solid"] < left["soft-felt"]

picture = planish.polish_die(setup, maps, place="centre").plot()
