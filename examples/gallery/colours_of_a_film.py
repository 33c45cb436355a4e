"""White light on a thinning film: fringes of each colour come at their own thickness, so that no two films look alike."""

import planish

trace = planish.invent_trace("examples/rotary.toml", light="450..750 nm/40", share="70 %", seed=1)
found = planish.follow_trace(trace, "450 nm", start="880..1120 nm")
print(
    f"{found.view.wavelengths.size} colours: called {found.summary()['off_target_nm']:+.2f} nm off the target"
)

picture = trace.plot()
