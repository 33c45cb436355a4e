"""Calibration of the model to own measurements, with uncertainty."""
