"""The history of a step: every wafer's record in a database, with its maps, its events and what was decided."""
