"""Stop at a thickness by the light that comes back, sample by sample, and see how far off that was."""

import planish

trace = planish.invent_trace("examples/rotary.toml", seed=4, signal_to_noise=20)
found = planish.follow_trace(trace, "500 nm")
figures = found.summary()
print(f"called at {figures['called_s']:.1f} s with {figures['thickness_nm']:.1f} nm left by its own word,")
print(
    f"in truth {figures['off_target_nm']:+.1f} nm off the target; a fringe is {figures['fringe_nm']:.0f} nm"
)

picture = found.plot()
