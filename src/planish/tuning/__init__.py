"""Settings that a wafer asks for: pressures and times solved for, within limits."""
