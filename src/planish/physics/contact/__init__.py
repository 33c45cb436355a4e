"""Elastic contact of the pad with surfaces of any shape: problem, solvers, kernels."""
