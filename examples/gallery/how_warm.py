"""Faster is warmer: the pad's temperature over three speeds."""

import planish

setup = planish.load("examples/rotary.toml")
warm = []
for rpm in (40, 90, 120):
    speeds = {
        "recipe.step.main.platen_speed": f"{rpm} rpm",
        "recipe.step.main.carrier_speed": f"{rpm - 7} rpm",
    }
    wafer = planish.polish(setup.replace(speeds))
    warm.append(wafer.summary()["peak_temperature_C"])
    print(f"{rpm} rpm: the pad at most {warm[-1]:.0f} degC")
assert warm == sorted(warm)

picture = wafer.plot()
