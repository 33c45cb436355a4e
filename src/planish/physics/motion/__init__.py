"""How pad and wafer slide on one another, and who meets whom for how long."""
