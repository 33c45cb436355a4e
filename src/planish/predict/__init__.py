"""Physics put together: one wafer, a lot, a die."""
