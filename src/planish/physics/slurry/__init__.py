"""The slurry between wafer and pad: film, delivery, grains, heat."""
