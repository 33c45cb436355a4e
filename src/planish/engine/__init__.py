"""Array backends and parallel execution: nothing of the polishing itself."""
