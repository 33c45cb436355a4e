"""Figures, and the look they share."""
