"""The retaining ring holds the wafer's edge down, or lets it up."""

import planish

setup = planish.load("examples/rotary.toml")
edge = {}
for psi in (2.0, 4.2, 7.0):
    wafer = planish.polish(setup.replace({"recipe.step.main.ring_pressure": f"{psi} psi"}))
    edge[psi] = wafer.summary()["edge_extreme_percent"]
    print(f"ring at {psi} psi: the edge is off by up to {edge[psi]:+.1f} %")
assert len({round(value, 3) for value in edge.values()}) == 3

picture = wafer.plot()
