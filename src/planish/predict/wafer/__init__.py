"""One wafer: from a setup to what is left on it."""
