"""From pressure, speed and state to the rate at which a film goes."""
