"""Tables of runs: a row a polished wafer or a measurement, with what was set and what came of it."""
