"""A complete, commented setup to begin with, in memory."""

import planish

text = planish.new_setup("linear")
print(f"{len(text.splitlines())} lines, the first: {text.splitlines()[0]}")
assert "[conditioner]" in text

picture = planish.polish("examples/linear.toml").plot()
