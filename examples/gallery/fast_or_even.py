"""Two speeds and two pads: which of them are worth choosing among, and what does each give up?"""

import planish

setup = planish.load("examples/tungsten.toml")
vary = {
    "recipe.step.main.platen_speed": "60..110 rpm/3",
    "pad.part": "hard-solid, hard-microporous, medium-microporous",
}
found = planish.choose(setup, vary, ["rate", "evenness"], workers=1)
print("\n".join(found.in_words()))

picture = found.plot()
