"""Why two setups differ: the difference shared out among the choices that made it."""
