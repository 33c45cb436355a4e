"""Figures, machine drawings, attribution and reports."""
