"""More force on the disk: a rougher pad that is used up sooner."""

import planish

setup = planish.load("examples/rotary.toml")
left = []
for force in (4, 7, 11):
    lot = planish.polish_lot(setup.replace({"conditioner.downforce": f"{force} lbf"}), 200)
    figures = lot.summary()
    left.append(figures["last_pad_thickness_um"])
    print(f"{force} lbf: {figures['last_rate_nm_per_min']:.0f} nm/min, {left[-1]:.0f} um of pad left")
assert left == sorted(left, reverse=True)

picture = lot.plot()
