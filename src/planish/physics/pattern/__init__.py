"""Patterns on the die: density, step laws, pairs of areas, metals, planarization length."""
