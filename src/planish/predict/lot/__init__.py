"""Wafer after wafer on one pad."""
