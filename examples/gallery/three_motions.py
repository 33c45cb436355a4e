"""The same film and target on three ways to move the pad."""

import planish

for motion in ("rotary", "linear", "orbital"):
    wafer = planish.polish(f"examples/{motion}.toml")
    figures = wafer.summary()
    rate, uneven = figures["mean_removal_rate_nm_per_min"], figures["wiwnu_sigma_percent"]
    print(f"{motion:8} {rate:5.0f} nm/min   uneven {uneven:.2f} %   {figures['mean_speed_m_per_s']:.2f} m/s")

picture = wafer.plot()
