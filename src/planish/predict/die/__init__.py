"""A die at any place of the wafer and any point of the pad's life."""
