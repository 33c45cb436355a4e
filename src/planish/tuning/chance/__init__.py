"""The chance that a wafer meets all limits: settings for which it is highest, and the chance itself, counted."""
