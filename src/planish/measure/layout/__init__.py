"""Chip layouts: read within bounds, kept as maps of cells."""
