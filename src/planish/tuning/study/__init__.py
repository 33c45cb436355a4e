"""Many runs of one setup: sweeps over keys, draws from stated spreads, and which key matters how much."""
