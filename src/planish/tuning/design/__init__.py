"""Designed experiments: which runs to make on the machine, and the surface that their results lie on."""
