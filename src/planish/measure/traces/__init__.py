"""Tool traces: read, cut into wafers, sorted by regime."""
