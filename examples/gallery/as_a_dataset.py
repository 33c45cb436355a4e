"""The result as labelled arrays with units, for one's own analysis."""

import planish

data = planish.polish("examples/rotary.toml").dataset()
print({name: str(data[name].attrs.get("units", "")) for name in list(data.data_vars)[:4]})

picture = planish.polish("examples/rotary.toml").plot()
