"""One page for the file: figures, findings, sources and cautions."""

import planish

setup = planish.load("examples/rotary.toml")
wafer = planish.measure_wafer("examples/data/wafer-before.csv", "examples/data/wafer-after.csv")
path = planish.write_report(setup, "report.html", wafer)
print(f"{path.name}: {path.stat().st_size // 1024} kB, opens anywhere")

picture = planish.polish(setup).plot()
